//! How a file is recognised without reading it, and when that is not enough.

use crate::store::digest::Digest;
use serde::{Deserialize, Serialize};
use std::fs::Metadata;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// A file that changed so shortly before the look may change again without a new time.
/// Two seconds is the coarsest clock of a file system in use (FAT). Tests use file systems whose clock ticks at least
/// every 10 ms, and must not wait that long.
const SETTLED: Duration = if cfg!(test) { Duration::from_millis(30) } else { Duration::from_secs(2) };

/// What the system tells of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    size: u64,
    /// Nanoseconds since 1970.
    mtime: i64,
    ctime: i64,
    inode: u64,
}

impl Stamp {
    /// The stamp of a file as it stands, and none while it is too fresh to be trusted: while either time lies within
    /// two seconds of now, or in the future, as after a clock was set back. The second time counts because a copy
    /// may bring an old first one along.
    pub fn of(meta: &Metadata) -> Option<Self> {
        Self::at(meta, nanoseconds(SystemTime::now()))
    }

    fn at(meta: &Metadata, now: i64) -> Option<Self> {
        let stamp = Self::new(meta)?;
        let settled = i64::try_from(SETTLED.as_nanos()).unwrap_or(i64::MAX);
        (now.saturating_sub(stamp.mtime.max(stamp.ctime)) > settled).then_some(stamp)
    }

    #[cfg(unix)]
    fn new(meta: &Metadata) -> Option<Self> {
        use std::os::unix::fs::MetadataExt;
        let time = |seconds: i64, more: i64| seconds.saturating_mul(1_000_000_000).saturating_add(more);
        let (mtime, ctime) = (time(meta.mtime(), meta.mtime_nsec()), time(meta.ctime(), meta.ctime_nsec()));
        Some(Self { size: meta.len(), mtime, ctime, inode: meta.ino() })
    }

    // Elsewhere the standard library tells neither the change time nor the number of a file.
    #[cfg(not(unix))]
    fn new(meta: &Metadata) -> Option<Self> {
        let mtime = nanoseconds(meta.modified().ok()?);
        let ctime = meta.created().map_or(0, nanoseconds);
        Some(Self { size: meta.len(), mtime, ctime, inode: 0 })
    }
}

fn nanoseconds(time: SystemTime) -> i64 {
    let since = time.duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_nanos()).unwrap_or(i64::MAX)
}

/// A file that was looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seen {
    /// Hash of its bytes.
    pub hash: Digest,
    /// Its size in bytes.
    pub size: u64,
    /// By what it is recognised next time; none if it must be read again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stamp: Option<Stamp>,
}

impl Seen {
    /// The file is as it was when `before` was taken, or it is read.
    ///
    /// # Errors
    /// If it has to be read and cannot be.
    pub fn look(path: &std::path::Path, meta: &Metadata, before: Option<&Self>) -> std::io::Result<Self> {
        let stamp = Stamp::of(meta);
        if let (Some(before), Some(stamp)) = (before, stamp)
            && before.stamp == Some(stamp)
        {
            return Ok(*before);
        }
        let (hash, size) = Digest::of_file(path)?;
        Ok(Self { hash, size, stamp })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fresh_or_future_time_is_not_trusted() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let trusted = |seconds: i64| {
            let stamp = Stamp::new(&file.path().metadata().unwrap()).unwrap();
            Stamp::at(&file.path().metadata().unwrap(), stamp.ctime + seconds * 1_000_000_000).is_some()
        };
        assert!(trusted(3) && !trusted(0) && !trusted(-3600), "written just now; the clock set back by an hour");
        let year = Duration::from_secs(365 * 86_400);
        file.as_file().set_modified(SystemTime::now() + year).unwrap();
        assert!(!trusted(3), "modified in the future");
        file.as_file().set_modified(SystemTime::now() - year).unwrap();
        assert!(trusted(3) && !trusted(0), "an old time that was set just now");
    }
}

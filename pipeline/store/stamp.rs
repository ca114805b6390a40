//! How a file is recognised without reading it, and when that is not enough.

use crate::store::digest::Digest;
use serde::{Deserialize, Serialize};
use std::fs::Metadata;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// A file that changed so shortly before the look may change again without a new time.
/// Two seconds is the coarsest clock of a file system in use (FAT).
const SETTLED: Duration = Duration::from_secs(2);

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
    /// The stamp of a file as it stands, and none while it is too fresh to be trusted.
    pub fn of(meta: &Metadata) -> Option<Self> {
        let modified = meta.modified().ok()?;
        let age = SystemTime::now().duration_since(modified).ok()?;
        (age > SETTLED).then(|| Self::new(meta, modified))
    }

    #[cfg(unix)]
    fn new(meta: &Metadata, modified: SystemTime) -> Self {
        use std::os::unix::fs::MetadataExt;
        let ctime = meta.ctime().saturating_mul(1_000_000_000).saturating_add(meta.ctime_nsec());
        Self { size: meta.len(), mtime: nanoseconds(modified), ctime, inode: meta.ino() }
    }

    #[cfg(not(unix))]
    fn new(meta: &Metadata, modified: SystemTime) -> Self {
        let ctime = meta.created().map_or(0, nanoseconds);
        Self { size: meta.len(), mtime: nanoseconds(modified), ctime, inode: 0 }
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

//! The one door through which the engine writes. It is a trait so that a test can stop at any operation.

use crate::command::Failure;
use crate::store::files::Files;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

/// Everything that the engine does to a disk.
pub trait Disk: Sync {
    /// Creates a folder and those above it; one that is there is fine.
    ///
    /// # Errors
    /// As the system says.
    fn create_folder(&self, path: &Path) -> io::Result<()>;
    /// Writes a file whole.
    ///
    /// # Errors
    /// As the system says; part of the file may then be there.
    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()>;
    /// Moves a file, replacing what is there.
    ///
    /// # Errors
    /// As the system says.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Removes a file.
    ///
    /// # Errors
    /// As the system says.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Removes an empty folder.
    ///
    /// # Errors
    /// As the system says.
    fn remove_folder(&self, path: &Path) -> io::Result<()>;
    /// Waits until a file's bytes are on the medium.
    ///
    /// # Errors
    /// As the system says.
    fn sync(&self, path: &Path) -> io::Result<()>;
}

/// The disk of the system.
#[derive(Debug, Clone, Copy)]
pub struct SystemDisk;

impl Disk for SystemDisk {
    fn create_folder(&self, path: &Path) -> io::Result<()> {
        fs::create_dir_all(path)
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        fs::write(path, bytes)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        fs::remove_file(path)
    }

    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        fs::remove_dir(path)
    }

    fn sync(&self, path: &Path) -> io::Result<()> {
        fs::File::open(path)?.sync_all()
    }
}

/// Whether a file is to survive a power cut that follows at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Durable {
    /// Checked whenever it is used, so that a torn one is only built again.
    No,
    /// Trusted later without a look: on the medium before it gets its name.
    Yes,
}

/// Writes a file so that it is either there whole or not at all: first under a name of its own, then renamed.
///
/// # Errors
/// [`crate::command::Exit::Surroundings`] if the disk refuses.
pub fn put(disk: &dyn Disk, files: &Files, path: &Path, bytes: &[u8], durable: Durable) -> Result<(), Failure> {
    let temporary = stage(disk, files, bytes)?;
    if durable == Durable::Yes {
        disk.sync(&temporary).map_err(|e| Failure::io("sync", &temporary, &e))?;
    }
    settle(disk, &temporary, path)
}

/// The first half of [`put`]: the bytes under a temporary name. The lock makes a counter enough. What could not be
/// written whole is taken away again, so that a full disk is not filled with pieces.
///
/// # Errors
/// As [`put`].
pub fn stage(disk: &dyn Disk, files: &Files, bytes: &[u8]) -> Result<PathBuf, Failure> {
    let temporary = files.temporary().join(unique());
    write_or_nothing(disk, &temporary, bytes)?;
    Ok(temporary)
}

/// A name that this program gives once.
fn unique() -> String {
    static NEXT: AtomicU64 = AtomicU64::new(0);
    format!("{}-{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed))
}

fn write_or_nothing(disk: &dyn Disk, path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    disk.write(path, bytes).map_err(|e| {
        // If it cannot be removed either, the next run does it.
        let _ = disk.remove(path);
        Failure::io("write", path, &e)
    })
}

/// The second half of [`put`]: gives a staged file its name.
///
/// # Errors
/// As [`put`].
pub fn settle(disk: &dyn Disk, temporary: &Path, path: &Path) -> Result<(), Failure> {
    folder_of(disk, path)?;
    relocate(disk, temporary, path).map_err(|e| Failure::io("write", path, &e))
}

/// Begins the names of files that are on their way into a folder on another file system.
const PART: &str = ".shearback-part-";

/// Whether a file is one that a run which was stopped left on its way.
pub fn is_part(name: &str) -> bool {
    name.starts_with(PART)
}

/// Moves a file, replacing what is there; to another file system (a linked or mounted folder) by way of a copy beside
/// the target, so that there too a name never stands for half a file.
///
/// # Errors
/// As the system says.
pub fn relocate(disk: &dyn Disk, from: &Path, to: &Path) -> io::Result<()> {
    match disk.rename(from, to) {
        Err(e) if e.kind() == io::ErrorKind::CrossesDevices => {}
        done => return done,
    }
    let part = to.with_file_name(format!("{PART}{}", unique()));
    let copied = fs::read(from).and_then(|bytes| disk.write(&part, &bytes)).and_then(|()| disk.rename(&part, to));
    if copied.is_err() {
        let _ = disk.remove(&part);
    }
    copied.and_then(|()| disk.remove(from))
}

/// Makes sure that the folder of this file is there.
///
/// # Errors
/// As [`put`].
pub fn folder_of(disk: &dyn Disk, path: &Path) -> Result<(), Failure> {
    match path.parent() {
        Some(folder) if !folder.is_dir() => disk.create_folder(folder).map_err(|e| Failure::io("create", folder, &e)),
        _ => Ok(()),
    }
}

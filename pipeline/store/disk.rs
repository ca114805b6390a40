//! The one door through which the engine writes. It is a trait so that a test can stop at any operation.

use crate::command::Failure;
use crate::store::files::Files;
use std::fs;
use std::io;
use std::path::Path;
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

/// The first half of [`put`]: the bytes under a temporary name. The lock makes a counter enough.
///
/// # Errors
/// As [`put`].
pub fn stage(disk: &dyn Disk, files: &Files, bytes: &[u8]) -> Result<std::path::PathBuf, Failure> {
    static NEXT: AtomicU64 = AtomicU64::new(0);
    let number = NEXT.fetch_add(1, Ordering::Relaxed);
    let temporary = files.temporary().join(format!("{}-{number}", std::process::id()));
    disk.write(&temporary, bytes).map_err(|e| Failure::io("write", &temporary, &e))?;
    Ok(temporary)
}

/// The second half of [`put`]: gives a staged file its name.
///
/// # Errors
/// As [`put`].
pub fn settle(disk: &dyn Disk, temporary: &Path, path: &Path) -> Result<(), Failure> {
    folder_of(disk, path)?;
    disk.rename(temporary, path).map_err(|e| Failure::io("write", path, &e))
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

//! Only one run at a time writes to a study. The lock is the system's, so a killed run frees it.

use super::Store;
use crate::command::Failure;
use crate::diagnostic::Diagnostic;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::Write;

/// Held as long as it lives.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock of a study.
    ///
    /// # Errors
    /// If another run holds it, or the file system has no locks.
    pub fn take(store: &Store<'_>) -> Result<Self, Failure> {
        let path = store.files.lock();
        super::disk::folder_of(store.disk, &path)?;
        let options = OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path);
        let mut file = options.map_err(|e| Failure::io("open", &path, &e))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(held(store)),
            Err(TryLockError::Error(e)) => return Err(Failure::io("lock", &path, &e)),
        }
        // Who holds it is told to others as a help; the lock itself does not depend on it.
        let _ = file.set_len(0).and_then(|()| write!(file, "{}", std::process::id()));
        Ok(Self { _file: file })
    }
}

fn held(store: &Store<'_>) -> Failure {
    let holder = std::fs::read_to_string(store.files.lock()).unwrap_or_default();
    let who = if holder.is_empty() { String::new() } else { format!(" (process {holder})") };
    let study = store.files.study().display();
    let message = format!("another run is working on {study}{who}");
    Failure::surroundings(
        Diagnostic::new(message).help("wait until it has finished, or stop that process; then run again"),
    )
}

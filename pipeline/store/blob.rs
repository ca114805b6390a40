//! Objects: bytes under their own hash. Reading checks them, so a damaged one is found and never handed on.

use super::Store;
use super::digest::Digest;
use super::disk::{self, Durable};
use super::record::Kept;
use crate::command::Failure;
use std::io;

/// Why an object cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Flaw {
    /// It is not there.
    Missing,
    /// Its bytes are not those that it is named after.
    Damaged,
    /// The system does not let us read it.
    Unreadable(Failure),
}

impl Store<'_> {
    /// The bytes of an object, checked.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read_object(&self, kept: &Kept) -> Result<Vec<u8>, Flaw> {
        let path = self.files.object(&kept.hash, kept.bulky);
        let bytes = std::fs::read(&path).map_err(|e| match e.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => Flaw::Missing,
            io::ErrorKind::IsADirectory => Flaw::Damaged,
            _ => Flaw::Unreadable(Failure::io("read", &path, &e)),
        })?;
        if Digest::of(&bytes) == kept.hash { Ok(bytes) } else { Err(Flaw::Damaged) }
    }

    /// Whether an object is there with the right size; its bytes are checked when it is read.
    pub fn has_object(&self, kept: &Kept) -> bool {
        let meta = std::fs::metadata(self.files.object(&kept.hash, kept.bulky));
        meta.is_ok_and(|meta| meta.is_file() && meta.len() == kept.size)
    }

    /// Keeps these bytes; tells whether they had to be written.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn write_object(&self, name: &str, bytes: &[u8], bulky: bool) -> Result<(Kept, bool), Failure> {
        let kept = Kept { name: name.into(), hash: Digest::of(bytes), size: bytes.len() as u64, bulky };
        let new = !self.has_object(&kept);
        if new {
            self.begin()?;
            let path = self.files.object(&kept.hash, bulky);
            disk::put(self.disk, &self.files, &path, bytes, Durable::No)?;
        }
        Ok((kept, new))
    }

    /// Takes a damaged object away.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn remove_object(&self, kept: &Kept) -> Result<(), Failure> {
        let path = self.files.object(&kept.hash, kept.bulky);
        match self.disk.remove(&path) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => Err(Failure::io("remove", &path, &e)),
            _ => Ok(()),
        }
    }
}

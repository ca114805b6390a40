//! Everything that the engine keeps in `.shearback/`: objects by their hash, records by their key, state, ledger.
//!
//! Objects are checked whenever they are read, so nothing here has to be trusted. A record is written after its
//! objects and by renaming, so that what is there is whole.

pub mod blob;
pub mod digest;
pub mod disk;
pub mod files;
pub mod ledger;
pub mod lock;
pub mod past;
pub mod record;
pub mod space;
pub mod stamp;
pub mod state;

use crate::command::Failure;
use crate::diagnostic::Diagnostic;
use digest::Digest;
use disk::{Disk, Durable};
use files::Files;
use record::Record;
use std::path::Path;

/// Format of the store; part of every key, so that a new format never meets old records.
pub const FORMAT: u32 = 1;

/// The store of one study.
pub struct Store<'a> {
    /// Where everything stands.
    pub files: Files,
    /// Through what it is written.
    pub disk: &'a dyn Disk,
}

impl<'a> Store<'a> {
    /// The store of the study in this folder; touches nothing.
    pub fn new(study: &Path, disk: &'a dyn Disk) -> Self {
        Self { files: Files::new(study), disk }
    }

    /// A store in `work` for the study in `study`, which is only read; touches nothing.
    pub fn apart(study: &Path, work: &Path, disk: &'a dyn Disk) -> Self {
        Self { files: Files::apart(study, work), disk }
    }

    /// The record of a key; one that cannot be read counts as none.
    pub fn read_record(&self, partial: &Digest, key: &Digest) -> Option<Record> {
        let bytes = std::fs::read(self.files.record(partial, key)).ok()?;
        let record: Record = serde_json::from_slice(&bytes).ok()?;
        (record.done.key == *key && record.done.partial == *partial).then_some(record)
    }

    /// All records under a partial key, in the order of their keys.
    pub fn read_records(&self, partial: &Digest) -> Vec<Record> {
        let Ok(folder) = std::fs::read_dir(self.files.records(partial)) else { return Vec::new() };
        let files = folder.flatten().map(|entry| entry.path());
        let mut records: Vec<Record> =
            files.flat_map(std::fs::read).flat_map(|bytes| serde_json::from_slice(&bytes)).collect();
        records.sort_by_key(|record| record.done.key);
        records
    }

    /// Writes a record; its objects must be there.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn write_record(&self, record: &Record) -> Result<(), Failure> {
        self.put_json(&self.files.record(&record.done.partial, &record.done.key), record, Durable::No)
    }

    /// Writes a value as JSON under this path.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn put_json(&self, path: &Path, value: &impl serde::Serialize, durable: Durable) -> Result<(), Failure> {
        disk::put(self.disk, &self.files, path, &json(value)?, durable)
    }

    /// Makes the folders of the store, and clears away what an interrupted run left on its way.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn prepare(&self) -> Result<(), Failure> {
        let temporary = self.files.temporary();
        // What cannot be removed (an outside tool may still write there) disturbs nobody: names are not used twice.
        let _ = std::fs::remove_dir_all(&temporary);
        self.disk.create_folder(&temporary).map_err(|e| Failure::io("create", &temporary, &e))
    }
}

/// A value of ours as JSON.
pub(crate) fn json(value: &impl serde::Serialize) -> Result<Vec<u8>, Failure> {
    serde_json::to_vec(value)
        .map_err(|e| Failure::surroundings(Diagnostic::new(format!("internal: cannot write JSON: {e}"))))
}

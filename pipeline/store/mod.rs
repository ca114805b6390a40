//! Everything that the engine keeps in `.shearback/`: objects by their hash, records by their key, state, ledger.
//!
//! Nothing here has to be trusted: objects are named after their hash, records and the state carry their own
//! ([`sealed`]), the lists of tasks have theirs in the ledger, and each line of the ledger is in the next. A record is
//! written after its objects and by renaming, so that what is there is whole.

pub mod blob;
pub mod check;
pub mod digest;
pub mod disk;
pub mod files;
pub mod ledger;
pub mod lock;
pub mod past;
pub mod record;
pub mod sealed;
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
pub const FORMAT: u32 = 3;

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

    /// The record of a key; one that is not as it was written counts as none.
    pub fn read_record(&self, partial: &Digest, key: &Digest) -> Option<Record> {
        let bytes = std::fs::read(self.files.record(partial, key)).ok()?;
        let record: Record = sealed::open(&bytes)?;
        (record.done.key == *key && record.done.partial == *partial).then_some(record)
    }

    /// All records under a partial key, in the order of their keys.
    pub fn read_records(&self, partial: &Digest) -> Vec<Record> {
        let Ok(folder) = std::fs::read_dir(self.files.records(partial)) else { return Vec::new() };
        let files = folder.flatten().map(|entry| entry.path());
        let mut records: Vec<Record> = files.flat_map(std::fs::read).filter_map(|bytes| sealed::open(&bytes)).collect();
        records.sort_by_key(|record| record.done.key);
        records
    }

    /// Writes a record; its objects must be there.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn write_record(&self, record: &Record) -> Result<(), Failure> {
        self.begin()?;
        let path = self.files.record(&record.done.partial, &record.done.key);
        disk::put(self.disk, &self.files, &path, &sealed::seal(record)?, Durable::No)
    }

    /// Says that something is being written, before it is.
    fn begin(&self) -> Result<(), Failure> {
        let path = self.files.unfinished();
        if path.exists() {
            return Ok(());
        }
        self.disk.write(&path, b"").map_err(|e| Failure::io("write", &path, &e))
    }

    /// Whether an earlier run wrote something and did not become whole.
    pub fn is_unfinished(&self) -> bool {
        self.files.unfinished().exists()
    }

    /// Says that all that was written is of use.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn finish(&self) -> Result<(), Failure> {
        let path = self.files.unfinished();
        match self.disk.remove(&path) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(Failure::io("remove", &path, &e)),
            _ => Ok(()),
        }
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

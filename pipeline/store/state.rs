//! The last whole run in one file, so that a run with nothing to do opens neither records nor objects.

use crate::command::Failure;
use crate::store::disk::{self, Durable};
use crate::store::record::Done;
use crate::store::stamp::Seen;
use crate::store::{Store, sealed};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What is known since the last whole run.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct State {
    /// Format of the store.
    pub format: u32,
    /// Number of the last whole run in the ledger; 0 before the first.
    pub run: u64,
    /// What each task gave, by its name.
    pub tasks: BTreeMap<String, Done>,
    /// Files of `results/` as they were laid out.
    pub results: BTreeMap<String, Seen>,
    /// Raw files as they were last seen.
    pub raw: BTreeMap<String, Seen>,
    /// Size of the store in bytes after the last whole run that changed something.
    #[serde(default)]
    pub size: u64,
}

impl State {
    /// Reads the state of a study. One that is missing, damaged or of another format counts as none:
    /// records and objects are then looked at.
    pub fn load(store: &Store<'_>) -> Self {
        let bytes = std::fs::read(store.files.state()).unwrap_or_default();
        let state = sealed::open(&bytes).filter(|state: &Self| state.format == super::FORMAT);
        state.unwrap_or_else(|| Self { format: super::FORMAT, ..Self::default() })
    }

    /// Writes it.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn save(&self, store: &Store<'_>) -> Result<(), Failure> {
        disk::put(store.disk, &store.files, &store.files.state(), &sealed::seal(self)?, Durable::Yes)
    }
}

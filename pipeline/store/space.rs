//! Letting go of large objects. Everything else is kept for every run in the ledger.

use super::Store;
use super::digest::Digest;
use super::ledger::Ran;
use crate::command::Failure;
use std::collections::{BTreeMap, BTreeSet};

/// Whole runs before the current one whose large objects are kept.
const EARLIER: u64 = 3;

/// Removes the large objects that neither run `current` nor the last three before it gave.
///
/// Stopped in between it has removed some of what nobody needs; the next call removes the rest. If the list of a
/// run that is to be kept cannot be read, nothing is removed.
///
/// # Errors
/// If the disk refuses.
pub fn let_go(store: &Store<'_>, current: u64) -> Result<(), Failure> {
    let Some(needed) = needed(store, current) else { return Ok(()) };
    let folder = store.files.bulky();
    for entry in walkdir::WalkDir::new(&folder).min_depth(2).max_depth(2).into_iter().flatten() {
        let path = entry.path();
        if !needed.contains(path) {
            store.disk.remove(path).map_err(|e| Failure::io("remove", path, &e))?;
        }
    }
    Ok(())
}

fn needed(store: &Store<'_>, current: u64) -> Option<BTreeSet<std::path::PathBuf>> {
    let mut needed = BTreeSet::new();
    for run in current.saturating_sub(EARLIER).max(1)..=current {
        let bytes = std::fs::read(store.files.run(run)).ok()?;
        let tasks: BTreeMap<String, Ran> = serde_json::from_slice(&bytes).ok()?;
        let hashes = tasks.into_values().flat_map(|ran| ran.bulky);
        needed.extend(hashes.map(|hash: Digest| store.files.object(&hash, true)));
    }
    Some(needed)
}

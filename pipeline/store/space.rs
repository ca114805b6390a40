//! What the store takes, and letting go of what nobody needs any more.
//!
//! Large objects are kept for the current run and the last three, everything else for every run of the ledger. What a
//! run wrote that was stopped or failed is kept until a whole run follows: it may still be of use till then.

use super::Store;
use super::digest::Digest;
use super::ledger::{Ledger, Line, listed};
use super::record::{Done, Record};
use super::sealed;
use crate::command::Failure;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Whole runs before the current one whose large objects are kept.
const EARLIER: u64 = 3;

/// How much is let go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keep {
    /// Large objects of the current run and the last three.
    LastThree,
    /// Large objects of the current run only.
    Current,
}

/// What the store takes, in bytes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize)]
pub struct Sizes {
    /// Readings and traces.
    pub bulky: u64,
    /// All other results, and the settings of every run.
    pub objects: u64,
    /// Records, ledger and lists.
    pub records: u64,
}

impl Sizes {
    /// All together.
    pub fn total(&self) -> u64 {
        self.bulky + self.objects + self.records
    }
}

/// Measures the store. What cannot be looked at counts as nothing.
pub fn measure(store: &Store<'_>) -> Sizes {
    let (bulky, objects) = (below(&store.files.bulky()), below(&store.files.objects()));
    Sizes { bulky, objects, records: below(&store.files.home()).saturating_sub(bulky + objects) }
}

fn below(folder: &Path) -> u64 {
    let entries = walkdir::WalkDir::new(folder).into_iter().flatten().filter(|entry| entry.file_type().is_file());
    entries.flat_map(|entry| entry.metadata()).map(|meta| meta.len()).sum()
}

/// Removes the large objects that no run gave which is to be kept.
///
/// Stopped in between it has removed some of what nobody needs; the next call removes the rest. If the list of a
/// run that is to be kept is not as it was written, nothing is removed.
///
/// # Errors
/// If the disk refuses.
pub fn let_go(store: &Store<'_>, ledger: &Ledger, keep: Keep) -> Result<(), Failure> {
    let lines = ledger.lines()?;
    let current = lines.last().map_or(0, |line| line.run);
    let first = if keep == Keep::Current { current } else { current.saturating_sub(EARLIER) };
    let Some(needed) = needed(store, lines.iter().filter(|line| line.run >= first)) else { return Ok(()) };
    remove_others(store, &store.files.bulky(), &needed)
}

fn needed<'l>(store: &Store<'_>, lines: impl Iterator<Item = &'l Line>) -> Option<BTreeSet<PathBuf>> {
    let mut needed = BTreeSet::new();
    for line in lines {
        let hashes = listed(store, line)?.into_values().flat_map(|ran| ran.bulky);
        needed.extend(hashes.map(|hash: Digest| store.files.object(&hash, true)));
    }
    Some(needed)
}

/// Removes the files two folders deep in `folder` that are not among `needed`, and folders that are empty then.
fn remove_others(store: &Store<'_>, folder: &Path, needed: &BTreeSet<PathBuf>) -> Result<(), Failure> {
    for entry in walkdir::WalkDir::new(folder).min_depth(2).max_depth(2).into_iter().flatten() {
        let path = entry.path();
        if needed.contains(path) {
            continue;
        }
        store.disk.remove(path).map_err(|e| Failure::io("remove", path, &e))?;
        let folder = path.parent().unwrap_or(folder);
        if std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none()) {
            store.disk.remove_folder(folder).map_err(|e| Failure::io("remove", folder, &e))?;
        }
    }
    Ok(())
}

/// Removes records and other objects that no run of the ledger gave, nor the tasks of the current state: what was left
/// by runs that did not become whole. If one of the lists is not as it was written, nothing is removed.
///
/// # Errors
/// If the disk refuses.
pub fn sweep(store: &Store<'_>, ledger: &Ledger, tasks: &BTreeMap<String, Done>) -> Result<(), Failure> {
    let lines = ledger.lines()?;
    let Some(mut records) = records(store, &lines) else { return Ok(()) };
    records.extend(tasks.values().map(|done| store.files.record(&done.partial, &done.key)));
    remove_others(store, &store.files.all_records(), &records)?;
    let outputs = |done: &Done| -> Vec<PathBuf> {
        let kept = done.outputs.iter().filter(|kept| !kept.bulky);
        kept.map(|kept| store.files.object(&kept.hash, false)).collect()
    };
    let read = records.iter().filter_map(|path| sealed::open::<Record>(&std::fs::read(path).ok()?));
    let mut objects: BTreeSet<PathBuf> = read.flat_map(|record| outputs(&record.done)).collect();
    objects.extend(tasks.values().flat_map(outputs));
    let told = lines.iter().flat_map(|line| [line.study_file, line.settings]);
    objects.extend(told.map(|hash| store.files.object(&hash, false)));
    remove_others(store, &store.files.objects(), &objects)
}

fn records(store: &Store<'_>, lines: &[Line]) -> Option<BTreeSet<PathBuf>> {
    let mut records = BTreeSet::new();
    for line in lines {
        records.extend(listed(store, line)?.values().map(|ran| store.files.record(&ran.partial, &ran.key)));
    }
    Some(records)
}

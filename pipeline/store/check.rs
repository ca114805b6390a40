//! The whole store read and held against the hashes that it carries. It computes and changes nothing.

use super::Store;
use super::digest::Digest;
use super::ledger::{Ledger, Line, listed};
use super::record::Record;
use super::sealed;
use super::state::State;
use std::path::Path;

/// A file of the store that is not what it must be.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// Its path in the study, with `/`.
    pub path: String,
    /// What is wrong with it.
    pub what: String,
}

/// Every file of the store that is damaged, and every object that a record names and that is not there; sorted.
///
/// Large objects of earlier runs are let go, so only those of the current state are missed.
pub fn check(store: &Store<'_>) -> Vec<Fault> {
    let mut check = Check { store, faults: Vec::new() };
    check.objects(&store.files.objects());
    check.objects(&store.files.bulky());
    check.records();
    check.state_and_ledger();
    check.faults.sort();
    check.faults.dedup();
    check.faults
}

struct Check<'a> {
    store: &'a Store<'a>,
    faults: Vec<Fault>,
}

impl Check<'_> {
    fn fault(&mut self, path: &Path, what: impl Into<String>) {
        let home = self.store.files.home();
        let parts = path.strip_prefix(home.parent().unwrap_or(&home)).unwrap_or(path).iter();
        let path = parts.map(|part| part.to_string_lossy()).collect::<Vec<_>>().join("/");
        self.faults.push(Fault { path, what: what.into() });
    }

    fn objects(&mut self, folder: &Path) {
        for path in files_two_deep(folder) {
            let named = name(Some(&path));
            match Digest::of_file(&path) {
                Ok((hash, _)) if hash.to_string() == named => {}
                Ok(_) => self.fault(&path, "damaged: its bytes are not those that it is named after"),
                Err(e) => self.fault(&path, format!("cannot be read: {e}")),
            }
        }
    }

    fn records(&mut self) {
        for path in files_two_deep(&self.store.files.all_records()) {
            let record = std::fs::read(&path).ok().and_then(|bytes| sealed::open::<Record>(&bytes));
            let rightly_named =
                record.filter(|record| self.store.files.record(&record.done.partial, &record.done.key) == path);
            let Some(record) = rightly_named else {
                self.fault(&path, "damaged: it is not as it was written");
                continue;
            };
            for kept in record.done.outputs.iter().filter(|kept| !kept.bulky) {
                self.missing(&self.store.files.object(&kept.hash, false));
            }
        }
    }

    fn missing(&mut self, object: &Path) {
        if !object.exists() {
            self.fault(object, "missing");
        }
    }

    fn state_and_ledger(&mut self) {
        let path = self.store.files.state();
        let state = match std::fs::read(&path) {
            Ok(bytes) => sealed::open::<State>(&bytes),
            Err(_) => Some(State::default()),
        };
        let Some(state) = state else { return self.fault(&path, "damaged: it is not as it was written") };
        for kept in state.tasks.values().flat_map(|done| &done.outputs) {
            self.missing(&self.store.files.object(&kept.hash, kept.bulky));
        }
        let path = self.store.files.ledger();
        match Ledger::read(self.store, &state).and_then(|ledger| Ok((ledger.from_copy, ledger.lines()?))) {
            Ok((true, _)) => self.fault(&path, "missing or damaged; its copy in results/ is whole"),
            Ok((false, lines)) => lines.iter().for_each(|line| self.list(line)),
            Err(failure) => {
                let said: Vec<&str> = failure.diagnostics.iter().map(|d| d.message.as_str()).collect();
                self.fault(&path, format!("damaged: {}", said.join("; ")));
            }
        }
    }

    fn list(&mut self, line: &Line) {
        if listed(self.store, line).is_none() {
            self.fault(&self.store.files.run(line.run), "damaged: it is not the list that the ledger names");
        }
        for hash in [line.study_file, line.settings] {
            self.missing(&self.store.files.object(&hash, false));
        }
    }
}

fn files_two_deep(folder: &Path) -> Vec<std::path::PathBuf> {
    let entries = walkdir::WalkDir::new(folder).min_depth(2).max_depth(2).sort_by_file_name();
    entries.into_iter().flatten().map(walkdir::DirEntry::into_path).collect()
}

fn name(path: Option<&Path>) -> String {
    path.and_then(Path::file_name).map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

//! Which files of `results/` have to be written, removed or moved away, and doing it in an order that can be
//! interrupted anywhere.

use super::edited::Aside;
use super::found::Found;
use super::manifest::{Entry, Manifest};
use crate::command::Failure;
use crate::store::Store;
use crate::store::digest::Digest;
use crate::store::disk::{self, Durable};
use crate::store::files::{LEDGER, MANIFEST};
use crate::store::ledger::Ledger;
use crate::store::record::Kept;
use crate::store::stamp::Seen;
use crate::store::state::State;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What is to stand in `results/`: paths and contents.
pub type Wanted<'a> = BTreeMap<&'a str, &'a Kept>;

/// What has to be done.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Changes {
    /// Not ours: moved away.
    pub aside: Vec<String>,
    /// Ours, and no longer asked for: removed.
    pub remove: Vec<String>,
    /// Written anew.
    pub write: Vec<String>,
    /// Ours, as it stands before the change.
    ours: Vec<Entry>,
}

impl Changes {
    /// Compares what stands there with what is wanted.
    pub fn new(found: &Found, wanted: &Wanted<'_>, ours: &Ours<'_>) -> Self {
        let mut changes = Self::default();
        for (path, seen) in found.files.iter().filter(|(path, _)| !is_special(path)) {
            if disk::is_part(path.rsplit('/').next().unwrap_or(path)) {
                changes.remove.push(path.clone());
                continue;
            }
            let is_wanted = |seen: &Seen| wanted.get(path.as_str()).is_some_and(|kept| kept.hash == seen.hash);
            match seen {
                Some(seen) if is_wanted(seen) || ours.is(path, seen) => {
                    changes.ours.push(Entry { path: path.clone(), size: seen.size, blake3: seen.hash });
                    if !wanted.contains_key(path.as_str()) {
                        changes.remove.push(path.clone());
                    } else if !is_wanted(seen) {
                        changes.write.push(path.clone());
                    }
                    continue;
                }
                _ => changes.aside.push(path.clone()),
            }
            if wanted.contains_key(path.as_str()) {
                changes.write.push(path.clone());
            }
        }
        let absent = wanted.keys().filter(|path| !found.files.contains_key(**path));
        changes.write.extend(absent.map(|path| path.to_string()));
        changes
    }

    /// Nothing to do.
    pub fn is_empty(&self) -> bool {
        self.aside.is_empty() && self.remove.is_empty() && self.write.is_empty()
    }
}

fn is_special(path: &str) -> bool {
    matches!(path, MANIFEST | LEDGER)
}

/// By what a file is known to be ours.
pub struct Ours<'a> {
    state: &'a State,
    manifest: Option<Manifest>,
    manifest_is_ours: bool,
    ledger: &'a Ledger,
    ledger_is_ours: bool,
}

impl<'a> Ours<'a> {
    /// From the state, the manifest that lies in `results/`, and the ledger.
    pub fn new(store: &Store<'_>, state: &'a State, ledger: &'a Ledger) -> Self {
        let read = |name| std::fs::read(store.files.result(name)).unwrap_or_default();
        let (bytes, copy) = (read(MANIFEST), read(LEDGER));
        let hash = Digest::of(&bytes);
        let manifest = Manifest::parse(&bytes);
        let remembered = state.results.get(MANIFEST).map(|seen| seen.hash);
        let listed = ledger.last.as_ref().map(|line| line.manifest);
        let unknown = remembered.is_none() && listed.is_none();
        let ours = |manifest: &Manifest| manifest.changing || unknown || [remembered, listed].contains(&Some(hash));
        Self {
            state,
            manifest_is_ours: bytes.is_empty() || manifest.as_ref().is_some_and(ours),
            manifest,
            ledger,
            ledger_is_ours: ledger.text.as_bytes().starts_with(&copy),
        }
    }

    fn is(&self, path: &str, seen: &Seen) -> bool {
        self.state.results.get(path).is_some_and(|known| known.hash == seen.hash)
            || self.manifest.as_ref().is_some_and(|manifest| manifest.lists(path, &seen.hash))
    }

    fn special_is_ours(&self, path: &str) -> bool {
        if path == MANIFEST { self.manifest_is_ours } else { self.ledger_is_ours }
    }
}

/// The manifest of what is wanted.
pub fn manifest(wanted: &Wanted<'_>) -> Manifest {
    let entry = |(path, kept): (&&str, &&Kept)| Entry { path: path.to_string(), size: kept.size, blake3: kept.hash };
    Manifest { changing: false, files: wanted.iter().map(entry).collect(), before: Vec::new() }
}

/// A change that is ready: every new file lies beside `results/` and only wants its name.
pub struct Ready<'a> {
    store: &'a Store<'a>,
    changes: Changes,
    staged: Vec<(String, PathBuf)>,
    manifest: Manifest,
}

impl<'a> Ready<'a> {
    /// Stages the files to be written; `fetch` gives their bytes.
    ///
    /// # Errors
    /// If `fetch` does, or the disk refuses.
    pub fn new<E: From<Failure>>(
        store: &'a Store<'a>,
        changes: Changes,
        wanted: &Wanted<'_>,
        mut fetch: impl FnMut(&str) -> Result<Vec<u8>, E>,
    ) -> Result<Self, E> {
        let mut staged = Vec::with_capacity(changes.write.len());
        for path in &changes.write {
            staged.push((path.clone(), disk::stage(store.disk, &store.files, &fetch(path)?)?));
        }
        Ok(Self { store, changes, staged, manifest: manifest(wanted) })
    }

    /// Marks the manifest, then moves, removes and writes. Gives the new paths of what was moved away.
    ///
    /// # Errors
    /// If the disk refuses; what was done stays, and the next run goes on from there.
    pub fn apply(self, ours: &Ours<'_>, found: &Found, ledger: &Ledger) -> Result<Vec<String>, Failure> {
        let aside = Aside::new(self.store);
        let mut moved = Vec::new();
        for special in [MANIFEST, LEDGER] {
            let stands = found.files.get(special);
            let folder_or_link = stands.is_some_and(Option::is_none);
            if folder_or_link || (stands.is_some() && !ours.special_is_ours(special)) {
                moved.push(aside.take(special)?);
            }
        }
        if !self.changes.is_empty() {
            let before = self.changes.ours.clone();
            self.put(MANIFEST, &Manifest { changing: true, before, ..self.manifest.clone() }.bytes()?)?;
        }
        for path in &self.changes.aside {
            moved.push(aside.take(path)?);
        }
        for path in &self.changes.remove {
            let file = self.store.files.result(path);
            self.store.disk.remove(&file).map_err(|e| Failure::io("remove", &file, &e))?;
        }
        for path in self.changes.aside.iter().chain(&self.changes.remove) {
            self.prune(path)?;
        }
        for (path, staged) in &self.staged {
            let file = self.store.files.result(path);
            if file.is_dir() {
                self.store.disk.remove_folder(&file).map_err(|e| Failure::io("write", &file, &e))?;
            }
            disk::settle(self.store.disk, staged, &file)?;
        }
        if ledger.from_copy || ours.ledger != ledger {
            ledger.save(self.store)?;
        }
        self.put(LEDGER, ledger.text.as_bytes())?;
        self.put(MANIFEST, &self.manifest.bytes()?)?;
        Ok(moved)
    }

    fn put(&self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        disk::put(self.store.disk, &self.store.files, &self.store.files.result(name), bytes, Durable::No)
    }

    /// Removes the folders that became empty when this file went.
    fn prune(&self, path: &str) -> Result<(), Failure> {
        let mut at = path;
        while let Some((folder, _)) = at.rsplit_once('/') {
            let full = self.store.files.result(folder);
            let Ok(mut entries) = std::fs::read_dir(&full) else { return Ok(()) };
            if entries.next().is_some() {
                return Ok(());
            }
            self.store.disk.remove_folder(&full).map_err(|e| Failure::io("remove", &full, &e))?;
            at = folder;
        }
        Ok(())
    }
}

/// Whether manifest and ledger in `results/` are what they must be.
pub fn specials_are_right(found: &Found, manifest: &Digest, ledger: &Digest) -> bool {
    let is =
        |name: &str, hash: &Digest| found.files.get(name).is_some_and(|seen| seen.is_some_and(|s| s.hash == *hash));
    is(MANIFEST, manifest) && is(LEDGER, ledger)
}

/// What the state is to remember of `results/`: what was found and is right keeps its stamp; what was just written
/// has none that could be trusted yet.
pub fn remember(found: &Found, wanted: &Wanted<'_>, specials: [(&str, Digest, u64); 2]) -> BTreeMap<String, Seen> {
    let files = wanted.iter().map(|(path, kept)| (*path, kept.hash, kept.size));
    let seen = |path: &str, hash: Digest, size: u64| match found.files.get(path) {
        Some(Some(seen)) if seen.hash == hash => *seen,
        _ => Seen { hash, size, stamp: None },
    };
    files.chain(specials).map(|(path, hash, size)| (path.to_string(), seen(path, hash, size))).collect()
}

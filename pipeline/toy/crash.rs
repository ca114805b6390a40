//! A run that dies at any operation on the disk: the next run must give what a clean build gives.

use super::{QuickDisk, Toy, is_called, whole};
use crate::results::manifest::Manifest;
use crate::store::disk::{Disk, SystemDisk};
use crate::store::files::MANIFEST;
use crate::store::record::Record;
use crate::store::sealed;
use std::collections::BTreeMap;
use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

/// A disk that works for some operations and then no more. What it dies at is half done if it can be.
pub(super) struct Dying {
    left: AtomicUsize,
    of: io::ErrorKind,
    /// Whether the store, results and edited files lie on disks of their own, so that nothing is renamed across.
    mounts: bool,
}

impl Dying {
    pub(super) fn after(operations: usize) -> Self {
        Self { left: AtomicUsize::new(operations), of: io::ErrorKind::Other, mounts: false }
    }

    pub(super) fn of(self, of: io::ErrorKind) -> Self {
        Self { of, ..self }
    }

    pub(super) fn with_mounts(self, mounts: bool) -> Self {
        Self { mounts, ..self }
    }

    fn alive(&self) -> bool {
        self.left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(1)).is_ok()
    }

    fn check(&self) -> io::Result<()> {
        if self.alive() { Ok(()) } else { Err(self.of.into()) }
    }
}

/// Which of the folders that may be mounted a path lies in.
fn mount(path: &Path) -> Option<std::path::Component<'_>> {
    path.components().find(|part| [".shearback", "results", "edited"].iter().any(|name| part.as_os_str() == *name))
}

impl Disk for Dying {
    fn create_folder(&self, path: &Path) -> io::Result<()> {
        self.check()?;
        QuickDisk.create_folder(path)
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        if !self.alive() {
            QuickDisk.write(path, &bytes[..bytes.len() / 2])?;
            return Err(self.of.into());
        }
        QuickDisk.write(path, bytes)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.check()?;
        if self.mounts && mount(from) != mount(to) {
            return Err(io::ErrorKind::CrossesDevices.into());
        }
        QuickDisk.rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.check()?;
        QuickDisk.remove(path)
    }

    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        self.check()?;
        QuickDisk.remove_folder(path)
    }

    fn sync(&self, path: &Path) -> io::Result<()> {
        self.check()?;
        QuickDisk.sync(path)
    }
}

/// Runs `prepare`, then dies after n operations of the next run, then runs again, for every n until one run lives.
fn dies_everywhere(mounts: bool, prepare: impl Fn() -> Toy, afterwards: impl Fn(&mut Toy)) -> usize {
    let (expected, at_once) = {
        let mut toy = prepare();
        let at_once = toy.clean();
        afterwards(&mut toy);
        (toy.clean(), at_once)
    };
    for operations in 0.. {
        let mut toy = prepare();
        let before = toy.results();
        let report = toy.run_with(1, None, &Dying::after(operations).with_mounts(mounts));
        let died = report.failure.is_some();
        nothing_half_written(&toy, &before, &at_once, operations);
        afterwards(&mut toy);
        whole(&toy.run_with(2, None, &Dying::after(usize::MAX).with_mounts(mounts)));
        assert_eq!(toy.results(), expected, "died after {operations} operations");
        assert!(!toy.exists("edited"), "died after {operations} operations: {:?}", toy.files("edited"));
        let left = toy.files(".shearback/tmp");
        assert!(left.is_empty(), "died after {operations} operations: {left:?}");
        let again = toy.run();
        assert_eq!(again.line, None, "died after {operations} operations");
        if !died {
            return operations;
        }
    }
    unreachable!()
}

/// Each file that stands is the old or the new one; if not all are old or all new, the manifest says so.
fn nothing_half_written(
    toy: &Toy,
    before: &BTreeMap<String, Vec<u8>>,
    after: &BTreeMap<String, Vec<u8>>,
    operations: usize,
) {
    let mut stands = toy.results();
    stands.retain(|path, _| !path.contains("/.shearback-part-"));
    if stands == *before || stands == *after {
        return;
    }
    let marked = stands.get("results/manifest.json").is_some_and(|m| Manifest::parse(m).is_some_and(|m| m.changing));
    assert!(marked, "died after {operations} operations: mixed and not marked: {:?}", stands.keys());
    let visible = stands.iter().filter(|(path, _)| !path.ends_with(MANIFEST));
    for (path, bytes) in visible {
        let known = [before, after].iter().any(|side| side.get(path) == Some(bytes));
        assert!(known, "died after {operations} operations: {path} is neither old nor new");
    }
}

#[test]
fn the_first_run() {
    let operations = dies_everywhere(false, Toy::new, |_| {});
    assert!(operations > 50, "{operations}");
}

fn changed() -> Toy {
    let mut toy = Toy::new();
    toy.config.variant = Some(4);
    whole(&toy.run());
    toy.config.variant = None;
    toy.config.unit = 2;
    toy.write("raw/a.txt", "#first\nshort\n");
    std::fs::remove_file(toy.path("raw/b.txt")).unwrap();
    toy
}

#[test]
fn a_run_after_changes() {
    dies_everywhere(false, changed, |_| {});
}

#[test]
fn a_run_after_changes_which_are_then_taken_back_or_go_on() {
    dies_everywhere(false, changed, |toy| toy.config.unit = 8);
    dies_everywhere(false, changed, |toy| toy.write("raw/c.txt", "again something else"));
}

#[test]
fn runs_with_results_on_another_disk() {
    let operations = dies_everywhere(true, Toy::new, |_| {});
    assert!(operations > dies_everywhere(false, Toy::new, |_| {}), "copies need more operations than renames");
    dies_everywhere(true, changed, |_| {});
}

#[test]
fn a_run_that_sweeps_up_after_a_stopped_one() {
    let prepare = || {
        let mut toy = changed();
        toy.run_with(1, None, &Dying::after(30));
        toy.config.unit = 5;
        toy
    };
    dies_everywhere(false, prepare, |_| {});
}

#[test]
fn a_run_that_lets_go_of_large_outputs() {
    let prepare = || {
        let mut toy = Toy::new();
        for title in ["one", "two", "three", "four"] {
            toy.config.title = title.into();
            whole(&toy.run());
        }
        toy.config.title = "five".into();
        toy
    };
    dies_everywhere(false, prepare, |_| {});
}

#[test]
fn records_are_never_there_without_their_objects() {
    for operations in 0..60 {
        let toy = Toy::new();
        toy.run_with(1, None, &Dying::after(operations));
        for path in toy.files(".shearback/records") {
            assert!(!is_called(path.as_ref(), "tmp"));
            let record: Record = sealed::open(toy.read(&path).as_bytes()).unwrap();
            let store = crate::store::Store::new(toy.folder.path(), &SystemDisk);
            for kept in &record.done.outputs {
                assert!(store.read_object(kept).is_ok(), "after {operations} operations: {path}");
            }
        }
    }
}

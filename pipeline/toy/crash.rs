//! A run that dies at any operation on the disk: the next run must give what a clean build gives.

use super::{QuickDisk, Toy, is_called, whole};
use crate::store::disk::{Disk, SystemDisk};
use crate::store::record::Record;
use crate::store::sealed;
use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

/// A disk that works for some operations and then no more. What it dies at is half done if it can be.
struct Dying {
    left: AtomicUsize,
}

impl Dying {
    fn after(operations: usize) -> Self {
        Self { left: AtomicUsize::new(operations) }
    }

    fn alive(&self) -> bool {
        self.left.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(1)).is_ok()
    }

    fn check(&self) -> io::Result<()> {
        if self.alive() { Ok(()) } else { Err(io::Error::other("the disk died")) }
    }
}

impl Disk for Dying {
    fn create_folder(&self, path: &Path) -> io::Result<()> {
        self.check()?;
        QuickDisk.create_folder(path)
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        if !self.alive() {
            QuickDisk.write(path, &bytes[..bytes.len() / 2])?;
            return Err(io::Error::other("the disk died"));
        }
        QuickDisk.write(path, bytes)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.check()?;
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
fn dies_everywhere(prepare: impl Fn() -> Toy, afterwards: impl Fn(&mut Toy)) -> usize {
    let expected = {
        let mut toy = prepare();
        afterwards(&mut toy);
        let fresh = toy.fresh_copy();
        whole(&fresh.run());
        fresh.results()
    };
    for operations in 0.. {
        let mut toy = prepare();
        let report = toy.run_with(1, None, &Dying::after(operations));
        let died = report.failure.is_some();
        afterwards(&mut toy);
        whole(&toy.run());
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

#[test]
fn the_first_run() {
    let operations = dies_everywhere(Toy::new, |_| {});
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
    dies_everywhere(changed, |_| {});
}

#[test]
fn a_run_after_changes_which_are_then_taken_back_or_go_on() {
    dies_everywhere(changed, |toy| toy.config.unit = 8);
    dies_everywhere(changed, |toy| toy.write("raw/c.txt", "again something else"));
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
    dies_everywhere(prepare, |_| {});
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

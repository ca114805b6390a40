//! Disks that refuse, clocks that are wrong, files that grow: nothing lost, and a word on what to do.

use super::crash::Dying;
use super::{QuickDisk, Toy, messages, split, whole, with};
use crate::command::Exit;
use crate::progress::Progress;
use crate::run::outcome::{Outcome, Report};
use crate::run::{Request, run};
use crate::stage::{Plan, Task};
use crate::store::Store;
use crate::store::digest::Digest;
use crate::store::disk::Disk;
use crate::store::past::Past;
use std::io::{self, ErrorKind, Write};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, SystemTime};

#[test]
fn a_disk_that_is_full_or_closed_half_way_is_told_with_what_to_do() {
    for (kind, help) in [
        (ErrorKind::StorageFull, "free some space and run again; what is already computed is kept"),
        (ErrorKind::QuotaExceeded, "free some space"),
        (ErrorKind::PermissionDenied, "check who owns it and its permissions"),
        (ErrorKind::ReadOnlyFilesystem, "copy the study to a place that can be written"),
        (ErrorKind::ResourceBusy, "close that program and run again"),
    ] {
        for operations in (0..).step_by(7) {
            let toy = Toy::new();
            let report = toy.run_with(1, None, &Dying::after(operations).of(kind));
            let Some(failure) = &report.failure else { break };
            assert_eq!(report.exit(), Exit::Surroundings);
            assert!(messages(failure).contains(help), "{kind} after {operations}: {}", messages(failure));
            let again = toy.run();
            let kept = report.count(Outcome::Built);
            assert!(whole(&again).count(Outcome::Reused) >= kept, "{kind} after {operations}: {kept} were done");
        }
    }
}

#[test]
fn a_clock_that_was_set_back_hides_no_edit() {
    let toy = Toy::new();
    let set = |time: SystemTime| {
        std::fs::File::options().append(true).open(toy.path("raw/a.txt")).unwrap().set_modified(time).unwrap();
    };
    for time in [SystemTime::now() + Duration::from_secs(86_400), SystemTime::UNIX_EPOCH] {
        for text in ["#first\nalpha beta gamma\n", "#First\nALPHA BETA GAMMA\n", "#first\nALPHA BETA GAMMA\n"] {
            toy.write("raw/a.txt", text);
            set(time);
            whole(&toy.run());
            std::thread::sleep(Duration::from_millis(35));
            whole(&toy.run());
            assert_eq!(toy.results(), toy.clean(), "{text:?} at {time:?}");
        }
    }
}

#[test]
fn a_file_that_grows_is_refused_or_taken_whole_and_never_half() {
    let toy = Toy::new();
    let line = "one more line of words that the instrument writes\n";
    let stop = AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            while !stop.load(Ordering::Relaxed) {
                let mut file = std::fs::File::options().append(true).open(toy.path("raw/a.txt")).unwrap();
                file.write_all(line.as_bytes()).unwrap();
                std::thread::sleep(Duration::from_micros(200));
            }
        });
        for _ in 0..20 {
            let report = toy.run();
            assert!(report.failure.is_none(), "{report:?}");
            let said = report.tasks.iter().flat_map(|task| &task.finished.diagnostics);
            said.for_each(|d| assert!(d.message.contains("changed while it was being read"), "{d}"));
            if report.laid_out {
                let text = toy.read("results/lines/a.txt");
                let whole_lines = text.lines().skip(1).all(|l| line.starts_with(l) && l.len() + 1 == line.len());
                assert!(whole_lines, "{text}");
            }
        }
        stop.store(true, Ordering::Relaxed);
    });
    whole(&toy.run());
    assert_eq!(toy.results(), toy.clean());
}

/// A disk on which somebody else does something, once: just before a file of such a path gets its name.
struct Meddled<W, F> {
    when: W,
    happens: F,
    done: AtomicBool,
}

impl<W: Fn(&Path) -> bool, F: Fn()> Meddled<W, F> {
    fn new(when: W, happens: F) -> Self {
        Self { when, happens, done: AtomicBool::new(false) }
    }
}

impl<W: Fn(&Path) -> bool + Sync, F: Fn() + Sync> Disk for Meddled<W, F> {
    fn create_folder(&self, path: &Path) -> io::Result<()> {
        QuickDisk.create_folder(path)
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        QuickDisk.write(path, bytes)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        if (self.when)(to) && !self.done.swap(true, Ordering::Relaxed) {
            (self.happens)();
        }
        QuickDisk.rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        QuickDisk.remove(path)
    }

    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        QuickDisk.remove_folder(path)
    }

    fn sync(&self, path: &Path) -> io::Result<()> {
        QuickDisk.sync(path)
    }
}

/// Runs one task after the other, in the order of the plan.
fn run_in_order(toy: &Toy, plan: &Plan, disk: &dyn Disk) -> Report {
    let (cancel, progress) = (AtomicBool::new(false), Progress::none());
    run(toy.folder.path(), plan, &Request { jobs: 1, until: None, cancel: &cancel, progress: &progress, disk })
}

/// Whether these are the lines that `split` gives for a raw file, on their way into the store.
fn lines_of(text: &str) -> impl Fn(&Path) -> bool + Sync {
    let kept: Vec<&str> = text.lines().filter(|line| !line.starts_with('#')).collect();
    let name = Digest::of(kept.join("\n").as_bytes()).to_string();
    move |path| path.ends_with(&name)
}

const BEFORE: &str = "#first\nalpha beta gamma\n";

/// All exports are hashed, then each is read by its task: what changes in between is refused by its name.
#[test]
fn an_export_that_changes_between_hashing_and_reading_is_refused() {
    let (old, changed) = ("#third\nwords of this run\n", "the file changed while it was being read");
    let rewritten = old.to_uppercase();
    for (new, said) in [
        (Some(format!("{old}and one that came later\n")), changed),
        (Some("#third\nwo".to_owned()), changed),
        (Some(String::new()), changed),
        (Some(rewritten), changed),
        (None, "cannot read this export"),
    ] {
        let toy = Toy::new();
        whole(&toy.run());
        let results = toy.results();
        toy.write("raw/a.txt", "#first\nother words\n");
        toy.write("raw/c.txt", old);
        let time = std::fs::metadata(toy.path("raw/c.txt")).unwrap().modified().unwrap();
        let meddle = || match &new {
            Some(text) => {
                toy.write("raw/c.txt", text);
                // Whoever writes may put the old time back.
                std::fs::File::options().append(true).open(toy.path("raw/c.txt")).unwrap().set_modified(time).unwrap();
            }
            None => std::fs::remove_file(toy.path("raw/c.txt")).unwrap(),
        };
        let disk = Meddled::new(lines_of("#first\nother words\n"), meddle);
        let report = run_in_order(&toy, &toy.plan(), &disk);
        assert!(disk.done.into_inner() && report.failure.is_none() && !report.laid_out, "{new:?}: {report:?}");
        assert_eq!(report.exit(), Exit::Unmet);
        assert_eq!(with(&report, Outcome::Failed), ["split raw/c.txt"], "{new:?}");
        let told = report.tasks.iter().flat_map(|task| &task.finished.diagnostics);
        let told: Vec<String> = told.map(ToString::to_string).collect();
        assert!(told.len() == 1 && told[0].starts_with(&format!("raw/c.txt: {said}")), "{new:?}: {told:?}");
        assert_eq!(toy.results(), results, "{new:?}: results stay as they were");
        if new.is_none() {
            toy.write("raw/c.txt", old);
        }
        // What was whole is kept, and the next run takes the export as it stands.
        let again = toy.run();
        assert!(with(whole(&again), Outcome::Reused).contains(&"split raw/a.txt"), "{new:?}");
        assert_eq!(toy.results(), toy.clean(), "{new:?}");
    }
}

/// Two tasks that read one export never see two versions of it.
#[test]
fn tasks_that_share_an_export_read_one_version_of_it() {
    let toy = Toy::new();
    let mut plan = toy.plan();
    let other = super::Config { comment: "alpha".into(), ..toy.config.clone() };
    plan.tasks.push(Task { variant: Some("other".into()), ..split(&other, "raw/a.txt") });
    let disk = Meddled::new(lines_of(BEFORE), || toy.write("raw/a.txt", "#first\nALPHA BETA GAMMA\n"));
    let report = run_in_order(&toy, &plan, &disk);
    assert!(disk.done.into_inner() && !report.laid_out, "{report:?}");
    assert_eq!(with(&report, Outcome::Failed), ["split raw/a.txt [other]"]);
    assert!(!toy.exists("results/lines/a.txt"));
}

/// What was read whole is used to the end of the run; the next one sees the change.
#[test]
fn an_export_that_changes_after_it_was_read_counts_as_it_was() {
    let toy = Toy::new();
    let as_it_was = toy.clean();
    let disk = Meddled::new(lines_of(BEFORE), || toy.write("raw/a.txt", "#first\nALPHA BETA GAMMA, and more\n"));
    whole(&run_in_order(&toy, &toy.plan(), &disk));
    assert!(disk.done.into_inner());
    assert_eq!(toy.results(), as_it_was);
    assert!(toy.reasons("split raw/a.txt").join("\n").contains("raw/a.txt"), "{:?}", toy.reasons("split raw/a.txt"));
    whole(&toy.run());
    assert_eq!(toy.results(), toy.clean());
}

/// The ledger keeps the study file from which the run was planned, not the one that somebody saved meanwhile.
#[test]
fn a_study_file_that_is_edited_under_way_is_not_that_of_the_run() {
    let toy = Toy::new();
    let disk = Meddled::new(lines_of(BEFORE), || toy.write("study.yaml", "study: edited meanwhile\n"));
    whole(&run_in_order(&toy, &toy.plan(), &disk));
    assert!(disk.done.into_inner());
    let store = Store::new(toy.folder.path(), &QuickDisk);
    let kept = Past::find(&store, None).unwrap().study_file();
    assert_eq!(kept.as_deref(), Some(b"study: toy\n".as_slice()));
}

//! Disks that refuse, clocks that are wrong, files that grow: nothing lost, and a word on what to do.

use super::crash::Dying;
use super::{Toy, messages, whole};
use crate::command::Exit;
use crate::run::outcome::Outcome;
use std::io::{ErrorKind, Write};
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

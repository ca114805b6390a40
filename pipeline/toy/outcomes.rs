//! What is built, what is reused, and what is said of it.

use super::{Toy, messages, whole, with};
use crate::command::Exit;
use crate::rebuild::assess::Condition;
use crate::rebuild::reason::Kind;
use crate::run::outcome::Outcome;
use crate::store::Store;
use crate::store::digest::Digest;
use crate::store::disk::SystemDisk;
use crate::store::ledger::Line;
use crate::store::lock::Lock;
use std::io::Read;

#[test]
fn the_first_run_builds_everything_and_the_second_nothing() {
    let toy = Toy::new();
    let first = toy.run();
    assert_eq!(whole(&first).count(Outcome::Built), 8);
    // Lengths 16, 18 and 37 in units of 8: 2 + 2 + 4.
    assert_eq!(toy.read("results/note/note.txt"), "Sum: 8 (pen 1.0)");
    let (ledger, results) = (toy.read(".shearback/ledger.jsonl"), toy.results());
    let second = toy.run();
    assert_eq!((whole(&second).count(Outcome::Built), second.count(Outcome::Reused)), (0, 8));
    assert_eq!((toy.read(".shearback/ledger.jsonl"), toy.results()), (ledger, results));
    assert!(toy.why().iter().all(|task| task.condition == Condition::UpToDate));
}

#[test]
fn with_nothing_to_do_neither_records_nor_objects_are_opened() {
    let toy = Toy::new();
    toy.run();
    for folder in ["outputs", "bulky", "records"] {
        std::fs::remove_dir_all(toy.path(&format!(".shearback/{folder}"))).unwrap();
    }
    let report = toy.run();
    assert_eq!(whole(&report).count(Outcome::Reused), 8);
}

#[test]
fn new_times_alone_change_nothing() {
    let toy = Toy::new();
    toy.run();
    toy.settle();
    assert_eq!(whole(&toy.run()).count(Outcome::Built), 0);
    assert_eq!(toy.read(".shearback/ledger.jsonl").lines().count(), 1);
}

#[test]
fn an_edit_with_the_old_size_and_time_is_seen() {
    let toy = Toy::new();
    toy.run();
    toy.settle();
    toy.run();
    let path = toy.path("raw/a.txt");
    let time = std::fs::metadata(&path).unwrap().modified().unwrap();
    toy.write("raw/a.txt", "#First\nalpha beta gamma\n");
    std::fs::File::options().append(true).open(&path).unwrap().set_modified(time).unwrap();
    assert_eq!(with(&toy.run(), Outcome::Built), ["split raw/a.txt", "count raw/a.txt"]);
}

#[test]
fn the_same_bytes_from_a_task_that_ran_again_leave_the_rest_reused() {
    let toy = Toy::new();
    toy.run();
    // The count in units of 8 stays 2, so the sum and everything behind it do as well.
    toy.write("raw/a.txt", "#first\nalpha beta gamme\n");
    assert_eq!(toy.condition("split raw/a.txt"), Condition::OutOfDate);
    assert_eq!(toy.condition("count raw/a.txt"), Condition::Undecided);
    assert_eq!(toy.condition("sum study"), Condition::Undecided);
    assert_eq!(toy.condition("count raw/b.txt"), Condition::UpToDate);
    let report = toy.run();
    assert_eq!(with(whole(&report), Outcome::Built), ["split raw/a.txt", "count raw/a.txt"]);
}

#[test]
fn a_setting_is_named_with_old_and_new_value_and_line() {
    let mut toy = Toy::new();
    toy.run();
    toy.config.unit = 4;
    assert_eq!(toy.reasons("count raw/a.txt"), ["setting stages.count.unit 8 -> 4 (study.yaml:7)"]);
    toy.config.title = "Total".into();
    let reasons = toy.reasons("note study");
    assert_eq!(reasons[0], "setting title Sum -> Total (study.yaml:2)");
    assert_eq!(reasons[1], "depends on sum study, which is out of date");
    let report = toy.run();
    let ledger = toy.read(".shearback/ledger.jsonl");
    let last: Line = serde_json::from_str(ledger.lines().last().unwrap()).unwrap();
    let because = last.because;
    assert!(because.contains(&"setting stages.count.unit 8 -> 4 (study.yaml:7)".to_string()), "{because:?}");
    assert_eq!(whole(&report).count(Outcome::Built), 5);
}

#[test]
fn code_tool_and_raw_are_named() {
    let mut toy = Toy::new();
    toy.run();
    toy.config.code = "count-2";
    toy.config.tool = "1.1";
    toy.write("raw/b.txt", "other");
    assert_eq!(toy.reasons("count raw/a.txt"), ["the code of stage count changed"]);
    assert_eq!(toy.reasons("note study")[0], "pen 1.0 -> 1.1");
    let old = Digest::of(b"#second\ndelta epsilon zeta\n").short();
    let new = Digest::of(b"other").short();
    assert_eq!(toy.reasons("split raw/b.txt"), [format!("raw export raw/b.txt {old} -> {new}")]);
    std::fs::remove_file(toy.path("raw/b.txt")).unwrap();
    assert!(toy.reasons("sum study").iter().any(|reason| reason == "what count raw/b.txt gives changed"));
}

#[test]
fn a_setting_that_is_put_back_finds_its_results() {
    let mut toy = Toy::new();
    toy.run();
    let before = toy.results();
    toy.config.unit = 4;
    toy.run();
    assert_ne!(toy.results(), before);
    toy.config.unit = 8;
    assert_eq!(toy.condition("count raw/a.txt"), Condition::InStore);
    assert_eq!(toy.condition("note study"), Condition::InStore);
    assert_eq!(toy.reasons("count raw/a.txt"), ["setting stages.count.unit 4 -> 8 (study.yaml:7)"]);
    let report = toy.run();
    assert_eq!(whole(&report).count(Outcome::Built), 0);
    assert_eq!(toy.results(), before);
    assert_eq!(report.line, Some(3));
}

#[test]
fn variants_and_equal_files_share_what_is_the_same() {
    let mut toy = Toy::new();
    toy.write("raw/d.txt", &toy.read("raw/a.txt"));
    toy.config.variant = Some(8);
    let first = toy.run();
    let told = first.tasks.iter().flat_map(|task| &task.finished.reasons);
    assert!(told.into_iter().all(|reason| reason.kind == Kind::New), "what is shared was not lost: {first:?}");
    // Three different texts are split and counted, one sum, one note.
    assert_eq!(toy.files(".shearback/records").len(), 8);
    toy.config.variant = Some(4);
    let report = toy.run();
    let built = with(whole(&report), Outcome::Built);
    assert_eq!(built.len(), 6, "{built:?}");
    assert!(built.iter().all(|name| name.ends_with("[other]")));
    assert_eq!(toy.files(".shearback/records").len(), 13);
}

#[test]
fn the_number_of_threads_changes_no_byte() {
    let (one, eight) = (Toy::new(), Toy::new());
    whole(&one.run_with(1, None, &SystemDisk));
    whole(&eight.run_with(8, None, &SystemDisk));
    assert_eq!(one.results(), eight.results());
    let records =
        |toy: &Toy| toy.files(".shearback/records").into_iter().map(|path| toy.read(&path)).collect::<Vec<_>>();
    assert_eq!(records(&one), records(&eight));
}

#[test]
fn a_task_that_fails_fails_alone() {
    let toy = Toy::new();
    toy.run();
    let before = toy.results();
    toy.write("raw/a.txt", "fine\nbad\n");
    toy.write("raw/b.txt", "now other words than before");
    let report = toy.run();
    assert_eq!(report.exit(), Exit::Unmet);
    assert_eq!(with(&report, Outcome::Failed), ["split raw/a.txt"]);
    assert_eq!(with(&report, Outcome::Skipped), ["count raw/a.txt", "sum study", "note study"]);
    assert_eq!(with(&report, Outcome::Built), ["split raw/b.txt", "count raw/b.txt"]);
    assert_eq!(
        report.tasks[0].finished.diagnostics[0].to_string(),
        "raw/a.txt:2: found `bad`, expected words (take it out)"
    );
    assert_eq!(toy.results(), before);
    assert_eq!(toy.condition("split raw/b.txt"), Condition::InStore);
    toy.write("raw/a.txt", "fine\n");
    let report = toy.run();
    assert!(!with(whole(&report), Outcome::Built).contains(&"split raw/b.txt"));
    assert_eq!(toy.results(), {
        let fresh = toy.fresh_copy();
        fresh.run();
        fresh.results()
    });
}

#[test]
fn what_was_lost_is_built_even_if_its_user_waits_for_a_failed_task() {
    let mut toy = Toy::new();
    toy.config.unit = 1;
    whole(&toy.run());
    let third = toy.read("raw/c.txt");
    toy.write("raw/b.txt", "#second\neta theta\n");
    toy.write("raw/c.txt", "#third\neight nine\n");
    whole(&toy.run());
    let count = |raw: &str| toy.read(&format!("raw/{raw}.txt")).lines().nth(1).unwrap().len().to_string();
    let object = |bytes: &str| {
        let name = Digest::of(bytes.as_bytes()).to_string();
        toy.path(&format!(".shearback/outputs/{}/{name}", &name[..3]))
    };
    // For `sum`, which never saw this `b` with that `c` and is built whatever becomes of `a`.
    toy.write("raw/c.txt", &third);
    std::fs::remove_file(object(&count("b"))).unwrap();
    // For `results/`, which lacks it.
    std::fs::remove_file(toy.path("results/lines/b.txt")).unwrap();
    let lines = toy.files(".shearback/bulky").into_iter().find(|path| toy.read(path) == "eta theta").unwrap();
    std::fs::remove_file(toy.path(&lines)).unwrap();
    toy.write("raw/a.txt", "bad");
    for name in ["split raw/b.txt", "count raw/b.txt", "sum study"] {
        assert_eq!(toy.condition(name), Condition::OutOfDate, "{name}");
    }
    let report = toy.run();
    assert_eq!(with(&report, Outcome::Failed), ["split raw/a.txt"]);
    assert_eq!(with(&report, Outcome::Built), ["split raw/b.txt", "count raw/b.txt"]);
    assert!(object(&count("b")).exists() && toy.exists(&lines) && !report.laid_out);
}

#[test]
fn a_panic_is_a_failed_task_that_asks_for_a_report() {
    let toy = Toy::new();
    toy.write("raw/a.txt", "panic\n");
    let report = toy.run();
    assert_eq!(with(&report, Outcome::Failed), ["split raw/a.txt"]);
    assert_eq!(with(&report, Outcome::Built).len(), 4);
    assert!(report.tasks[0].finished.diagnostics[0].message.contains("the work was asked to panic"));
}

#[test]
fn remarks_are_told_again_when_a_task_is_reused() {
    let toy = Toy::new();
    toy.write("raw/a.txt", "odd\n");
    toy.run();
    let report = toy.run();
    assert_eq!(report.tasks[0].finished.outcome, Outcome::Reused);
    assert_eq!(report.tasks[0].finished.done.as_ref().unwrap().remarks, [serde_json::json!("an odd word")]);
}

#[cfg(unix)]
#[test]
fn links_out_of_the_study_and_folders_are_no_exports() {
    let toy = Toy::new();
    let outside = tempfile::NamedTempFile::new().unwrap();
    std::fs::remove_file(toy.path("raw/a.txt")).unwrap();
    std::os::unix::fs::symlink(outside.path(), toy.path("raw/a.txt")).unwrap();
    let report = toy.run();
    let said = report.tasks[0].finished.diagnostics[0].to_string();
    assert_eq!(said, "raw/a.txt: not taken as a raw export: it leads out of the study (copy the file into the study)");
    std::fs::remove_file(toy.path("raw/a.txt")).unwrap();
    std::os::unix::fs::symlink("b.txt", toy.path("raw/a.txt")).unwrap();
    whole(&toy.run());
}

#[test]
fn one_run_at_a_time() {
    let toy = Toy::new();
    let store = Store::new(toy.folder.path(), &SystemDisk);
    let lock = Lock::take(&store).unwrap();
    let report = toy.run();
    assert_eq!(report.exit(), Exit::Surroundings);
    let said = messages(report.failure.as_ref().unwrap());
    assert!(said.contains(&format!("(process {})", std::process::id())), "{said}");
    toy.why();
    drop(lock);
    whole(&toy.run());
}

#[test]
fn why_writes_nothing() {
    let toy = Toy::new();
    toy.why();
    assert!(!toy.exists(".shearback"));
}

#[test]
fn each_line_of_the_ledger_holds_the_hash_of_the_one_before() {
    let mut toy = Toy::new();
    for unit in [8, 4, 2] {
        toy.config.unit = unit;
        toy.run();
    }
    let ledger = toy.read("results/ledger.jsonl");
    assert_eq!(ledger, toy.read(".shearback/ledger.jsonl"));
    let lines: Vec<&str> = ledger.lines().collect();
    let read: Vec<Line> = lines.iter().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(read.iter().map(|line| line.run).collect::<Vec<_>>(), [1, 2, 3]);
    assert_eq!(read[0].previous, None);
    for (at, line) in read.iter().enumerate().skip(1) {
        assert_eq!(line.previous, Some(Digest::of(lines[at - 1].as_bytes())));
    }
    assert_eq!(read[2].manifest, Digest::of(toy.read("results/manifest.json").as_bytes()));
    assert_eq!(read[2].study_file, Digest::of(b"study: toy\n"));
}

#[test]
fn large_outputs_are_kept_for_the_current_run_and_the_last_three() {
    let mut toy = Toy::new();
    let mut first = None;
    for (run, word) in ["one", "two", "three", "four", "five"].iter().enumerate() {
        toy.config.title = word.to_string();
        whole(&toy.run());
        let log = Digest::of(toy.read("results/log").as_bytes()).to_string();
        let log = format!(".shearback/bulky/{}/{log}", &log[..3]);
        let first = first.get_or_insert(log.clone());
        assert!(toy.exists(&log));
        assert_eq!(toy.exists(first), run < 4, "run {}", run + 1);
    }
    // The lines of the raw files are in every run and stay; what was let go comes back by computing.
    assert_eq!(toy.files(".shearback/bulky").len(), 3 + 4);
    toy.config.title = "one".into();
    assert_eq!(toy.condition("note study"), Condition::OutOfDate);
    assert_eq!(with(whole(&toy.run()), Outcome::Built), ["note study"]);
}

#[test]
fn a_run_that_is_stopped_keeps_what_is_done_and_says_so() {
    let toy = Toy::new();
    toy.run();
    let before = toy.results();
    toy.write("raw/a.txt", "something else, of another length\n");
    let (cancel, progress) = (std::sync::atomic::AtomicBool::new(true), crate::progress::Progress::none());
    let request = crate::run::Request { jobs: 2, until: None, cancel: &cancel, progress: &progress, disk: &SystemDisk };
    let report = crate::run::run(toy.folder.path(), &toy.plan(), &request);
    assert_eq!((report.exit(), report.laid_out), (Exit::Surroundings, false));
    let said = messages(report.failure.as_ref().unwrap());
    assert!(said.contains("0 of 8 tasks are done and kept"), "{said}");
    assert_eq!(toy.results(), before);
}

#[test]
fn a_raw_file_that_changes_while_it_is_read_fails() {
    let toy = Toy::new();
    let files = crate::store::files::Files::new(toy.folder.path());
    let words = "raw/a.txt: the file changed while it was being read";
    let file = crate::rebuild::raw::HashedFile::raw(&files, "raw/a.txt", Digest::of(b"as it was hashed"));
    let mut stream = file.open().unwrap();
    for _ in 0..2 {
        let said = crate::stage::unreadable(stream.read_to_end(&mut Vec::new()).unwrap_err());
        assert!(said[0].to_string().starts_with(words), "{}", said[0]);
    }
    assert!(!file.is_whole() && file.unchanged().unwrap_err().to_string().starts_with(words));
}

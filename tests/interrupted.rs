//! Runs that are killed or asked to stop, and two at once: what is done is kept, nothing half-written is seen, and the
//! next run gives what a clean build gives.
//!
//! `SHEARBACK_KILLS` says how many runs are killed.

use crate::support::{Dice, Said, command, hashes, json, shearback, small_study, times};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::thread::sleep;
use std::time::{Duration, Instant};

type Hashes = BTreeMap<String, String>;

/// What the study file may say; each gives other results, the last two only another document.
const SETTINGS: [&str; 4] = [
    "clean: {spike: {threshold: 6}}",
    "clean: {spike: {threshold: 7}}",
    "fit: {models: [wyart-cates]}\nreport: {title: One}",
    "fit: {models: [wyart-cates]}\nreport: {title: Another}",
];

fn set(study: &Path, settings: &str) {
    let file = study.join("study.yaml");
    let text = fs::read_to_string(&file).unwrap();
    let head = text.split("stages:\n").next().unwrap();
    fs::write(file, format!("{head}stages:\n  {settings}\n")).unwrap();
}

fn start(study: &Path, more: &[&str]) -> Child {
    let words: Vec<&str> = ["run", study.to_str().unwrap()].into_iter().chain(more.iter().copied()).collect();
    command(&words).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

fn said(child: Child) -> Said {
    child.wait_with_output().unwrap().into()
}

/// The processes of this one that set a page; asking typst for its version does not count.
fn typesetters(id: u32) -> Vec<u32> {
    let tasks = fs::read_dir(format!("/proc/{id}/task")).into_iter().flatten().flatten();
    let lists = tasks.flat_map(|task| fs::read_to_string(task.path().join("children")));
    let all = lists.flat_map(|list| list.split_whitespace().map(|id| id.parse().unwrap()).collect::<Vec<u32>>());
    let sets =
        |id: &u32| fs::read(format!("/proc/{id}/cmdline")).is_ok_and(|line| line.windows(7).any(|w| w == b"compile"));
    all.filter(sets).collect()
}

/// Waits until this holds or the process has ended.
fn wait_until(child: &mut Child, holds: impl Fn(u32) -> bool) -> bool {
    let begin = Instant::now();
    while begin.elapsed() < Duration::from_secs(120) {
        if holds(child.id()) {
            return true;
        }
        if child.try_wait().unwrap().is_some() {
            return false;
        }
        sleep(Duration::from_millis(1));
    }
    panic!("nothing happened in two minutes");
}

fn signal(name: &str, id: u32) {
    assert!(Command::new("kill").args([name, &id.to_string()]).status().unwrap().success());
}

/// What a clean build in a folder of its own gives.
fn clean(settings: &'static str) -> Hashes {
    static KNOWN: Mutex<BTreeMap<&str, Hashes>> = Mutex::new(BTreeMap::new());
    KNOWN.lock().unwrap().entry(settings).or_insert_with(|| build(settings)).clone()
}

fn build(settings: &str) -> Hashes {
    let study = small_study();
    set(study.path(), settings);
    let said = shearback(&["run", study.path().to_str().unwrap()]);
    assert_eq!(said.status, 0, "{}", said.err);
    hashes(&study.path().join("results"))
}

/// Each file is one of those that some whole run gave.
fn nothing_half_written(results: &Path, known: &[Hashes], case: &str) {
    for (path, hash) in hashes(results).iter().filter(|(path, _)| *path != "manifest.json") {
        assert!(known.iter().any(|whole| whole.get(path) == Some(hash)), "{case}: {path} is half-written");
    }
}

#[test]
fn killed_at_any_moment_the_next_run_gives_what_a_clean_build_gives() {
    let study = small_study();
    let known: Vec<Hashes> = SETTINGS.iter().map(|settings| clean(settings)).collect();
    let results = study.path().join("results");
    let begin = Instant::now();
    set(study.path(), SETTINGS[0]);
    assert_eq!(shearback(&["run", study.path().to_str().unwrap()]).status, 0);
    let whole_run = begin.elapsed();
    let (mut killed, mut with_typst, mut while_laying_out) = (0, 0, 0);
    let kills = times("SHEARBACK_KILLS", 4);
    for number in 0.. {
        if killed == kills {
            break;
        }
        assert!(number < 20 * kills, "only {killed} of {number} runs could be killed");
        let mut dice = Dice::number(number);
        let at = dice.roll(SETTINGS.len());
        set(study.path(), SETTINGS[at]);
        if dice.roll(3) == 0 {
            fs::remove_dir_all(study.path().join(".shearback/records")).unwrap();
            fs::remove_file(study.path().join(".shearback/state.json")).unwrap();
        }
        let mut child = start(study.path(), &["--jobs", ["1", "2", "4"][dice.roll(3)]]);
        let case = format!("kill {number}");
        match number % 3 {
            // Half of the documents take longer than this to set.
            0 if wait_until(&mut child, |id| !typesetters(id).is_empty()) => {
                sleep(Duration::from_millis(dice.roll(300) as u64));
            }
            1 => {
                let marked =
                    |_| fs::read(results.join("manifest.json")).is_ok_and(|m| m.starts_with(b"{\"changing\":true"));
                wait_until(&mut child, marked);
            }
            _ => sleep(whole_run.mul_f64(dice.roll(1000) as f64 / 1000.0)),
        }
        let typst = typesetters(child.id());
        child.kill().unwrap();
        if said(child).status != -1 {
            continue;
        }
        killed += 1;
        with_typst += u64::from(!typst.is_empty());
        nothing_half_written(&results, &known, &case);
        let manifest = fs::read_to_string(results.join("manifest.json")).unwrap();
        while_laying_out += u64::from(manifest.contains("\"changing\":true"));
        let again = shearback(&["run", study.path().to_str().unwrap()]);
        assert_eq!(again.status, 0, "{case}: {}", again.err);
        assert_eq!(hashes(&results), known[at], "{case}");
        assert!(!study.path().join("edited").exists(), "{case}: something of ours was taken for edited");
    }
    println!("{killed} killed, {with_typst} with a live typst, {while_laying_out} while results were laid out");
    assert!(with_typst > 0, "no typst was alive at any kill");
    let (_, why) = json("why", study.path(), &[]);
    assert!(why["tasks"].as_array().unwrap().iter().all(|task| task["condition"] == "up to date"));
}

#[test]
fn asked_to_stop_it_stops_soon_and_keeps_what_is_done() {
    let wanted = clean(SETTINGS[0]);
    for name in ["-INT", "-TERM"] {
        let study = small_study();
        set(study.path(), SETTINGS[0]);
        let records = study.path().join(".shearback/records");
        let mut child = start(study.path(), &["--jobs", "1"]);
        assert!(wait_until(&mut child, |_| fs::read_dir(&records).is_ok_and(|entries| entries.count() > 2)));
        signal(name, child.id());
        let said = said(child);
        assert_eq!(said.status, 3, "{name}: {}", said.err);
        assert!(said.err.contains("stopped on request") && said.err.contains("run again to go on"), "{}", said.err);
        assert!(!study.path().join("results").exists(), "{name}");
        let (status, run) = json("run", study.path(), &[]);
        assert_eq!(status, 0, "{run}");
        assert!(run["reused"].as_u64().unwrap() >= 3, "{name}: what was done is kept: {run}");
        assert_eq!(hashes(&study.path().join("results")), wanted, "{name}");
    }
}

/// Whether the process answers SIGTERM itself.
fn answers(id: u32) -> bool {
    let status = fs::read_to_string(format!("/proc/{id}/status")).unwrap_or_default();
    let caught = status.lines().find_map(|line| u64::from_str_radix(line.strip_prefix("SigCgt:")?.trim(), 16).ok());
    // Bit 14 is that of signal 15.
    caught.is_some_and(|caught| caught & (1 << 14) != 0)
}

#[test]
fn asked_to_stop_while_it_reads_the_study_file_it_says_so() {
    let study = small_study();
    let file = study.path().join("study.yaml");
    let text = fs::read(&file).unwrap();
    fs::remove_file(&file).unwrap();
    // A pipe in place of the study file: the program waits there until the other end is written.
    assert!(Command::new("mkfifo").arg(&file).status().unwrap().success());
    let mut child = start(study.path(), &[]);
    assert!(wait_until(&mut child, answers));
    signal("-TERM", child.id());
    fs::write(&file, text).unwrap();
    let said = said(child);
    assert_eq!(said.status, 3, "{}", said.err);
    assert!(said.err.contains("stopped on request: 0 of"), "{}", said.err);
    assert!(!study.path().join("results").exists());
}

#[test]
fn asked_to_stop_while_typst_works_it_takes_typst_along() {
    let study = small_study();
    set(study.path(), SETTINGS[2]);
    assert_eq!(shearback(&["run", study.path().to_str().unwrap()]).status, 0);
    let before = hashes(&study.path().join("results"));
    for name in ["-INT", "-TERM"] {
        set(study.path(), SETTINGS[3]);
        let mut child = start(study.path(), &[]);
        assert!(wait_until(&mut child, |id| !typesetters(id).is_empty()), "typst never came");
        let typst = typesetters(child.id());
        signal(name, child.id());
        let said = said(child);
        assert_eq!(said.status, 3, "{name}: {}", said.err);
        let alive = |id: &u32| fs::read_to_string(format!("/proc/{id}/stat")).is_ok_and(|stat| !stat.contains(") Z "));
        assert!(!typst.iter().any(alive), "{name}: typst lives on");
        assert_eq!(hashes(&study.path().join("results")), before, "{name}");
        let scratch = fs::read_dir(study.path().join(".shearback/tmp")).unwrap();
        assert_eq!(scratch.count(), 0, "{name}: its folder is left");
    }
    assert_eq!(json("run", study.path(), &[]).0, 0);
    assert_eq!(hashes(&study.path().join("results")), clean(SETTINGS[3]));
}

#[test]
fn of_two_runs_at_once_one_works_and_the_other_says_so() {
    let study = small_study();
    set(study.path(), SETTINGS[0]);
    let records = study.path().join(".shearback/records");
    let mut first = start(study.path(), &["--jobs", "1"]);
    assert!(wait_until(&mut first, |_| records.exists()));
    let second = shearback(&["run", study.path().to_str().unwrap()]);
    assert_eq!(second.status, 3, "{}", second.err);
    let holder = format!("another run is working on {} (process {})", study.path().display(), first.id());
    assert!(second.err.contains(&holder) && second.err.contains("wait until it has finished"), "{}", second.err);
    assert_eq!(shearback(&["why", study.path().to_str().unwrap()]).status, 0, "looking is allowed");
    let space = shearback(&["space", study.path().to_str().unwrap(), "--free"]);
    assert_eq!(space.status, 3, "nothing is let go under a run: {}", space.out);
    let first = said(first);
    assert_eq!(first.status, 0, "{}", first.err);
    assert_eq!(hashes(&study.path().join("results")), clean(SETTINGS[0]));
}

//! Random histories of a small real study, without figures and page: after any edits, `run` gives what a clean build
//! gives, byte for byte, and what `why` said beforehand holds. The engine is called in process, so that its disk can
//! fail and a stage's code can change.
//!
//! `SHEARBACK_HISTORIES` says how many.

use crate::support::remembered::remembering;
use crate::support::{Dice, contents, small_study, times};
use pipeline::command::Failure;
use pipeline::graph::{Graph, select};
use pipeline::progress::Progress;
use pipeline::rebuild::assess::{Assessment, Condition, assess};
use pipeline::run::outcome::{Outcome, Report};
use pipeline::run::{Request, run};
use pipeline::stage::Plan;
use pipeline::store::Store;
use pipeline::store::disk::{Disk, SystemDisk};
use pipeline::store::state::State;
use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use tempfile::TempDir;

/// A disk that works for some operations and then no more; nothing is waited for.
struct Dying(AtomicUsize);

impl Dying {
    fn alive(&self) -> io::Result<()> {
        let left = self.0.fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(1));
        left.map(drop).map_err(|_| io::Error::other("the disk died"))
    }
}

impl Disk for Dying {
    fn create_folder(&self, path: &Path) -> io::Result<()> {
        self.alive().and_then(|()| SystemDisk.create_folder(path))
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        if self.alive().is_err() {
            SystemDisk.write(path, &bytes[..bytes.len() / 2])?;
            return Err(io::Error::other("the disk died"));
        }
        SystemDisk.write(path, bytes)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        self.alive().and_then(|()| SystemDisk.rename(from, to))
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        self.alive().and_then(|()| SystemDisk.remove(path))
    }

    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        self.alive().and_then(|()| SystemDisk.remove_folder(path))
    }

    fn sync(&self, _: &Path) -> io::Result<()> {
        self.alive()
    }
}

const SETTINGS: [&str; 5] = [
    "fit: {models: [wyart-cates]}",
    "clean: {spike: {threshold: 6}}",
    "fit: {skip: true}",
    "clean: {spike: false}\n  fit: {models: [wyart-cates]}",
    "fit: {models: [wyart-cates]}\nvariants:\n  strict: {clean: {spike: {threshold: 6}}}",
];

/// What is edited; those that come twice are chosen twice as often.
const EDITS: [&str; 22] = [
    "content",
    "content",
    "restore",
    "touch",
    "rename",
    "delete",
    "swap",
    "settings",
    "settings",
    "revert",
    "code",
    "spoil store",
    "flip store",
    "flip store",
    "cut store",
    "delete store",
    "lose state",
    "edit result",
    "delete result",
    "lose results",
    "jobs",
    "kill",
];

/// In each so-manieth history the stages work whenever the engine asks them to; in the others they work once for each
/// input, and once more for clean builds.
const WORKS: u64 = 25;

/// The exports as they were, by their path in the study.
type Raws = BTreeMap<String, Vec<u8>>;

struct History {
    folder: TempDir,
    dice: Dice,
    settings: &'static str,
    before: &'static str,
    /// A stage whose code was changed, if any.
    changed: Option<&'static str>,
    jobs: usize,
    /// With whom it shares what stages work out; with nobody if it lets all of them work.
    remembers: Option<&'static str>,
    told: Vec<String>,
}

/// Two loadings of a sample and a control, each cut to its last two reversals: 500 readings.
fn exports() -> Raws {
    let study = small_study();
    let cut = |(path, bytes): (String, Vec<u8>)| {
        let text = String::from_utf8(bytes).unwrap();
        let leg = |line: &str| {
            let cells: Vec<&str> = line.split('\t').collect();
            // A number for the time tells readings from the line of units.
            cells.get(2)?.parse::<f64>().ok().and_then(|_| cells[1].parse::<u32>().ok())
        };
        let last = text.lines().filter_map(leg).max().unwrap();
        // The lines before the first reading: remarks, names and units.
        let head = text.lines().position(|line| leg(line).is_some()).unwrap();
        let lines = text.split_inclusive('\n').enumerate();
        let kept = lines.filter(|(at, line)| *at < head || leg(line).is_some_and(|leg| leg + 6 > last));
        (format!("raw/{path}"), kept.map(|(_, line)| line).collect::<String>().into_bytes())
    };
    let raws = contents(&study.path().join("raw")).into_iter();
    let two = raws.filter(|(path, _)| path.starts_with("control") || path.contains("_L1") || path.contains("_L2"));
    two.map(cut).collect()
}

fn head() -> String {
    let text = fs::read_to_string(small_study().path().join("study.yaml")).unwrap();
    text.split("stages:\n").next().unwrap().to_owned()
}

fn messages(failure: &Failure) -> String {
    failure.diagnostics.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

impl History {
    fn new(number: u64, raws: &Raws) -> Self {
        let told = vec![format!("history {number}")];
        let remembers = (!number.is_multiple_of(WORKS)).then_some("histories");
        Self { remembers, told, ..Self::of(Dice::number(number), SETTINGS[0], None, raws) }
    }

    fn of(dice: Dice, settings: &'static str, changed: Option<&'static str>, raws: &Raws) -> Self {
        let folder = tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir()).unwrap();
        let (remembers, told) = (Some("clean builds"), Vec::new());
        let history = Self { folder, dice, settings, before: settings, changed, jobs: 2, remembers, told };
        raws.iter().for_each(|(path, bytes)| history.write(path, bytes));
        history
    }

    fn path(&self, path: &str) -> PathBuf {
        self.folder.path().join(path)
    }

    fn write(&self, path: &str, bytes: &[u8]) {
        fs::create_dir_all(self.path(path).parent().unwrap()).unwrap();
        fs::write(self.path(path), bytes).unwrap();
    }

    fn files(&self, folder: &str) -> Vec<String> {
        let files = contents(&self.path(folder)).into_iter().filter(|(_, bytes)| !bytes.is_empty());
        files.map(|(path, _)| format!("{folder}/{path}")).collect()
    }

    fn plan(&self, head: &str) -> Plan {
        self.write("study.yaml", format!("{head}stages:\n  {}\n", self.settings).as_bytes());
        let study = reports::study::load(self.folder.path()).unwrap();
        let none = pipeline::stage::Tool { name: "typst", version: String::new(), path: None };
        let mut plan = select::until(reports::study::plan(&study, &none), "claims", &["table"]).unwrap();
        let upgraded = plan.tasks.iter_mut().filter(|task| Some(task.stage) == self.changed);
        upgraded.for_each(|task| task.code = "as another version has it");
        if let Some(who) = self.remembers {
            plan.tasks = plan.tasks.into_iter().map(|task| remembering(task, who)).collect();
        }
        plan
    }

    fn run(&self, plan: &Plan, operations: usize) -> Report {
        let (cancel, progress) = (AtomicBool::new(false), Progress::none());
        let disk = Dying(AtomicUsize::new(operations));
        let request = Request { jobs: self.jobs, until: None, cancel: &cancel, progress: &progress, disk: &disk };
        run(self.folder.path(), plan, &request)
    }

    fn why(&self, plan: &Plan) -> Vec<Assessment> {
        let store = Store::new(self.folder.path(), &SystemDisk);
        assess(&Graph::new(plan).unwrap(), &store, &State::load(&store)).unwrap().tasks
    }

    fn edit(&mut self, head: &str, raws: &Raws) {
        let edit = self.dice.pick(&EDITS);
        let samples: Vec<String> = self.files("raw").into_iter().filter(|path| path.contains("S1")).collect();
        let raw = self.dice.pick(&samples);
        let folder = if edit.ends_with("store") { ".shearback" } else { "results" };
        let files = if self.path(folder).exists() { self.files(folder) } else { Vec::new() };
        let file = if files.is_empty() { None } else { Some(self.dice.pick(&files)) };
        self.told.push(format!("{edit}: {raw} {file:?} {}", self.settings));
        match (edit, &file) {
            ("content", _) => self.change(&raw, raws),
            ("restore", _) => raws.iter().for_each(|(path, bytes)| self.write(path, bytes)),
            ("touch", _) => self.write(&raw, &fs::read(self.path(&raw)).unwrap()),
            ("rename", _) => fs::rename(self.path(&raw), self.path("raw/S1/S1_L5.tsv")).unwrap(),
            ("delete", _) if samples.len() > 1 => fs::remove_file(self.path(&raw)).unwrap(),
            ("swap", _) => {
                let other = self.dice.pick(&samples);
                let (one, two) = (fs::read(self.path(&raw)).unwrap(), fs::read(self.path(&other)).unwrap());
                self.write(&raw, &two);
                self.write(&other, &one);
            }
            ("settings", _) => (self.before, self.settings) = (self.settings, self.dice.pick(&SETTINGS)),
            ("revert", _) => self.settings = self.before,
            ("code", _) => self.changed = self.dice.pick(&[None, Some("clean"), Some("states"), Some("table")]),
            ("spoil store" | "edit result", Some(path)) => self.write(path, b"spoilt"),
            ("flip store", Some(path)) => {
                let mut bytes = fs::read(self.path(path)).unwrap();
                let at = self.dice.roll(bytes.len());
                bytes[at] ^= 1 << self.dice.roll(8);
                self.write(path, &bytes);
            }
            ("cut store", Some(path)) => {
                let bytes = fs::read(self.path(path)).unwrap();
                let length = self.dice.roll(bytes.len());
                self.write(path, &bytes[..length]);
            }
            ("delete store" | "delete result", Some(path)) => fs::remove_file(self.path(path)).unwrap(),
            ("lose state", _) => drop(fs::remove_file(self.path(".shearback/state.json"))),
            ("lose results", _) => drop(fs::remove_dir_all(self.path("results"))),
            ("jobs", _) => self.jobs = self.dice.pick(&[1, 2, 4, 16]),
            ("kill", _) => {
                let operations = self.dice.roll(150);
                drop(self.run(&self.plan(head), operations));
            }
            _ => {}
        }
    }

    /// Another last digit in one line of an export as it was, or some lines less. There are few such contents, so that
    /// histories meet again and share the clean build.
    fn change(&mut self, raw: &str, raws: &Raws) {
        let as_it_was = raws.get(raw).unwrap_or(&raws["raw/S1/S1_L2.tsv"]);
        let mut lines: Vec<String> = String::from_utf8_lossy(as_it_was).lines().map(str::to_owned).collect();
        match self.dice.pick(&[0, 20, 200, 300]) {
            0 => lines.truncate(lines.len() - 40),
            before_last => {
                let at = lines.len() - before_last;
                let last = lines[at].pop().unwrap_or('0');
                lines[at].push(if last == '7' { '3' } else { '7' });
            }
        }
        self.write(raw, (lines.join("\n") + "\n").as_bytes());
    }

    fn check(&self, head: &str, clean: &mut BTreeMap<String, Vec<(String, Vec<u8>)>>) {
        let told = &self.told;
        let plan = self.plan(head);
        let (mut why, mut report) = (self.why(&plan), self.run(&plan, usize::MAX));
        let told_to_move = |failure: &Failure| messages(failure).contains("move the ledger away");
        if report.failure.as_ref().is_some_and(told_to_move) {
            fs::rename(self.path(".shearback/ledger.jsonl"), self.path("ledger-of-old")).unwrap();
            (why, report) = (self.why(&plan), self.run(&plan, usize::MAX));
        }
        assert!(report.failure.is_none(), "{:?}\n{told:#?}", report.failure);
        let failed = report.count(Outcome::Failed) > 0;
        for (task, entry) in why.iter().zip(&report.tasks) {
            let (outcome, condition) = (entry.finished.outcome, task.condition);
            let kept = match condition {
                Condition::OutOfDate => outcome != Outcome::Reused,
                Condition::UpToDate | Condition::InStore => {
                    outcome == Outcome::Reused || (failed && outcome != Outcome::Built)
                }
                Condition::Undecided => true,
            };
            assert!(kept, "{task:#?} was {outcome:?}\n{told:#?}");
        }
        if !report.laid_out {
            return;
        }
        let raws: Raws = self.files("raw").into_iter().map(|p| (p.clone(), fs::read(self.path(&p)).unwrap())).collect();
        // The code hash is no part of this: it says only that a stage is to work again.
        let from = format!("{} {}", self.settings, blake3::hash(format!("{raws:?}").as_bytes()));
        let expected = clean.entry(from).or_insert_with(|| {
            let fresh = Self::of(Dice::number(0), self.settings, self.changed, &raws);
            assert!(fresh.run(&fresh.plan(head), usize::MAX).laid_out, "{told:#?}");
            contents(&fresh.path("results"))
        });
        let results = contents(&self.path("results"));
        let differ: Vec<_> =
            results.iter().zip(&*expected).filter(|(a, b)| a != b).map(|((path, _), _)| path).collect();
        assert!(results == *expected, "{differ:?} differ\n{told:#?}");
        assert!(self.why(&plan).iter().all(|task| task.condition == Condition::UpToDate), "{told:#?}");
    }
}

#[test]
fn a_real_study_gives_after_any_edits_what_a_clean_build_gives() {
    let (raws, head) = (exports(), head());
    let mut clean = BTreeMap::new();
    let (mut runs, mut edits) = (0, 0);
    let histories = times("SHEARBACK_HISTORIES", 3);
    let first = times("SHEARBACK_FIRST", 0);
    for number in first..first + histories {
        let mut history = History::new(number, &raws);
        for _ in 0..=history.dice.roll(4) {
            history.check(&head, &mut clean);
            runs += 1;
            for _ in 0..=history.dice.roll(3) {
                history.edit(&head, &raws);
                edits += 1;
            }
        }
        history.check(&head, &mut clean);
        runs += 1;
        if (number + 1 - first).is_multiple_of(20) {
            println!("{} of {histories}: {edits} edits, {runs} runs, {} clean builds", number + 1 - first, clean.len());
        }
    }
    println!("{histories} histories, {edits} edits, {runs} runs, {} different clean builds", clean.len());
}

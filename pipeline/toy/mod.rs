//! A small study of texts and numbers that tries the engine: raw files are split, counted, summed and titled.

mod crash;
mod flips;
mod history;
mod outcomes;
mod results;
mod space;
mod surroundings;

use crate::command::Failure;
use crate::diagnostic::{Diagnostic, Place};
use crate::graph::{Graph, select};
use crate::progress::Progress;
use crate::rebuild::assess::{Assessment, Condition, assess};
use crate::run::outcome::{Outcome, Report};
use crate::run::{Request, run};
use crate::stage::{Context, Input, Output, Plan, Produced, Publication, Settings, Source, Task, Tool, Written};
use crate::store::Store;
use crate::store::disk::{Disk, SystemDisk};
use crate::store::state::State;
use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

/// What the study file would say.
#[derive(Debug, Clone, PartialEq)]
struct Config {
    /// Lines that begin with this are dropped by `split`.
    comment: String,
    /// Lengths are counted in units of this, rounded down: small edits leave the count as it was.
    unit: usize,
    /// Heading of the note.
    title: String,
    /// The same chain once more with another unit.
    variant: Option<usize>,
    /// Code hash of `count`.
    code: &'static str,
    /// Version of the outside tool of `note`.
    tool: &'static str,
}

impl Default for Config {
    fn default() -> Self {
        let (comment, title) = ("#".into(), "Sum".into());
        Self { comment, unit: 8, title, variant: None, code: "count-1", tool: "1.0" }
    }
}

/// The disk of the system, without waiting for the medium: no test cuts the power.
struct QuickDisk;

impl Disk for QuickDisk {
    fn create_folder(&self, path: &Path) -> io::Result<()> {
        SystemDisk.create_folder(path)
    }

    fn write(&self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        SystemDisk.write(path, bytes)
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        SystemDisk.rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        SystemDisk.remove(path)
    }

    fn remove_folder(&self, path: &Path) -> io::Result<()> {
        SystemDisk.remove_folder(path)
    }

    fn sync(&self, _: &Path) -> io::Result<()> {
        Ok(())
    }
}

/// An empty folder, in memory where the system has such a place: these tests make many thousand small files.
fn folder() -> tempfile::TempDir {
    tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir()).unwrap()
}

/// A study in a folder of its own.
struct Toy {
    folder: tempfile::TempDir,
    config: Config,
}

impl Toy {
    fn new() -> Self {
        let toy = Self { folder: folder(), config: Config::default() };
        toy.write("study.yaml", "study: toy\n");
        toy.write("raw/a.txt", "#first\nalpha beta gamma\n");
        toy.write("raw/b.txt", "#second\ndelta epsilon zeta\n");
        toy.write("raw/c.txt", "#third\none two three four five six seven\n");
        toy
    }

    /// Another folder with the same raw files and settings, never run.
    fn fresh_copy(&self) -> Self {
        let copy = Self { folder: folder(), config: self.config.clone() };
        copy.write("study.yaml", "study: toy\n");
        for raw in self.raws() {
            copy.write(&raw, &self.read(&raw));
        }
        copy
    }

    fn path(&self, path: &str) -> PathBuf {
        self.folder.path().join(path)
    }

    fn write(&self, path: &str, text: &str) {
        let path = self.path(path);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }

    fn read(&self, path: &str) -> String {
        std::fs::read_to_string(self.path(path)).unwrap()
    }

    fn exists(&self, path: &str) -> bool {
        self.path(path).exists()
    }

    fn raws(&self) -> Vec<String> {
        self.files("raw").into_iter().collect()
    }

    /// Files below a folder of the study, by their path in the study.
    fn files(&self, folder: &str) -> BTreeSet<String> {
        let walk = walkdir::WalkDir::new(self.path(folder)).into_iter().flatten();
        let files = walk.filter(|entry| !entry.file_type().is_dir());
        files.map(|f| f.path().strip_prefix(self.folder.path()).unwrap().to_str().unwrap().to_string()).collect()
    }

    /// `results/` without the ledger, which holds a clock.
    fn results(&self) -> BTreeMap<String, Vec<u8>> {
        let files = self.files("results").into_iter().filter(|path| !path.ends_with("ledger.jsonl"));
        files.map(|path| (path.clone(), std::fs::read(self.path(&path)).unwrap())).collect()
    }

    fn plan(&self) -> Plan {
        Plan { study_text: self.read("study.yaml").into_bytes(), ..plan(&self.config, &self.raws()) }
    }

    fn run(&self) -> Report {
        self.run_with(2, None, &QuickDisk)
    }

    fn run_with(&self, jobs: usize, until: Option<&str>, disk: &dyn Disk) -> Report {
        let plan = match until {
            Some(stage) => select::until(self.plan(), stage, &[]).unwrap(),
            None => self.plan(),
        };
        let (cancel, progress) = (AtomicBool::new(false), Progress::none());
        run(self.folder.path(), &plan, &Request { jobs, until, cancel: &cancel, progress: &progress, disk })
    }

    fn why(&self) -> Vec<Assessment> {
        let plan = self.plan();
        let store = Store::new(self.folder.path(), &SystemDisk);
        assess(&Graph::new(&plan).unwrap(), &store, &State::load(&store)).unwrap().tasks
    }

    /// What `why` calls not ours.
    fn foreign(&self) -> Vec<String> {
        let plan = self.plan();
        let store = Store::new(self.folder.path(), &SystemDisk);
        assess(&Graph::new(&plan).unwrap(), &store, &State::load(&store)).unwrap().foreign
    }

    fn condition(&self, name: &str) -> Condition {
        self.why().iter().find(|task| task.name == name).unwrap().condition
    }

    /// The reasons of a task in words.
    fn reasons(&self, name: &str) -> Vec<String> {
        let tasks = self.why();
        let task = tasks.iter().find(|task| task.name == name).unwrap();
        task.reasons.iter().map(|reason| reason.wording("study.yaml")).collect()
    }

    /// Everything in this folder, in a folder of its own.
    fn copy(&self) -> Self {
        let copy = Self { folder: folder(), config: self.config.clone() };
        for path in self.files("") {
            let to = copy.path(&path);
            std::fs::create_dir_all(to.parent().unwrap()).unwrap();
            std::fs::copy(self.path(&path), to).unwrap();
        }
        copy
    }

    /// What a clean build in another folder gives.
    fn clean(&self) -> BTreeMap<String, Vec<u8>> {
        let fresh = self.fresh_copy();
        fresh.run();
        fresh.results()
    }

    fn flip(&self, path: &str, bit: usize) {
        let mut bytes = std::fs::read(self.path(path)).unwrap();
        bytes[bit / 8] ^= 1 << (bit % 8);
        std::fs::write(self.path(path), bytes).unwrap();
    }

    /// Sets the times of every raw and results file back and waits a little, so that stamps are trusted.
    fn settle(&self) {
        let past = std::time::SystemTime::now() - std::time::Duration::from_secs(100);
        for path in self.files("raw").iter().chain(&self.files("results")) {
            std::fs::File::options().append(true).open(self.path(path)).unwrap().set_modified(past).unwrap();
        }
        std::thread::sleep(std::time::Duration::from_millis(35));
    }
}

/// How many times a random test is to be done: as the variable says, or so often that it takes a few seconds.
fn times(variable: &str, ordinary: u64) -> u64 {
    std::env::var(variable).ok().map_or(ordinary, |text| text.parse().expect("the variable holds a whole number"))
}

/// Small, fixed and good enough to pick edits (xorshift; Marsaglia 2003, doi:10.18637/jss.v008.i14).
struct Dice(u64);

impl Dice {
    /// Dice of their own for each number, so that one case can be thrown again without those before it.
    fn number(number: u64) -> Self {
        let mut dice = Self((number + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15));
        for _ in 0..4 {
            dice.roll(2);
        }
        dice
    }

    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from((self.0 >> 11) % sides as u64).unwrap()
    }

    fn pick<T: Clone>(&mut self, items: impl IntoIterator<Item = T>) -> Option<T> {
        let items: Vec<T> = items.into_iter().collect();
        (!items.is_empty()).then(|| items[self.roll(items.len())].clone())
    }
}

/// Names of the tasks with this outcome.
fn with(report: &Report, outcome: Outcome) -> Vec<&str> {
    let tasks = report.tasks.iter().filter(|entry| entry.finished.outcome == outcome);
    tasks.map(|entry| entry.name.as_str()).collect()
}

/// A run that did everything.
fn whole(report: &Report) -> &Report {
    assert!(report.failure.is_none() && report.laid_out, "{report:?}");
    report
}

fn settings(role: &'static str, path: &str, value: impl serde::Serialize) -> Settings {
    Settings::new(role, path, &value)
}

fn plan(config: &Config, raws: &[String]) -> Plan {
    let mut plan = Plan {
        study: "toy".into(),
        stages: vec!["split", "count", "sum", "note"],
        study_file: "study.yaml".into(),
        ..Plan::default()
    };
    let written = [("stages.count.unit", config.unit.to_string(), 7), ("title", config.title.clone(), 2)];
    plan.written =
        written.into_iter().map(|(path, text, line)| (path.into(), Written { text, line, column: 1 })).collect();
    let splits: Vec<Task> = raws.iter().map(|raw| split(config, raw)).collect();
    for (raw, task) in raws.iter().zip(&splits) {
        let path = format!("lines/{}", raw.rsplit('/').next().unwrap());
        plan.publications.push(Publication { path, task: task.name(), output: "lines" });
    }
    plan.tasks.extend(splits.iter().cloned());
    add_chain(&mut plan, config, raws, &splits, None);
    if let Some(unit) = config.variant {
        add_chain(&mut plan, &Config { unit, ..config.clone() }, raws, &splits, Some("other"));
    }
    plan
}

fn add_chain(plan: &mut Plan, config: &Config, raws: &[String], splits: &[Task], variant: Option<&str>) {
    let variant = variant.map(String::from);
    let counts: Vec<Task> = raws
        .iter()
        .zip(splits)
        .map(|(raw, split)| Task {
            stage: "count",
            of: raw.clone(),
            variant: variant.clone(),
            code: config.code,
            settings: vec![settings("unit", "stages.count", BTreeMap::from([("unit", config.unit)]))],
            inputs: vec![split.output("lines", "lines"), split.output("head", "head")],
            tool: None,
            outputs: vec![Output { name: "count", bulky: false }],
            work: count_work,
        })
        .collect();
    let sum = Task {
        stage: "sum",
        of: "study".into(),
        variant: variant.clone(),
        code: "sum-1",
        settings: Vec::new(),
        inputs: raws.iter().zip(&counts).map(|(raw, count)| count.output(raw.clone(), "count")).collect(),
        tool: None,
        outputs: vec![Output { name: "sum", bulky: false }],
        work: sum_work,
    };
    let note = Task {
        stage: "note",
        of: "study".into(),
        variant,
        code: "note-1",
        settings: vec![settings("title", "title", &config.title)],
        inputs: vec![sum.output("sum", "sum")],
        tool: Some(Tool { name: "pen", version: config.tool.into(), path: None }),
        outputs: vec![Output { name: "note", bulky: false }, Output { name: "log", bulky: true }],
        work: note_work,
    };
    let folder = note.variant.as_ref().map_or(String::new(), |variant| format!("variants/{variant}/"));
    for (path, task, output) in [("sum.txt", &sum, "sum"), ("note/note.txt", &note, "note"), ("log", &note, "log")] {
        plan.publications.push(Publication { path: format!("{folder}{path}"), task: task.name(), output });
    }
    plan.tasks.extend(counts);
    plan.tasks.extend([sum, note]);
}

fn split(config: &Config, raw: &str) -> Task {
    Task {
        stage: "split",
        of: raw.into(),
        variant: None,
        code: "split-1",
        settings: vec![settings("comment", "stages.split.comment", &config.comment)],
        inputs: vec![Input { name: "raw".into(), source: Source::Raw(raw.into()) }],
        tool: None,
        outputs: vec![Output { name: "lines", bulky: true }, Output { name: "head", bulky: false }],
        work: split_work,
    }
}

fn split_work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let raw = context.input("raw")?;
    let text = String::from_utf8_lossy(&raw);
    let comment: String = context.settings("comment")?;
    if let Some(line) = text.lines().position(|line| line.contains("bad")) {
        let place = Place::line("raw", line as u64 + 1);
        return Err(vec![Diagnostic::new("found `bad`, expected words").at(place).help("take it out")]);
    }
    assert!(!text.contains("panic"), "the work was asked to panic");
    let kept: Vec<&str> = text.lines().filter(|line| !line.starts_with(&comment)).collect();
    let mut produced = Produced::default()
        .with("lines", kept.join("\n").into_bytes())
        .with("head", text.lines().next().unwrap_or_default().as_bytes().to_vec());
    if text.contains("odd") {
        produced.remarks.push(serde_json::json!("an odd word"));
    }
    Ok(produced)
}

fn count_work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let unit: BTreeMap<String, usize> = context.settings("unit")?;
    Ok(Produced::default().with("count", (context.input("lines")?.len() / unit["unit"]).to_string().into_bytes()))
}

fn sum_work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let counts = context.inputs().iter().map(|(_, bytes)| String::from_utf8_lossy(bytes).parse::<u64>().unwrap());
    Ok(Produced::default().with("sum", counts.sum::<u64>().to_string().into_bytes()))
}

fn note_work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let title: String = context.settings("title")?;
    let sum = context.input("sum")?;
    let (tool, scratch) = context.tool().unwrap();
    std::fs::write(scratch.join("draft"), &**sum).unwrap();
    let note = format!("{title}: {} (pen {})", String::from_utf8_lossy(&sum), tool.version);
    Ok(Produced::default().with("log", note.to_uppercase().into_bytes()).with("note", note.into_bytes()))
}

/// A failure's messages on one line each.
fn messages(failure: &Failure) -> String {
    failure.diagnostics.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

/// Whether a path ends in this name.
fn is_called(path: &Path, name: &str) -> bool {
    path.file_name().is_some_and(|file| file == name)
}

//! The ledger: one JSON line per whole run that changed something, each with the hash of the line before.
//!
//! It is the only file with a clock in it. Beside it, `runs/N.json` lists the tasks and keys of each run.

use super::Store;
use super::digest::Digest;
use super::disk::{self, Durable};
use super::record::Done;
use crate::command::Failure;
use crate::diagnostic::{Diagnostic, Place};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What a line says of the program and the machine; never part of a key.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Made {
    /// Our version.
    pub version: String,
    /// Build profile.
    pub profile: String,
    /// Target of the build.
    pub target: String,
    /// Compiler.
    pub compiler: String,
    /// Outside tools, name and version.
    pub tools: BTreeMap<String, String>,
}

/// One line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Line {
    /// Number of the run, from 1.
    pub run: u64,
    /// Coordinated universal time, to the second.
    pub when: String,
    /// How it ended.
    pub outcome: String,
    /// Stage after which it was to stop, if not the last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<String>,
    /// How many tasks were built, by stage.
    pub built: BTreeMap<String, u64>,
    /// How many were at hand.
    pub reused: u64,
    /// What made them out of date, each cause once.
    pub because: Vec<String>,
    /// Hash of the study file; its bytes are kept.
    pub study_file: Digest,
    /// Hash of all settings in force; they are kept.
    pub settings: Digest,
    /// Hash of `results/manifest.json`.
    pub manifest: Digest,
    /// Hash of the list of tasks and keys.
    pub tasks: Digest,
    /// What it was run with.
    pub made: Made,
    /// Hash of the line before, without its line end; none in the first.
    pub previous: Option<Digest>,
}

impl Line {
    /// Whether a run that built nothing would say nothing new after this line.
    pub fn says_the_same_as(&self, next: &Self) -> bool {
        let what = |line: &Self| (line.study_file, line.settings, line.manifest, line.tasks, line.until.clone());
        what(self) == what(next)
    }
}

/// The ledger as read: its whole lines, and the last one.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ledger {
    /// The text.
    pub text: String,
    /// The last line.
    pub last: Option<Line>,
}

impl Ledger {
    /// Reads the ledger of a study; one that is not there is empty.
    ///
    /// # Errors
    /// If it cannot be read, or its last line makes no sense.
    pub fn read(store: &Store<'_>) -> Result<Self, Failure> {
        let path = store.files.ledger();
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(e) => return Err(Failure::io("read", &path, &e)),
        };
        let last = text.lines().last().map(serde_json::from_str).transpose().map_err(|e| {
            let diagnostic = Diagnostic::new(format!("{}: the last line is no entry of ours: {e}", path.display()));
            Failure::surroundings(diagnostic.help("move the ledger away to begin a new one; results are not affected"))
        })?;
        Ok(Self { text, last })
    }

    /// Number of the next run.
    pub fn next(&self) -> u64 {
        self.last.as_ref().map_or(1, |line| line.run + 1)
    }

    /// Hash of the last line.
    pub fn head(&self) -> Option<Digest> {
        self.text.lines().last().map(|line| Digest::of(line.as_bytes()))
    }

    /// The ledger with one line more.
    ///
    /// # Errors
    /// If the line cannot be written as JSON: a mistake in the program.
    pub fn with(&self, line: &Line) -> Result<Self, Failure> {
        let text = String::from_utf8_lossy(&super::json(line)?).into_owned();
        Ok(Self { text: format!("{}{text}\n", self.text), last: Some(line.clone()) })
    }

    /// Writes it whole.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn save(&self, store: &Store<'_>) -> Result<(), Failure> {
        disk::put(store.disk, &store.files, &store.files.ledger(), self.text.as_bytes(), Durable::Yes)
    }
}

/// The lines of a ledger, whose chain of hashes must be whole: each line names the one before, and runs count on.
///
/// # Errors
/// The first line that does not fit, and what does not.
pub fn chain(text: &str, file: &str) -> Result<Vec<Line>, Diagnostic> {
    let mut lines: Vec<Line> = Vec::new();
    let mut before: Option<&str> = None;
    for (at, text) in text.lines().enumerate() {
        let problem = |what: String| {
            let place = Place::line(file, at as u64 + 1);
            Diagnostic::new(what).at(place).help("the ledger was changed after it was written: ask its sender for it")
        };
        let line: Line = serde_json::from_str(text).map_err(|e| problem(format!("no entry of a ledger: {e}")))?;
        if line.previous != before.map(|before| Digest::of(before.as_bytes())) {
            return Err(problem(format!("run {} does not follow from the line before it", line.run)));
        }
        if lines.last().is_some_and(|last| line.run <= last.run) {
            return Err(problem(format!("run {} stands behind a later one", line.run)));
        }
        before = Some(text);
        lines.push(line);
    }
    Ok(lines)
}

/// A task in `runs/N.json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ran {
    /// Key without the content of the inputs.
    pub partial: Digest,
    /// Key.
    pub key: Digest,
    /// Its large outputs, which are let go some runs later.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bulky: Vec<Digest>,
}

/// Tasks and keys of a run as the bytes of `runs/N.json`.
///
/// # Errors
/// If they cannot be written as JSON: a mistake in the program.
pub fn tasks_of_run(tasks: &BTreeMap<String, Done>) -> Result<Vec<u8>, Failure> {
    let ran = |done: &Done| Ran {
        partial: done.partial,
        key: done.key,
        bulky: done.outputs.iter().filter(|kept| kept.bulky).map(|kept| kept.hash).collect(),
    };
    super::json(&tasks.iter().map(|(name, done)| (name, ran(done))).collect::<BTreeMap<_, _>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(run: u64, previous: Option<Digest>) -> Line {
        let hash = Digest::of(b"x");
        Line {
            run,
            when: "2026-01-01T00:00:00Z".into(),
            outcome: "whole".into(),
            until: None,
            built: BTreeMap::new(),
            reused: 0,
            because: Vec::new(),
            study_file: hash,
            settings: hash,
            manifest: hash,
            tasks: hash,
            made: Made {
                version: "1".into(),
                profile: "p".into(),
                target: "t".into(),
                compiler: "c".into(),
                tools: BTreeMap::new(),
            },
            previous,
        }
    }

    fn three() -> String {
        let mut ledger = Ledger::default();
        for run in 1..=3 {
            ledger = ledger.with(&line(run, ledger.head())).unwrap();
        }
        ledger.text
    }

    #[test]
    fn a_whole_chain_is_read() {
        assert_eq!(chain(&three(), "l").unwrap().iter().map(|line| line.run).collect::<Vec<_>>(), [1, 2, 3]);
        assert!(chain("", "l").unwrap().is_empty());
    }

    #[test]
    fn a_changed_or_missing_line_breaks_it() {
        let text = three();
        let changed = text.replacen("whole", "other", 1);
        assert_eq!(chain(&changed, "l").unwrap_err().place.unwrap().line, Some(2));
        let lines: Vec<&str> = text.lines().collect();
        assert!(chain(&format!("{}\n{}\n", lines[0], lines[2]), "l").is_err());
        assert!(chain(&format!("{}\n{}\n", lines[1], lines[2]), "l").is_err());
        assert!(chain("{}\n", "l").is_err());
    }
}

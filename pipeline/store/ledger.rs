//! The ledger: one JSON line per whole run that changed something, each with the hash of the line before.
//!
//! It is the only file with a clock in it. Beside it, `runs/N.json` lists the tasks and keys of each run.

use super::Store;
use super::digest::Digest;
use super::disk::{self, Durable};
use super::record::Done;
use crate::command::Failure;
use crate::diagnostic::Diagnostic;
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

//! The ledger: one JSON line per whole run that changed something, each with the hash of the line before.
//!
//! It is the only file with a clock in it. Beside it, `runs/N.json` lists the tasks and keys of each run.

use super::Store;
use super::digest::Digest;
use super::disk::{self, Durable};
use super::files::LEDGER;
use super::record::Done;
use super::stamp::Seen;
use super::state::State;
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
    /// Hash of the code of each stage: it tells two programs apart that bear the same version.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub code: BTreeMap<String, String>,
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
    /// Whether it was taken from the copy in `results/`, because the one in the store is gone or damaged.
    pub from_copy: bool,
}

impl Ledger {
    /// Reads the ledger of a study; one that is not there is empty. It must go on from what the last whole run left;
    /// where it does not, the copy in `results/` stands in for it.
    ///
    /// # Errors
    /// If it cannot be read, or is damaged and so is the copy.
    pub fn read(store: &Store<'_>, state: &State) -> Result<Self, Failure> {
        let left = state.results.get(LEDGER);
        let path = store.files.ledger();
        let damage = match std::fs::read(&path) {
            Ok(bytes) => match Self::whole(bytes, left) {
                Ok(ledger) => return Ok(ledger),
                Err(damage) => Some(damage),
            },
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => None,
            Err(e) => return Err(Failure::io("read", &path, &e)),
        };
        // Without the state nothing tells whether the copy is of this store.
        let copy = left.and_then(|_| Self::whole(std::fs::read(store.files.result(LEDGER)).ok()?, left).ok());
        match (copy, damage) {
            (Some(copy), _) => Ok(Self { from_copy: true, ..copy }),
            (None, None) => Ok(Self::default()),
            (None, Some(damage)) => {
                let help = "move the ledger away to begin a new one; results are not affected";
                let diagnostic = Diagnostic::new(format!("{}: {damage}", path.display()));
                Err(Failure::surroundings(diagnostic.help(help)))
            }
        }
    }

    /// The ledger in these bytes, if it is whole and begins with what was left.
    fn whole(bytes: Vec<u8>, left: Option<&Seen>) -> Result<Self, String> {
        let text = String::from_utf8(bytes).map_err(|_| "it is no text any more".to_owned())?;
        let last =
            |line: &str| serde_json::from_str(line).map_err(|e| format!("the last line is no entry of ours: {e}"));
        if left.is_some_and(|left| Digest::of(text.as_bytes()) == left.hash) {
            let last = text.lines().last().map(last).transpose()?;
            return Ok(Self { text, last, from_copy: false });
        }
        let goes_on = |left: &Seen| {
            let begin = usize::try_from(left.size).ok().and_then(|size| text.as_bytes().get(..size));
            begin.is_some_and(|begin| Digest::of(begin) == left.hash)
        };
        if !left.is_none_or(goes_on) || !(text.is_empty() || text.ends_with('\n')) {
            return Err("it is not what the last run left".into());
        }
        let line = |broken: &Diagnostic| broken.place.as_ref().and_then(|place| place.line).unwrap_or(0);
        let lines = chain(&text, LEDGER).map_err(|broken| format!("line {}: {}", line(&broken), broken.message))?;
        Ok(Self { last: lines.into_iter().next_back(), text, from_copy: false })
    }

    /// Its lines.
    ///
    /// # Errors
    /// As [`chain`]; a ledger that was read has none.
    pub fn lines(&self) -> Result<Vec<Line>, Failure> {
        chain(&self.text, LEDGER).map_err(Failure::surroundings)
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
        Ok(Self { text: format!("{}{text}\n", self.text), last: Some(line.clone()), from_copy: self.from_copy })
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

/// Tasks and keys of the run of this line; none if the list is gone or not as it was written.
pub fn listed(store: &Store<'_>, line: &Line) -> Option<BTreeMap<String, Ran>> {
    let bytes = std::fs::read(store.files.run(line.run)).ok()?;
    (Digest::of(&bytes) == line.tasks).then(|| serde_json::from_slice(&bytes).ok()).flatten()
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
                code: BTreeMap::new(),
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

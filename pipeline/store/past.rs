//! An earlier run of the ledger, as far as the store still holds it. It reads only.

use super::Store;
use super::digest::Digest;
use super::ledger::{Line, Ran, chain, listed};
use super::record::Kept;
use crate::command::Failure;
use crate::diagnostic::Diagnostic;
use std::collections::BTreeMap;

/// A run of the ledger.
pub struct Past<'a> {
    store: &'a Store<'a>,
    /// Its line.
    pub line: Line,
    tasks: BTreeMap<String, Ran>,
}

impl<'a> Past<'a> {
    /// The run with this number, or the last one.
    ///
    /// # Errors
    /// If the ledger has no such run, or what it lists cannot be read.
    pub fn find(store: &'a Store<'a>, number: Option<u64>) -> Result<Self, Failure> {
        let path = store.files.ledger();
        let text = std::fs::read_to_string(&path).unwrap_or_default();
        let lines = chain(&text, &path.to_string_lossy()).map_err(|d| Failure::input(vec![d]))?;
        let runs: Vec<String> = lines.iter().map(|line| line.run.to_string()).collect();
        let wanted = lines.into_iter().rev().find(|line| number.is_none_or(|number| line.run == number));
        let line = wanted.ok_or_else(|| {
            let study = store.files.study().display();
            let missing = match number {
                Some(number) => format!("the ledger of {study} has no run {number}"),
                None => format!("{study} has no ledger of its own runs"),
            };
            let help = if runs.is_empty() {
                "`shearback run` writes it".into()
            } else {
                format!("it has {}", runs.join(", "))
            };
            Failure::input(vec![Diagnostic::new(missing).help(help)])
        })?;
        let tasks = listed(store, &line).ok_or_else(|| {
            let message = format!("{}: the list of tasks is gone or damaged", store.files.run(line.run).display());
            Failure::surroundings(Diagnostic::new(message).help("choose another run: this one can no longer be read"))
        })?;
        Ok(Self { store, line, tasks })
    }

    /// What a task gave in that run; none if it was not part of it or is no longer kept.
    pub fn output(&self, task: &str, output: &str) -> Option<Vec<u8>> {
        let ran = self.tasks.get(task)?;
        let record = self.store.read_record(&ran.partial, &ran.key)?;
        let kept = record.done.outputs.iter().find(|kept| kept.name == output)?;
        self.store.read_object(kept).ok()
    }

    /// The study file as it was.
    pub fn study_file(&self) -> Option<Vec<u8>> {
        self.object("study file", self.line.study_file)
    }

    /// All settings in force, by their path in the study file.
    pub fn settings(&self) -> Option<BTreeMap<String, String>> {
        serde_json::from_slice(&self.object("settings", self.line.settings)?).ok()
    }

    fn object(&self, name: &str, hash: Digest) -> Option<Vec<u8>> {
        self.store.read_object(&Kept { name: name.into(), hash, size: 0, bulky: false }).ok()
    }
}

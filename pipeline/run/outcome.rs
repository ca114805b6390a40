//! What became of each task, and of the run.

use crate::command::{Exit, Failure};
use crate::diagnostic::Diagnostic;
use crate::rebuild::reason::Reason;
use crate::store::record::Done;
use crate::store::state::State;
use serde::Serialize;

/// What became of a task.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// Its result came into being in this run.
    Built,
    /// Its result was at hand.
    Reused,
    /// It could not be computed.
    Failed,
    /// Not tried: something it needs failed, or the run was stopped.
    Skipped,
}

/// A task after the run.
#[derive(Debug, Clone)]
pub struct Finished {
    /// What became of it.
    pub outcome: Outcome,
    /// Wall time of the work; 0 if there was none.
    pub seconds: f64,
    /// Why it was built or skipped.
    pub reasons: Vec<Reason>,
    /// Why it failed.
    pub diagnostics: Vec<Diagnostic>,
    /// What it gave.
    pub done: Option<Done>,
}

impl Finished {
    /// An outcome without a result.
    pub fn without(outcome: Outcome, reasons: Vec<Reason>, diagnostics: Vec<Diagnostic>) -> Self {
        Self { outcome, seconds: 0.0, reasons, diagnostics, done: None }
    }

    /// A result, at hand or built.
    pub fn with(outcome: Outcome, done: Done, seconds: f64, reasons: Vec<Reason>) -> Self {
        Self { outcome, seconds, reasons, diagnostics: Vec::new(), done: Some(done) }
    }
}

/// A task in the report of a run.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Its name.
    pub name: String,
    /// Its stage.
    pub stage: String,
    /// What it is applied to.
    pub of: String,
    /// What became of it.
    pub finished: Finished,
}

/// What became of a run.
#[derive(Debug, Clone, Default)]
pub struct Report {
    /// The tasks in the order of the plan; empty if the run did not get that far.
    pub tasks: Vec<Entry>,
    /// Whether `results/` now holds what was asked for.
    pub laid_out: bool,
    /// Number of the run in the ledger, if it got a line.
    pub line: Option<u64>,
    /// The whole run before, if this one changed something.
    pub earlier: Option<State>,
    /// Where files went that stood in `results/` and are not ours.
    pub moved: Vec<String>,
    /// Size of the store in bytes, once results are laid out.
    pub size: u64,
    /// What stopped the run.
    pub failure: Option<Failure>,
}

impl Report {
    /// How many tasks had this outcome.
    pub fn count(&self, outcome: Outcome) -> usize {
        self.tasks.iter().filter(|entry| entry.finished.outcome == outcome).count()
    }

    /// The exit status that goes with it.
    pub fn exit(&self) -> Exit {
        match &self.failure {
            Some(failure) => failure.exit,
            None if self.count(Outcome::Failed) > 0 => Exit::Unmet,
            None => Exit::Good,
        }
    }
}

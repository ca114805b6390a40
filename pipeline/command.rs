//! The contract between the command line and those who know the domain: how a plan is made, and what is said
//! after a run, and the commands they bring. It must not hold how anything is drawn or what the engine's own
//! commands are called.

use crate::diagnostic::Diagnostic;
use crate::stage::Plan;
use crate::store::Store;
use crate::store::state::State;
use std::io;
use std::path::Path;

/// Exit status of the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Exit {
    /// All good.
    Good = 0,
    /// Done, but something does not hold: a task failed, a claim misses.
    Unmet = 1,
    /// Bad input: the study file, usage, a pattern that matches nothing.
    Input = 2,
    /// The surroundings: a tool missing, lock held, disk full, no permission, interrupted.
    Surroundings = 3,
}

/// Why a command could not do what was asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// Exit status that goes with it.
    pub exit: Exit,
    /// What to tell, in order.
    pub diagnostics: Vec<Diagnostic>,
}

impl Failure {
    /// Bad input.
    pub fn input(diagnostics: Vec<Diagnostic>) -> Self {
        Self { exit: Exit::Input, diagnostics }
    }

    /// The surroundings do not let us.
    pub fn surroundings(diagnostic: Diagnostic) -> Self {
        Self { exit: Exit::Surroundings, diagnostics: vec![diagnostic] }
    }

    /// Something done to a file or folder failed: `doing` completes "cannot …", for example `write`.
    pub fn io(doing: &str, path: &Path, error: &io::Error) -> Self {
        let diagnostic = Diagnostic::new(format!("cannot {doing} {}: {error}", path.display()));
        Self::surroundings(match advice(error.kind()) {
            Some(help) => diagnostic.help(help),
            None => diagnostic,
        })
    }
}

fn advice(kind: io::ErrorKind) -> Option<&'static str> {
    match kind {
        io::ErrorKind::PermissionDenied => Some("check who owns it and its permissions, then run again"),
        io::ErrorKind::ReadOnlyFilesystem => {
            Some("it lies on a read-only file system: copy the study to a place that can be written")
        }
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            Some("the disk is full: free some space and run again; what is already computed is kept")
        }
        io::ErrorKind::NotADirectory | io::ErrorKind::IsADirectory | io::ErrorKind::AlreadyExists => {
            Some("something else stands at this path: move it away and run again")
        }
        io::ErrorKind::ResourceBusy | io::ErrorKind::ExecutableFileBusy => {
            Some("another program holds it open: close that program and run again")
        }
        _ => None,
    }
}

/// How an answer is to be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// For people.
    Text,
    /// One JSON document.
    Json,
    /// Comma-separated values.
    Csv,
}

/// What a command of the domain answers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// For stdout.
    pub text: String,
    /// For stderr: what did not stop the command.
    pub remarks: Vec<Diagnostic>,
    /// Exit status.
    pub exit: Exit,
}

/// A command that the domain brings beside those of the engine.
pub trait Command {
    /// How it is typed: name, help, arguments.
    fn typed(&self) -> clap::Command;

    /// Does it.
    ///
    /// # Errors
    /// Bad input, or surroundings that do not let it.
    fn perform(&self, typed: &clap::ArgMatches) -> Result<Answer, Failure>;
}

/// What the domain says after a run.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Summary {
    /// Lines for people, in order.
    pub lines: Vec<String>,
    /// The same for programs; becomes `summary` of `run --json`.
    pub json: serde_json::Value,
    /// Whether something does not hold (a claim misses): exit status 1.
    pub unmet: bool,
}

/// The published files of the whole run before this one, for telling what moved.
pub struct Earlier<'a> {
    pub(crate) store: &'a Store<'a>,
    pub(crate) state: &'a State,
}

impl Earlier<'_> {
    /// Number of that run in the ledger.
    pub fn run(&self) -> u64 {
        self.state.run
    }

    /// Content of a file of `results/` as it was then; none if it was not published or is no longer kept.
    pub fn read(&self, path: &str) -> Option<Vec<u8>> {
        let wanted = self.state.results.get(path)?.hash;
        let outputs = self.state.tasks.values().flat_map(|done| &done.outputs);
        let kept = outputs.into_iter().find(|kept| kept.hash == wanted)?;
        self.store.read_object(kept).ok()
    }
}

/// What the engine asks of those who know the domain.
pub trait Domain {
    /// The plan of the study in this folder, down to `until` if given ([`crate::graph::select::until`] helps).
    ///
    /// # Errors
    /// Bad input in the study file, an unknown stage, or a folder that cannot be read.
    fn plan(&self, study: &Path, until: Option<&str>) -> Result<Plan, Failure>;

    /// Looks whether this plan can be run at all, before anything is computed: an outside tool that is missing.
    ///
    /// # Errors
    /// [`Exit::Surroundings`] with how to get what is missing.
    fn before_run(&self, plan: &Plan) -> Result<(), Failure>;

    /// The words of a remark that a task of this stage left with its result.
    fn remark_words(&self, stage: &str, remark: &serde_json::Value) -> String;

    /// What to say when `results` is up to date; `earlier` is there only if this run changed something.
    ///
    /// # Errors
    /// If results cannot be read.
    fn summary(&self, results: &Path, earlier: Option<&Earlier<'_>>) -> Result<Summary, Failure>;

    /// Every setting: value in force, default, unit, range, meaning, line.
    ///
    /// # Errors
    /// As [`Domain::plan`].
    fn settings(&self, study: &Path, form: Form) -> Result<String, Failure>;

    /// The JSON Schema of the study file.
    ///
    /// # Errors
    /// If it cannot be written: a mistake in the program.
    fn schema(&self) -> Result<String, Failure>;

    /// A table of `results/`.
    ///
    /// # Errors
    /// If there is no such table, or it cannot be read.
    fn show(&self, table: &str, study: &Path, form: Form) -> Result<String, Failure>;

    /// The commands that the domain brings, in the order in which help lists them.
    fn commands(&self) -> Vec<Box<dyn Command>>;

    /// Name and version of the outside tool that was found, for `--version`.
    fn tool_version(&self) -> Option<String>;
}

//! The contract between the engine and those who compute: what a task declares, receives and gives back.
//!
//! A task is a stage applied to one thing. Its work is a plain function that sees nothing but the [`Context`]:
//! the settings and inputs that were declared, byte for byte what went into the key. No path, clock,
//! environment or thread count reaches it.

use crate::diagnostic::Diagnostic;
use crate::rebuild::raw::HashedFile;
use crate::store::digest::Digest;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use std::io::{self, Read};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Settings that a task reads under one role, as canonical JSON, with the place they come from.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Name under which the work asks for them, for example `geometry`.
    pub role: &'static str,
    /// Path in the study file, for example `geometries.cone40`; leaves are named below it.
    pub path: String,
    /// The value; objects are walked when old and new are compared, anything else is one leaf. The tasks of many
    /// exports share it.
    pub value: Arc<serde_json::Value>,
}

impl Settings {
    /// Settings from any value that serde can write.
    ///
    /// # Panics
    /// If the value has a map with keys that are not text, which is a mistake in the program.
    #[allow(clippy::expect_used)]
    pub fn new(role: &'static str, path: impl Into<String>, value: &impl serde::Serialize) -> Self {
        let value = serde_json::to_value(value).expect("settings are structs, maps with text keys, and numbers");
        Self { role, path: path.into(), value: Arc::new(value) }
    }
}

/// Where an input of a task comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// A file of the study that is not ours: its path, relative, with `/`.
    Raw(String),
    /// An output of another task: that task's name and the name of the output.
    Task {
        /// [`Task::name`] of the producer.
        task: String,
        /// Which of its outputs.
        output: &'static str,
    },
}

/// A named input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Input {
    /// Name under which the work asks for it; unique within the task.
    pub name: String,
    /// Where it comes from.
    pub source: Source,
}

/// A declared output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Output {
    /// Its name within the task.
    pub name: &'static str,
    /// Large (readings, traces): kept for the current state and the last three only.
    pub bulky: bool,
}

/// An outside program that a task calls, found before the plan was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tool {
    /// Its name, for example `typst`.
    pub name: &'static str,
    /// Its version, part of the key; empty where it was not found.
    pub version: String,
    /// Where it is; never part of the key.
    pub path: Option<std::path::PathBuf>,
}

/// What the work of a task is: a plain function, so that nothing can be smuggled in beside the [`Context`].
pub type Work = fn(&Context<'_>) -> Result<Produced, Vec<Diagnostic>>;

/// A stage applied to one thing.
#[derive(Debug, Clone)]
pub struct Task {
    /// Stage, for example `clean` or `reversal: read`; must be one of [`Plan::stages`].
    pub stage: &'static str,
    /// What it is applied to: a raw export's path, `study`, the name of a figure. ASCII.
    pub of: String,
    /// Name of the variant of the study, none for the main line.
    pub variant: Option<String>,
    /// Hash of the code that computes it, made at build time.
    pub code: &'static str,
    /// Exactly the settings that it reads.
    pub settings: Vec<Settings>,
    /// Its inputs, in an order that the plan fixes.
    pub inputs: Vec<Input>,
    /// The outside program that it calls, if any.
    pub tool: Option<Tool>,
    /// What it gives.
    pub outputs: Vec<Output>,
    /// The computation.
    pub work: Work,
}

impl Task {
    /// `clean raw/A54/L2.txt`, with the variant in brackets where there is one. Unique within a plan.
    pub fn name(&self) -> String {
        match &self.variant {
            None => format!("{} {}", self.stage, self.of),
            Some(variant) => format!("{} {} [{variant}]", self.stage, self.of),
        }
    }

    /// An input that takes `output` of this task.
    pub fn output(&self, name: impl Into<String>, output: &'static str) -> Input {
        Input { name: name.into(), source: Source::Task { task: self.name(), output } }
    }
}

/// A file of `results/`: where it stands, and which output of which task it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Publication {
    /// Path below `results/`, with `/`.
    pub path: String,
    /// [`Task::name`] of the producer.
    pub task: String,
    /// Which of its outputs.
    pub output: &'static str,
}

/// One leaf of the study file as written, so that `why` can name it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The text as it stands in the file.
    pub text: String,
    /// Line, from 1.
    pub line: u64,
    /// Column, from 1.
    pub column: u64,
}

/// Everything that one study asks for: tasks in an order in which every producer stands before its users.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    /// Title of the study.
    pub study: String,
    /// Names of the stages in the order of the data, for `--last-stage` and for display.
    pub stages: Vec<&'static str>,
    /// The tasks.
    pub tasks: Vec<Task>,
    /// The files of `results/`.
    pub publications: Vec<Publication>,
    /// Name of the study file, relative to the study.
    pub study_file: String,
    /// The bytes of that file from which this plan was made: somebody may edit it while the run is under way.
    pub study_text: Vec<u8>,
    /// Leaves of the study file by their path, for example `stages.clean.spike.window`.
    pub written: BTreeMap<String, Written>,
}

/// What the work of a task may see.
#[derive(Debug)]
pub struct Context<'a> {
    pub(crate) settings: &'a [Settings],
    /// As they were read: bytes behind an `Arc` of their own would be copied once, and exports can be large.
    pub(crate) inputs: Vec<(String, Arc<Vec<u8>>)>,
    /// Raw files and large outputs, read when the work asks for them.
    pub(crate) files: Vec<(String, HashedFile)>,
    pub(crate) tool: Option<&'a Tool>,
    pub(crate) scratch: &'a Path,
    pub(crate) cancel: &'a AtomicBool,
}

impl<'a> Context<'a> {
    /// A context for tests and for programs that call a stage without the engine.
    pub fn new(
        settings: &'a [Settings],
        inputs: Vec<(String, Arc<Vec<u8>>)>,
        tool: Option<&'a Tool>,
        scratch: &'a Path,
        cancel: &'a AtomicBool,
    ) -> Self {
        Self { settings, inputs, files: Vec::new(), tool, scratch, cancel }
    }

    pub(crate) fn with_files(self, files: Vec<(String, HashedFile)>) -> Self {
        Self { files, ..self }
    }

    /// The settings declared under `role`.
    ///
    /// # Errors
    /// If the task did not declare them, or they do not fit the type: a mistake in the program, told as such.
    pub fn settings<T: DeserializeOwned>(&self, role: &str) -> Result<T, Vec<Diagnostic>> {
        let found = self.settings.iter().find(|s| s.role == role);
        let found = found.ok_or_else(|| mistake(format!("settings `{role}` were not declared")))?;
        T::deserialize(&*found.value).map_err(|e| mistake(format!("settings `{role}`: {e}")))
    }

    /// The bytes of the input called `name`.
    ///
    /// # Errors
    /// If the task did not declare it, which is a mistake in the program, or it is a file that cannot be read.
    pub fn input(&self, name: &str) -> Result<Arc<Vec<u8>>, Vec<Diagnostic>> {
        if let Some((_, bytes)) = self.inputs.iter().find(|(n, _)| n == name) {
            return Ok(bytes.clone());
        }
        let mut bytes = Vec::new();
        self.open(name)?.read_to_end(&mut bytes).map_err(unreadable)?;
        Ok(Arc::new(bytes))
    }

    /// The input called `name` from its beginning, for what may be too large to be held. Whoever opens it reads it to
    /// its end: only there it is known that the file is the one that the key was made of.
    ///
    /// # Errors
    /// As for [`Self::input`]; what reading gives is told by [`unreadable`].
    pub fn open(&self, name: &str) -> Result<Box<dyn Read + '_>, Vec<Diagnostic>> {
        if let Some((_, bytes)) = self.inputs.iter().find(|(n, _)| n == name) {
            return Ok(Box::new(bytes.as_slice()));
        }
        let file = self.files.iter().find(|(n, _)| n == name);
        let (_, file) = file.ok_or_else(|| mistake(format!("input `{name}` was not declared")))?;
        file.open().map(|stream| Box::new(stream) as Box<dyn Read>).map_err(|problem| vec![*problem])
    }

    /// Hash of the input called `name`.
    ///
    /// # Errors
    /// If the task did not declare it: a mistake in the program.
    pub fn hash(&self, name: &str) -> Result<Digest, Vec<Diagnostic>> {
        let bytes = self.inputs.iter().find(|(n, _)| n == name).map(|(_, bytes)| Digest::of(bytes));
        let file = || self.files.iter().find(|(n, _)| n == name).map(|(_, file)| file.expected());
        bytes.or_else(file).ok_or_else(|| mistake(format!("input `{name}` was not declared")))
    }

    /// What other tasks give this one but for bulky outputs, in the declared order.
    pub fn inputs(&self) -> &[(String, Arc<Vec<u8>>)] {
        &self.inputs
    }

    /// Names of all inputs: those of [`Self::inputs`], then raw files and bulky outputs, each in the declared order.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.inputs.iter().map(|(name, _)| name.as_str()).chain(self.files.iter().map(|(name, _)| name.as_str()))
    }

    /// The JSON input called `name`, read into `T`.
    ///
    /// # Errors
    /// If it was not declared or does not fit: a mistake in the program.
    pub fn json<T: DeserializeOwned>(&self, name: &str) -> Result<T, Vec<Diagnostic>> {
        from_json(name, &self.input(name)?)
    }

    /// The outside program and an empty folder that is the task's own.
    pub fn tool(&self) -> Option<(&Tool, &Path)> {
        self.tool.map(|tool| (tool, self.scratch))
    }

    /// Whether the person asked to stop; long work looks at it now and then.
    pub fn cancelled(&self) -> bool {
        self.cancel.load(Ordering::Relaxed)
    }
}

/// What went wrong in reading an input that was opened.
pub fn unreadable(error: io::Error) -> Vec<Diagnostic> {
    vec![error.downcast().unwrap_or_else(|error| Diagnostic::new(format!("cannot read this export: {error}")))]
}

/// Reads JSON that another task wrote.
///
/// # Errors
/// If it does not fit `T`: a mistake in the program.
pub fn from_json<T: DeserializeOwned>(name: &str, bytes: &[u8]) -> Result<T, Vec<Diagnostic>> {
    serde_json::from_slice(bytes).map_err(|e| mistake(format!("input `{name}`: {e}")))
}

/// A mistake in the program itself.
pub fn mistake(what: String) -> Vec<Diagnostic> {
    vec![Diagnostic::new(format!("internal: {what}")).help("this is a bug of shearback; please report it")]
}

/// What a task gives back: its outputs, and remarks that are stored with them and shown again whenever it is reused.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Produced {
    /// Output name and bytes.
    pub outputs: Vec<(&'static str, Vec<u8>)>,
    /// Remarks in the order in which they arose, as data; the domain has the words.
    pub remarks: Vec<serde_json::Value>,
}

impl Produced {
    /// Adds an output.
    #[must_use]
    pub fn with(mut self, name: &'static str, bytes: Vec<u8>) -> Self {
        self.outputs.push((name, bytes));
        self
    }

    /// Adds remarks.
    ///
    /// # Errors
    /// If one cannot be written as JSON: a mistake in the program.
    pub fn with_remarks(mut self, remarks: &[impl serde::Serialize]) -> Result<Self, Vec<Diagnostic>> {
        for remark in remarks {
            self.remarks.push(serde_json::to_value(remark).map_err(|e| mistake(format!("a remark: {e}")))?);
        }
        Ok(self)
    }

    /// Adds an output as JSON.
    ///
    /// # Errors
    /// If it cannot be written as JSON: a mistake in the program.
    pub fn with_json(self, name: &'static str, value: &impl serde::Serialize) -> Result<Self, Vec<Diagnostic>> {
        let bytes = serde_json::to_vec(value).map_err(|e| mistake(format!("output `{name}`: {e}")))?;
        Ok(self.with(name, bytes))
    }
}

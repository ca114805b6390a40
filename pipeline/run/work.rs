//! One task: its key, whether the store has it, else its inputs, its work and its record.

use super::outcome::{Finished, Outcome};
use crate::command::Failure;
use crate::diagnostic::Diagnostic;
use crate::graph::{Edge, Graph};
use crate::rebuild::assess::{causes, may_be_at_hand, object};
use crate::rebuild::declared::Declared;
use crate::rebuild::key;
use crate::rebuild::raw::HashedFile;
use crate::rebuild::reason::{Kind, Reason};
use crate::stage::{Context, Output, Produced, Task, mistake};
use crate::store::Store;
use crate::store::blob::Flaw;
use crate::store::digest::Digest;
use crate::store::record::{Done, Kept};
use crate::store::stamp::Seen;
use crate::store::state::State;
use std::collections::{BTreeMap, BTreeSet};
use std::panic::AssertUnwindSafe;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Instant;

/// Why a task, or the bytes of one, could not be had.
#[derive(Debug)]
pub enum Stop {
    /// The task itself failed.
    Task(Vec<Diagnostic>),
    /// A task before it failed.
    Before(String),
    /// The person asked to stop.
    Cancelled,
    /// The surroundings: the whole run ends.
    Run(Failure),
}

impl From<Failure> for Stop {
    fn from(failure: Failure) -> Self {
        Self::Run(failure)
    }
}

/// Inputs by name, as the work receives them: what other tasks gave, and files to be read.
type Named = (Vec<(String, Arc<Vec<u8>>)>, Vec<(String, HashedFile)>);

/// One of them.
enum Given {
    Bytes(Vec<u8>),
    File(HashedFile),
}

/// Everything that the tasks of one run share.
pub struct Workshop<'a> {
    graph: &'a Graph<'a>,
    store: &'a Store<'a>,
    state: &'a State,
    raw: &'a BTreeMap<&'a str, Result<Seen, Box<Diagnostic>>>,
    cancel: &'a AtomicBool,
    partials: Vec<Digest>,
    finished: Vec<Mutex<Option<Finished>>>,
    /// What was already known of a task when its users asked; set once.
    outputs: Vec<OnceLock<Vec<Kept>>>,
    /// Keys whose record came into being in this run, and whether because stored objects were lost.
    built: Mutex<BTreeMap<Digest, bool>>,
    /// Objects that were not there before this run wrote them. Tasks share objects by their content.
    written: Mutex<BTreeSet<PathBuf>>,
    /// Held while the task of a key is worked on, so that two tasks with one key compute it once.
    busy: Mutex<BTreeMap<Digest, Arc<Mutex<()>>>>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Work that panics is caught inside, so a poisoned lock guards nothing half done.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl<'a> Workshop<'a> {
    /// A workshop for this graph.
    pub fn new(
        graph: &'a Graph<'a>,
        store: &'a Store<'a>,
        state: &'a State,
        raw: &'a BTreeMap<&'a str, Result<Seen, Box<Diagnostic>>>,
        cancel: &'a AtomicBool,
    ) -> Self {
        let tasks = graph.nodes.len();
        Self {
            partials: key::partials(&graph.nodes),
            finished: (0..tasks).map(|_| Mutex::new(None)).collect(),
            outputs: (0..tasks).map(|_| OnceLock::new()).collect(),
            built: Mutex::default(),
            written: Mutex::default(),
            busy: Mutex::default(),
            graph,
            store,
            state,
            raw,
            cancel,
        }
    }

    /// Brings one task up to date; those before it are finished.
    ///
    /// # Errors
    /// Only for what ends the whole run; a task that fails is an outcome.
    pub fn finish(&self, at: usize) -> Result<Outcome, Failure> {
        let finished = match self.bring_up_to_date(at) {
            Ok(finished) => finished,
            Err(stop) => self.stopped(at, stop)?,
        };
        if let Some(done) = &finished.done {
            let _ = self.outputs[at].set(done.outputs.clone());
        }
        let outcome = finished.outcome;
        *lock(&self.finished[at]) = Some(finished);
        Ok(outcome)
    }

    /// What became of the tasks; those never reached count as skipped.
    pub fn into_finished(self) -> Vec<Finished> {
        let skipped = || Finished::without(Outcome::Skipped, Vec::new(), Vec::new());
        let take = |slot: Mutex<Option<Finished>>| slot.into_inner().unwrap_or_else(PoisonError::into_inner);
        self.finished.into_iter().map(|slot| take(slot).unwrap_or_else(skipped)).collect()
    }

    /// The result of a finished task.
    pub fn done(&self, at: usize) -> Option<Done> {
        lock(&self.finished[at]).as_ref().and_then(|finished| finished.done.clone())
    }

    /// Shows each finished task with its stage.
    pub fn each(&self, mut show: impl FnMut(&str, &Finished)) {
        for (node, slot) in self.graph.nodes.iter().zip(&self.finished) {
            lock(slot).iter().for_each(|finished| show(node.task.stage, finished));
        }
    }

    fn stopped(&self, at: usize, stop: Stop) -> Result<Finished, Failure> {
        match stop {
            Stop::Run(failure) => Err(failure),
            Stop::Cancelled => Ok(Finished::without(Outcome::Skipped, Vec::new(), Vec::new())),
            Stop::Before(name) => {
                Ok(Finished::without(Outcome::Skipped, vec![Reason::new(Kind::Failed, name)], Vec::new()))
            }
            Stop::Task(diagnostics) => {
                let placed = diagnostics.into_iter().map(|d| self.placed(at, d)).collect();
                Ok(Finished::without(Outcome::Failed, Vec::new(), placed))
            }
        }
    }

    /// A place in an input called `raw` becomes a place in that file.
    fn placed(&self, at: usize, mut diagnostic: Diagnostic) -> Diagnostic {
        let node = &self.graph.nodes[at];
        if let Some(place) = &mut diagnostic.place {
            let inputs = node.task.inputs.iter().zip(&node.inputs);
            let path = inputs.filter(|(input, _)| input.name == place.file).find_map(|(_, edge)| match edge {
                Edge::Raw(path) => Some(path.clone()),
                Edge::Output { .. } => None,
            });
            place.file = path.unwrap_or_else(|| std::mem::take(&mut place.file));
        }
        diagnostic
    }

    fn bring_up_to_date(&self, at: usize) -> Result<Finished, Stop> {
        let hashes = self.hashes(at).map_err(|stop| self.without_an_input(at, stop))?;
        let (partial, key) = (self.partials[at], key::key(&self.partials[at], &hashes));
        let before = self.state.tasks.get(&self.graph.nodes[at].name);
        if let Some(done) = before.filter(|done| done.key == key) {
            return Ok(Finished::with(Outcome::Reused, done.clone(), 0.0, Vec::new()));
        }
        let busy = self.busy(key);
        let _busy = lock(&busy);
        let known: Vec<Option<Digest>> = hashes.iter().copied().map(Some).collect();
        let declared = Declared::new(self.graph, at, &known);
        let record = self.store.read_record(&partial, &key);
        let lost = record.iter().flat_map(|r| &r.done.outputs).find(|kept| self.was_lost(kept));
        let shared = lock(&self.built).get(&key).copied();
        let at_hand = record.as_ref().filter(|_| lost.is_none() || shared.is_some()).map(|record| &record.done);
        if let Some(done) = at_hand.filter(|_| shared.is_none()) {
            return Ok(Finished::with(Outcome::Reused, done.clone(), 0.0, Vec::new()));
        }
        let mut reasons = causes(self.store, before, &declared);
        // What another task with this key has only just given was lost only if that task says so.
        let lost = lost.filter(|_| shared != Some(false));
        reasons.extend(lost.map(|kept| Reason::new(Kind::Missing, object(&self.graph.nodes[at].name, kept))));
        let Some(done) = at_hand else { return self.build(at, key, declared, reasons) };
        // Another task with this key was built in this run. What this one reads is looked at all the same, so that
        // the same stored objects are found wanting whichever of the two came first.
        self.inputs(at)?;
        Ok(Finished::with(Outcome::Built, done.clone(), 0.0, reasons))
    }

    /// A task that waits for an input in vain. If it would have been built whatever that input had become, its other
    /// inputs are looked at all the same: `why` calls what was lost of them out of date.
    fn without_an_input(&self, at: usize, stop: Stop) -> Stop {
        let node = &self.graph.nodes[at];
        let hashes: Vec<Result<Digest, Stop>> = node.inputs.iter().map(|edge| self.hash(edge)).collect();
        let unreadable = hashes.iter().any(|hash| matches!(hash, Err(Stop::Task(_))));
        let known: Vec<Option<Digest>> = hashes.into_iter().map(Result::ok).collect();
        let before = self.state.tasks.get(&node.name);
        if !unreadable && may_be_at_hand(self.store, &self.partials[at], before, &known) {
            return stop;
        }
        match self.inputs(at) {
            Err(Stop::Run(failure)) => Stop::Run(failure),
            _ => stop,
        }
    }

    fn busy(&self, key: Digest) -> Arc<Mutex<()>> {
        lock(&self.busy).entry(key).or_default().clone()
    }

    fn hashes(&self, at: usize) -> Result<Vec<Digest>, Stop> {
        self.graph.nodes[at].inputs.iter().map(|edge| self.hash(edge)).collect()
    }

    fn hash(&self, edge: &Edge) -> Result<Digest, Stop> {
        match edge {
            Edge::Raw(path) => match self.raw.get(path.as_str()) {
                Some(Ok(seen)) => Ok(seen.hash),
                Some(Err(diagnostic)) => Err(Stop::Task(vec![(**diagnostic).clone()])),
                None => Err(Stop::Task(mistake(format!("raw file {path} was not looked at")))),
            },
            Edge::Output { task, output } => self.kept(*task, *output).map(|kept| kept.hash),
        }
    }

    fn kept(&self, task: usize, output: usize) -> Result<&Kept, Stop> {
        let kept = self.outputs[task].get().and_then(|outputs| outputs.get(output));
        kept.ok_or_else(|| Stop::Before(self.graph.nodes[task].name.clone()))
    }

    /// Runs the work of a task and keeps what it gives. The key is held by the caller.
    fn build(&self, at: usize, key: Digest, declared: Declared, reasons: Vec<Reason>) -> Result<Finished, Stop> {
        let task = self.graph.nodes[at].task;
        let inputs = self.inputs(at)?;
        if self.cancel.load(Ordering::Relaxed) {
            return Err(Stop::Cancelled);
        }
        let begin = Instant::now();
        let produced = self.work(task, inputs)?;
        let seconds = begin.elapsed().as_secs_f64();
        let lost = reasons.iter().any(|reason| matches!(reason.kind, Kind::Missing | Kind::Damaged));
        let done = self.keep(at, key, declared, produced)?;
        lock(&self.built).insert(key, lost);
        Ok(Finished::with(Outcome::Built, done, seconds, reasons))
    }

    fn inputs(&self, at: usize) -> Result<Named, Stop> {
        let node = &self.graph.nodes[at];
        // All of them, even if one cannot be had: what was lost of the others is built in the same run.
        let mut fetched: Vec<Result<Given, Stop>> = node.inputs.iter().map(|edge| self.fetch(edge)).collect();
        if let Some(end) = fetched.iter().position(|given| matches!(given, Err(Stop::Run(_)))) {
            fetched.swap(0, end);
        }
        let (mut inputs, mut files) = Named::default();
        for (input, given) in node.task.inputs.iter().zip(fetched) {
            match given? {
                Given::Bytes(bytes) => inputs.push((input.name.clone(), Arc::new(bytes))),
                Given::File(file) => files.push((input.name.clone(), file)),
            }
        }
        Ok((inputs, files))
    }

    fn work(&self, task: &Task, inputs: Named) -> Result<Produced, Stop> {
        let temporary = self.store.files.temporary();
        let scratch = || tempfile::tempdir_in(&temporary).map_err(|e| Failure::io("use", &temporary, &e));
        let scratch = task.tool.is_some().then(scratch).transpose()?;
        let folder = scratch.as_ref().map_or(temporary.as_path(), tempfile::TempDir::path);
        let (inputs, files) = inputs;
        let context = Context::new(&task.settings, inputs, task.tool.as_ref(), folder, self.cancel).with_files(files);
        // The only place where a panic is caught: a bug in one task must not end the others.
        let result = std::panic::catch_unwind(AssertUnwindSafe(|| (task.work)(&context)));
        match result.unwrap_or_else(|panic| Err(mistake(format!("panic: {}", message(&*panic))))) {
            Ok(produced) => match context.files.iter().find(|(_, file)| !file.is_whole()) {
                Some((name, _)) => Err(Stop::Task(mistake(format!("input `{name}` was not read to its end")))),
                None => Ok(produced),
            },
            Err(_) if self.cancel.load(Ordering::Relaxed) => Err(Stop::Cancelled),
            Err(diagnostics) => {
                // What was found in a file that changes meanwhile says nothing.
                let changed = context.files.iter().find_map(|(_, file)| file.unchanged().err());
                Err(Stop::Task(changed.map_or(diagnostics, |changed| vec![*changed])))
            }
        }
    }

    fn keep(&self, at: usize, key: Digest, declared: Declared, produced: Produced) -> Result<Done, Stop> {
        let task = self.graph.nodes[at].task;
        let given: BTreeMap<&str, &Vec<u8>> = produced.outputs.iter().map(|(name, bytes)| (*name, bytes)).collect();
        let as_declared = given.len() == produced.outputs.len()
            && given.len() == task.outputs.len()
            && task.outputs.iter().all(|output| given.contains_key(output.name));
        if !as_declared {
            let names: Vec<&str> = produced.outputs.iter().map(|(name, _)| *name).collect();
            return Err(Stop::Task(mistake(format!("the outputs {names:?} are not those declared"))));
        }
        let outputs = task
            .outputs
            .iter()
            .map(|output| self.keep_output(output, given[output.name]))
            .collect::<Result<Vec<_>, Failure>>()?;
        let done = Done { partial: self.partials[at], key, outputs, remarks: produced.remarks };
        self.store.write_record(&declared.record(done.clone()))?;
        Ok(done)
    }

    fn keep_output(&self, output: &Output, bytes: &[u8]) -> Result<Kept, Failure> {
        let (kept, new) = self.store.write_object(output.name, bytes, output.bulky)?;
        if new {
            lock(&self.written).insert(self.store.files.object(&kept.hash, kept.bulky));
        }
        Ok(kept)
    }

    /// Whether an object is not there, or was not when the run began.
    fn was_lost(&self, kept: &Kept) -> bool {
        self.was_written(kept) || !self.store.has_object(kept)
    }

    fn was_written(&self, kept: &Kept) -> bool {
        lock(&self.written).contains(&self.store.files.object(&kept.hash, kept.bulky))
    }

    fn fetch(&self, edge: &Edge) -> Result<Given, Stop> {
        match edge {
            Edge::Raw(path) => Ok(Given::File(HashedFile::raw(&self.store.files, path, self.hash(edge)?))),
            Edge::Output { task, output } => {
                let bytes = self.fetch_output(*task, *output)?;
                let kept = self.kept(*task, *output)?;
                // Known to be sound now, and read when it is asked for.
                Ok(if kept.bulky {
                    Given::File(HashedFile::stored(&self.store.files, kept))
                } else {
                    Given::Bytes(bytes)
                })
            }
        }
    }

    /// The bytes of an output of a finished task. If the store has lost or spoilt them, the task runs again.
    ///
    /// # Errors
    /// If they cannot be had even so.
    pub fn fetch_output(&self, task: usize, output: usize) -> Result<Vec<u8>, Stop> {
        let kept = self.kept(task, output)?;
        if let Ok(bytes) = self.usable(task, kept) {
            return Ok(bytes);
        }
        let key = key::key(&self.partials[task], &self.hashes(task)?);
        let busy = self.busy(key);
        let _busy = lock(&busy);
        // Another task may have seen to it in the meantime.
        let kind = match self.usable(task, kept) {
            Ok(bytes) => return Ok(bytes),
            Err(Flaw::Unreadable(failure)) => return Err(failure.into()),
            Err(Flaw::Missing) => Kind::Missing,
            Err(Flaw::Damaged) => Kind::Damaged,
        };
        self.repair(task, key, kept, kind)?;
        self.store.read_object(kept).map_err(|_| Stop::Task(mistake(self.differs(task, kept))))
    }

    /// Brings back what the store lost of an output that this run found at hand; what cannot be had is left.
    ///
    /// # Errors
    /// Only for what ends the whole run.
    pub fn look_after(&self, task: usize, output: usize) -> Result<(), Failure> {
        if !self.is_reused(task) {
            return Ok(());
        }
        match self.fetch_output(task, output) {
            Err(Stop::Run(failure)) => Err(failure),
            _ => Ok(()),
        }
    }

    fn is_reused(&self, task: usize) -> bool {
        lock(&self.finished[task]).as_ref().is_some_and(|finished| finished.outcome == Outcome::Reused)
    }

    /// The bytes of an object, unless its task lost it and another one brought it back: that task is built as well,
    /// so that what is built does not depend on who came first.
    fn usable(&self, task: usize, kept: &Kept) -> Result<Vec<u8>, Flaw> {
        let bytes = self.store.read_object(kept)?;
        if self.was_written(kept) && self.is_reused(task) { Err(Flaw::Missing) } else { Ok(bytes) }
    }

    fn repair(&self, at: usize, key: Digest, kept: &Kept, kind: Kind) -> Result<(), Stop> {
        let name = &self.graph.nodes[at].name;
        if kind == Kind::Damaged {
            self.store.remove_object(kept)?;
        }
        let hashes: Vec<Option<Digest>> = self.hashes(at)?.into_iter().map(Some).collect();
        let reasons = vec![Reason::new(kind, object(name, kept))];
        let built = self.build(at, key, Declared::new(self.graph, at, &hashes), reasons);
        let same = |done: &Done| self.outputs[at].get() == Some(&done.outputs);
        let finished = match built {
            Ok(finished) if finished.done.as_ref().is_some_and(same) => finished,
            Ok(_) => self.stopped(at, Stop::Task(mistake(self.differs(at, kept))))?,
            Err(stop) => self.stopped(at, stop)?,
        };
        let failed = finished.done.is_none();
        let mut slot = lock(&self.finished[at]);
        match slot.as_mut() {
            // Built before in this run, and what it gave was spoilt since.
            Some(before) if !failed && before.outcome == Outcome::Built => {
                before.reasons.extend(finished.reasons);
                before.seconds += finished.seconds;
            }
            _ => *slot = Some(finished),
        }
        if failed { Err(Stop::Before(name.clone())) } else { Ok(()) }
    }

    fn differs(&self, at: usize, kept: &Kept) -> String {
        format!("{} gave other bytes for `{}` than the last time", self.graph.nodes[at].name, kept.name)
    }
}

fn message(panic: &(dyn std::any::Any + Send)) -> String {
    let text = panic.downcast_ref::<&str>().map(|text| text.to_string());
    text.or_else(|| panic.downcast_ref::<String>().cloned()).unwrap_or_else(|| "without a message".into())
}

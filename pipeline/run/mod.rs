//! A run: looks at what is there, finishes every task, lays out `results/`, and remembers.

pub mod cancel;
pub mod outcome;
pub mod scheduler;
pub mod work;

use crate::command::Failure;
use crate::graph::Graph;
use crate::progress::Progress;
use crate::rebuild::declared;
use crate::rebuild::raw::RawFiles;
use crate::rebuild::reason::Kind;
use crate::results::found::Found;
use crate::results::layout::{self, Changes, Ours, Ready, Wanted};
use crate::stage::Plan;
use crate::store::Store;
use crate::store::digest::Digest;
use crate::store::disk::{self, Disk, Durable};
use crate::store::files::{LEDGER, MANIFEST};
use crate::store::ledger::{Ledger, Line, Made, tasks_of_run};
use crate::store::lock::Lock;
use crate::store::record::{Done, Kept};
use crate::store::space::{self, Keep};
use crate::store::stamp::Seen;
use crate::store::state::State;
use outcome::{Entry, Finished, Outcome, Report};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use work::{Stop, Workshop};

/// How a run is to be done.
pub struct Request<'a> {
    /// Number of threads.
    pub jobs: usize,
    /// The stage after which it stops, if the plan was cut there.
    pub until: Option<&'a str>,
    /// Set from outside to stop.
    pub cancel: &'a AtomicBool,
    /// Where progress is shown.
    pub progress: &'a Progress,
    /// What is written is written through this.
    pub disk: &'a dyn Disk,
}

/// Brings `results/` of the study in this folder up to date with the plan.
pub fn run(study: &Path, plan: &Plan, request: &Request<'_>) -> Report {
    run_in(&Store::new(study, request.disk), plan, request)
}

/// The same with a store that may stand apart from the study.
pub fn run_in(store: &Store<'_>, plan: &Plan, request: &Request<'_>) -> Report {
    let mut report = Report::default();
    if let Err(failure) = locked(store, plan, request, &mut report) {
        report.failure = Some(failure);
    }
    report
}

fn locked(store: &Store<'_>, plan: &Plan, request: &Request<'_>, report: &mut Report) -> Result<(), Failure> {
    let graph = Graph::new(plan)?;
    let _lock = Lock::take(store)?;
    store.prepare()?;
    let state = State::load(store);
    let leftovers = store.is_unfinished();
    let raw = RawFiles::new(&store.files).look_at(graph.raw(), &state.raw);
    let workshop = Workshop::new(&graph, store, &state, &raw, request.cancel);
    let computed = compute(&graph, &workshop, request);
    let laid_out = match computed {
        Ok(true) => lay_out(&graph, store, &state, &workshop, request),
        Ok(false) if request.cancel.load(Ordering::Relaxed) => Ok(None),
        Ok(false) => look_after_results(&graph, store, &state, &workshop).map(|()| None),
        Err(failure) => Err(failure),
    };
    report.tasks = entries(&graph, workshop.into_finished());
    let raw = raw.into_iter().filter_map(|(path, seen)| Some((path.to_string(), seen.ok()?))).collect();
    let Some(laid_out) = laid_out? else {
        // What was seen of the raw files is worth keeping; tasks and results stay those of the last whole run.
        save_if_changed(store, &state, State { raw, ..state.clone() })?;
        let interrupted = request.cancel.load(Ordering::Relaxed);
        let done = report.count(Outcome::Built) + report.count(Outcome::Reused);
        return if interrupted { Err(cancel::stopped(done, report.tasks.len())) } else { Ok(()) };
    };
    remember(store, &state, raw, laid_out, request, report, leftovers)
}

/// Whether everything was done.
fn compute(graph: &Graph<'_>, workshop: &Workshop<'_>, request: &Request<'_>) -> Result<bool, Failure> {
    request.progress.begin(graph.nodes.len());
    let complete = AtomicBool::new(true);
    let result = scheduler::run(&graph.nodes, request.jobs, request.cancel, |at| {
        request.progress.at(&graph.nodes[at].name);
        let outcome = workshop.finish(at)?;
        if matches!(outcome, Outcome::Failed | Outcome::Skipped) {
            complete.store(false, Ordering::Relaxed);
        }
        request.progress.step();
        Ok(())
    });
    request.progress.end();
    result.map(|()| complete.into_inner() && !request.cancel.load(Ordering::Relaxed))
}

fn entries(graph: &Graph<'_>, finished: Vec<Finished>) -> Vec<Entry> {
    let entry = |(node, finished): (&crate::graph::Node<'_>, Finished)| Entry {
        name: node.name.clone(),
        stage: node.task.stage.into(),
        of: node.task.of.clone(),
        finished,
    };
    graph.nodes.iter().zip(finished).map(entry).collect()
}

/// What is known once `results/` is as it must be.
struct LaidOut {
    tasks: BTreeMap<String, Done>,
    results: BTreeMap<String, Seen>,
    moved: Vec<String>,
    line: Option<u64>,
    ledger: Ledger,
}

/// Lays `results/` out. None if a stored object had to be built again for it and that failed.
fn lay_out(
    graph: &Graph<'_>,
    store: &Store<'_>,
    state: &State,
    workshop: &Workshop<'_>,
    request: &Request<'_>,
) -> Result<Option<LaidOut>, Failure> {
    let Some(tasks) = tasks(graph, state, workshop, request) else { return Ok(None) };
    let kept =
        |task: usize, output: usize| -> Option<&Kept> { tasks.get(&graph.nodes[task].name)?.outputs.get(output) };
    let wanted: Wanted<'_> =
        graph.published.iter().filter_map(|(path, from)| Some((*path, kept(from.task, from.output)?))).collect();
    let ledger = Ledger::read(store, state)?;
    let ours = Ours::new(store, state, &ledger);
    let found = Found::look(&store.files, state)?;
    let changes = Changes::new(&found, &wanted, &ours);
    let fetch = |path: &str| {
        let from = graph.published[path];
        workshop.fetch_output(from.task, from.output)
    };
    let ready = match Ready::new(store, changes.clone(), &wanted, fetch) {
        Ok(ready) => ready,
        Err(Stop::Run(failure)) => return Err(failure),
        Err(_) => return Ok(None),
    };
    let manifest = layout::manifest(&wanted).bytes()?;
    let line = Writer { graph, store, ledger: &ledger, request }.line(&tasks, workshop, Digest::of(&manifest))?;
    let next = match &line {
        Some(line) => ledger.with(line)?,
        None => ledger.clone(),
    };
    let (manifest, copy) =
        ((Digest::of(&manifest), manifest.len()), (Digest::of(next.text.as_bytes()), next.text.len()));
    let nothing_to_do = line.is_none()
        && !ledger.from_copy
        && changes.is_empty()
        && layout::specials_are_right(&found, &manifest.0, &copy.0);
    let moved = if nothing_to_do { Vec::new() } else { ready.apply(&ours, &found, &next)? };
    let specials = [(MANIFEST, manifest.0, manifest.1 as u64), (LEDGER, copy.0, copy.1 as u64)];
    let results = layout::remember(&found, &wanted, specials);
    Ok(Some(LaidOut { results, moved, line: line.map(|line| line.run), ledger: next, tasks }))
}

/// Where something failed, nothing is laid out. What the store lost of that which would be is brought back all the same,
/// as `why` foretells it.
fn look_after_results(
    graph: &Graph<'_>,
    store: &Store<'_>,
    state: &State,
    workshop: &Workshop<'_>,
) -> Result<(), Failure> {
    let found = Found::look(&store.files, state)?;
    for (path, from) in &graph.published {
        let Some(done) = workshop.done(from.task) else { continue };
        let stands = found.files.get(*path).and_then(|seen| seen.as_ref());
        if stands.map(|seen| seen.hash) != done.outputs.get(from.output).map(|kept| kept.hash) {
            workshop.look_after(from.task, from.output)?;
        }
    }
    Ok(())
}

/// What every task gave; a run that stops early keeps what was known of the stages behind.
fn tasks(
    graph: &Graph<'_>,
    state: &State,
    workshop: &Workshop<'_>,
    request: &Request<'_>,
) -> Option<BTreeMap<String, Done>> {
    let mut tasks = if request.until.is_some() { state.tasks.clone() } else { BTreeMap::new() };
    for (at, node) in graph.nodes.iter().enumerate() {
        tasks.insert(node.name.clone(), workshop.done(at)?);
    }
    Some(tasks)
}

/// Writes what a ledger line refers to.
struct Writer<'a> {
    graph: &'a Graph<'a>,
    store: &'a Store<'a>,
    ledger: &'a Ledger,
    request: &'a Request<'a>,
}

impl Writer<'_> {
    /// The line for this run; none if it would say what the last one says. What it refers to is then in the store.
    fn line(
        &self,
        tasks: &BTreeMap<String, Done>,
        workshop: &Workshop<'_>,
        manifest: Digest,
    ) -> Result<Option<Line>, Failure> {
        let study_file = &self.graph.plan.study_text;
        let settings = self.settings()?;
        let list = tasks_of_run(tasks)?;
        let mut line = Line {
            run: self.ledger.next(),
            when: jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
            outcome: "whole".into(),
            until: self.request.until.map(Into::into),
            built: BTreeMap::new(),
            reused: 0,
            because: Vec::new(),
            study_file: Digest::of(study_file),
            settings: Digest::of(&settings),
            manifest,
            tasks: Digest::of(&list),
            made: made(self.graph.plan),
            previous: self.ledger.head(),
        };
        workshop.summarise(&mut line, &self.graph.plan.study_file);
        if line.built.is_empty() && self.ledger.last.as_ref().is_some_and(|last| last.says_the_same_as(&line)) {
            return Ok(None);
        }
        self.store.write_object("study file", study_file, false)?;
        self.store.write_object("settings", &settings, false)?;
        let path = self.store.files.run(line.run);
        disk::put(self.store.disk, &self.store.files, &path, &list, Durable::Yes)?;
        Ok(Some(line))
    }

    /// All settings in force, by their path in the study file.
    fn settings(&self) -> Result<Vec<u8>, Failure> {
        crate::store::json(&declared::in_force(self.graph.plan))
    }
}

/// What a run of this plan is made with, here and now.
pub fn made(plan: &Plan) -> Made {
    let tools = plan.tasks.iter().filter_map(|task| task.tool.as_ref());
    Made {
        version: env!("CARGO_PKG_VERSION").into(),
        profile: env!("SHEARBACK_PROFILE").into(),
        target: env!("SHEARBACK_TARGET").into(),
        compiler: env!("SHEARBACK_COMPILER").into(),
        tools: tools.map(|tool| (tool.name.to_string(), tool.version.clone())).collect(),
        code: plan.tasks.iter().map(|task| (task.stage.to_string(), task.code.to_string())).collect(),
    }
}

impl Workshop<'_> {
    /// Fills in what was built, and why.
    fn summarise(&self, line: &mut Line, study_file: &str) {
        let mut because = BTreeSet::new();
        self.each(|stage, finished| match finished.outcome {
            Outcome::Built => {
                *line.built.entry(stage.to_string()).or_default() += 1;
                let own = finished.reasons.iter().filter(|reason| !matches!(reason.kind, Kind::Input | Kind::New));
                because.extend(own.map(|reason| reason.wording(study_file)));
            }
            _ => line.reused += 1,
        });
        line.because = because.into_iter().collect();
    }
}

fn save_if_changed(store: &Store<'_>, before: &State, after: State) -> Result<(), Failure> {
    if *before == after { Ok(()) } else { after.save(store) }
}

fn remember(
    store: &Store<'_>,
    state: &State,
    raw: BTreeMap<String, Seen>,
    laid_out: LaidOut,
    request: &Request<'_>,
    report: &mut Report,
    leftovers: bool,
) -> Result<(), Failure> {
    let LaidOut { tasks, results, moved, line, ledger } = laid_out;
    let mut all = if request.until.is_some() { state.raw.clone() } else { BTreeMap::new() };
    all.extend(raw);
    report.laid_out = true;
    report.moved = moved;
    report.line = line;
    report.earlier = line.filter(|_| state.run > 0).map(|_| state.clone());
    let run = ledger.last.as_ref().map_or(0, |line| line.run);
    let let_go = if line.is_some() { let_go(store, &ledger, &tasks, leftovers) } else { Ok(()) };
    report.size = if line.is_some() || state.size == 0 { space::measure(store).total() } else { state.size };
    let after = State { format: state.format, run, tasks, results, raw: all, size: report.size };
    save_if_changed(store, state, after)?;
    let_go
}

/// What a whole run that changed something no longer needs. The state that it replaces is of one of the runs that are
/// kept, so it may be stopped anywhere.
fn let_go(store: &Store<'_>, ledger: &Ledger, tasks: &BTreeMap<String, Done>, leftovers: bool) -> Result<(), Failure> {
    space::let_go(store, ledger, Keep::LastThree)?;
    if leftovers {
        space::sweep(store, ledger, tasks)?;
    }
    store.finish()
}

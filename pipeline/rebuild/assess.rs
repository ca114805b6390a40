//! `why`: the condition of every task and the reasons for it. Computes nothing, writes nothing.

use super::declared::Declared;
use super::key;
use super::raw::RawFiles;
use super::reason::{Kind, Reason, differences};
use crate::command::Failure;
use crate::diagnostic::Diagnostic;
use crate::graph::{Edge, Graph};
use crate::results::found::Found;
use crate::results::layout::{Changes, Ours, Wanted};
use crate::store::Store;
use crate::store::blob::Flaw;
use crate::store::digest::Digest;
use crate::store::ledger::Ledger;
use crate::store::record::{Done, Kept};
use crate::store::stamp::Seen;
use crate::store::state::State;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Condition of a task.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Condition {
    /// As in the last whole run, and laid out.
    #[serde(rename = "up to date")]
    UpToDate,
    /// The result is at hand and only has to be laid out.
    #[serde(rename = "in store")]
    InStore,
    /// Built by the next run.
    #[serde(rename = "out of date")]
    OutOfDate,
    /// Built by the next run only if what it reads changes.
    #[serde(rename = "undecided")]
    Undecided,
}

/// A task and its condition.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Assessment {
    /// Name of the task.
    pub name: String,
    /// Its stage.
    pub stage: String,
    /// What it is applied to.
    pub of: String,
    /// Its condition.
    pub condition: Condition,
    /// Why it is not up to date.
    pub reasons: Vec<Reason>,
}

/// What `why` tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Assessed {
    /// Every task, in the order of the plan.
    pub tasks: Vec<Assessment>,
    /// Files of `results/` that no run wrote and no task gives, by their path below it.
    pub foreign: Vec<String>,
}

/// What is known of a task.
struct Known {
    condition: Condition,
    reasons: Vec<Reason>,
    /// What it gave, if that is not open.
    outputs: Option<Vec<Kept>>,
}

/// The condition of every task, and what in `results/` is not ours.
///
/// # Errors
/// If `results/` or the store cannot be read.
pub fn assess(graph: &Graph<'_>, store: &Store<'_>, state: &State) -> Result<Assessed, Failure> {
    let found = Found::look(&store.files, state)?;
    let raw = RawFiles::new(&store.files).look_at(graph.raw(), &state.raw);
    let mut assessor = Assessor {
        partials: key::partials(&graph.nodes),
        candidates: BTreeMap::new(),
        known: Vec::with_capacity(graph.nodes.len()),
        graph,
        store,
        state,
        raw,
    };
    for at in 0..graph.nodes.len() {
        let known = assessor.known(at);
        assessor.known.push(known);
    }
    let needed = assessor.compare_results(&found);
    assessor.check_needed_objects(needed)?;
    let foreign = foreign(graph, store, state, &found);
    Ok(Assessed { tasks: assessor.finish(), foreign })
}

/// Files that the next run moves away and that stand where no result is to stand; those that do are named with
/// their task.
fn foreign(graph: &Graph<'_>, store: &Store<'_>, state: &State, found: &Found) -> Vec<String> {
    // Without a ledger that can be read, the next run stops there and moves nothing.
    let Ok(ledger) = Ledger::read(store, state) else { return Vec::new() };
    let aside = Changes::new(found, &Wanted::new(), &Ours::new(store, state, &ledger)).aside;
    aside.into_iter().filter(|path| !graph.published.contains_key(path.as_str())).collect()
}

struct Assessor<'a, 'p> {
    graph: &'a Graph<'p>,
    store: &'a Store<'a>,
    state: &'a State,
    raw: BTreeMap<&'a str, Result<Seen, Box<Diagnostic>>>,
    partials: Vec<Digest>,
    candidates: BTreeMap<Digest, Candidates>,
    known: Vec<Known>,
}

impl Assessor<'_, '_> {
    fn known(&mut self, at: usize) -> Known {
        let node = &self.graph.nodes[at];
        let hashes: Vec<Option<Digest>> = node.inputs.iter().map(|edge| self.hash(edge)).collect();
        let broken: Vec<Reason> = node.inputs.iter().filter_map(|edge| self.broken(edge)).collect();
        if !broken.is_empty() {
            return Known { condition: Condition::OutOfDate, reasons: broken, outputs: None };
        }
        match hashes.iter().copied().collect::<Option<Vec<Digest>>>() {
            Some(all) => self.decided(at, &hashes, &all),
            None => self.open(at, &hashes),
        }
    }

    fn hash(&self, edge: &Edge) -> Option<Digest> {
        match edge {
            Edge::Raw(path) => self.raw.get(path.as_str())?.as_ref().ok().map(|seen| seen.hash),
            Edge::Output { task, output } => Some(self.known[*task].outputs.as_ref()?.get(*output)?.hash),
        }
    }

    fn broken(&self, edge: &Edge) -> Option<Reason> {
        let Edge::Raw(path) = edge else { return None };
        let problem = self.raw.get(path.as_str())?.as_ref().err()?;
        Some(Reason { new: Some(problem.message.clone()), ..Reason::new(Kind::Raw, path) })
    }

    /// The condition of a task whose inputs are all known.
    fn decided(&self, at: usize, hashes: &[Option<Digest>], all: &[Digest]) -> Known {
        let key = key::key(&self.partials[at], all);
        let before = self.state.tasks.get(&self.graph.nodes[at].name);
        if let Some(done) = before.filter(|done| done.key == key) {
            let outputs = Some(done.outputs.clone());
            return Known { condition: Condition::UpToDate, reasons: Vec::new(), outputs };
        }
        let record = self.store.read_record(&self.partials[at], &key).map(|record| record.done.outputs);
        let lost = record.iter().flatten().find(|kept| !self.store.has_object(kept));
        let mut reasons = causes(self.store, before, &Declared::new(self.graph, at, hashes));
        reasons.extend(lost.map(|kept| Reason::new(Kind::Missing, object(&self.graph.nodes[at].name, kept))));
        let at_hand = record.is_some() && lost.is_none();
        let condition = if at_hand { Condition::InStore } else { Condition::OutOfDate };
        Known { condition, reasons, outputs: record.filter(|_| at_hand) }
    }

    /// The condition of a task with an input that is not known yet.
    fn open(&mut self, at: usize, hashes: &[Option<Digest>]) -> Known {
        let partial = self.partials[at];
        let store = self.store;
        let candidates = self.candidates.entry(partial).or_insert_with(|| Candidates::read(store, &partial));
        let before = self.state.tasks.get(&self.graph.nodes[at].name);
        let same = before.filter(|done| done.partial == partial);
        let possible = candidates.agree(hashes) || is_in_state_alone(store, &partial, before);
        let declared = Declared::new(self.graph, at, hashes);
        let mut reasons = if same.is_some() && possible { Vec::new() } else { causes(self.store, before, &declared) };
        let waits = declared.inputs.iter().filter(|reads| reads.hash.is_none()).map(|reads| &reads.from);
        let waits: BTreeSet<&String> = waits.collect();
        reasons.extend(waits.into_iter().map(|from| Reason::new(Kind::Input, from)));
        let condition = if possible { Condition::Undecided } else { Condition::OutOfDate };
        Known { condition, reasons, outputs: None }
    }

    /// Compares `results/` with what is to stand there. What has to be laid out again is needed from the store.
    fn compare_results(&mut self, found: &Found) -> Vec<Need> {
        let mut needed = Vec::new();
        for (path, source) in &self.graph.published {
            let known = &mut self.known[source.task];
            let Some(kept) = known.outputs.as_ref().and_then(|outputs| outputs.get(source.output)) else { continue };
            let stands = found.files.get(*path);
            if stands.is_some_and(|seen| seen.is_some_and(|seen| seen.hash == kept.hash)) {
                continue;
            }
            needed.push(Need { task: source.task, output: source.output, certain: true });
            if known.condition == Condition::UpToDate {
                known.condition = Condition::InStore;
            }
            let laid_out = self.state.results.get(*path).map(|seen| seen.hash);
            let kind = match stands {
                None => (laid_out.is_some() || known.reasons.is_empty()).then_some(Kind::Missing),
                Some(seen) => (seen.map(|seen| seen.hash) != laid_out).then_some(Kind::Edited),
            };
            known.reasons.extend(kind.map(|kind| Reason::new(kind, format!("results/{path}"))));
        }
        needed
    }

    /// Follows what the next run reads from the store. A flaw there makes the producer run again.
    fn check_needed_objects(&mut self, mut needed: Vec<Need>) -> Result<(), Failure> {
        for (at, known) in self.known.iter().enumerate() {
            match known.condition {
                Condition::OutOfDate => needed.extend(self.needs(at, true)),
                Condition::Undecided => needed.extend(self.needs(at, false)),
                _ => {}
            }
        }
        let mut flaws: BTreeMap<(usize, usize), Option<Kind>> = BTreeMap::new();
        while let Some(need) = needed.pop() {
            let Some(kept) = self.known[need.task].outputs.as_ref().and_then(|o| o.get(need.output)).cloned() else {
                continue;
            };
            let flaw = match flaws.entry((need.task, need.output)) {
                std::collections::btree_map::Entry::Occupied(seen) => *seen.get(),
                std::collections::btree_map::Entry::Vacant(new) => *new.insert(flaw(self.store, &kept)?),
            };
            if let Some(kind) = flaw {
                needed.extend(self.built_again(&need, kind, &kept));
            }
        }
        Ok(())
    }

    fn built_again(&mut self, need: &Need, kind: Kind, kept: &Kept) -> Vec<Need> {
        let condition = if need.certain { Condition::OutOfDate } else { Condition::Undecided };
        let reason = Reason::new(kind, object(&self.graph.nodes[need.task].name, kept));
        let known = &mut self.known[need.task];
        if !known.reasons.contains(&reason) {
            known.reasons.push(reason);
        }
        let worse = match known.condition {
            Condition::OutOfDate => false,
            Condition::Undecided => need.certain,
            _ => true,
        };
        if !worse {
            return Vec::new();
        }
        known.condition = condition;
        self.needs(need.task, need.certain)
    }

    fn needs(&self, at: usize, certain: bool) -> Vec<Need> {
        let edges = self.graph.nodes[at].inputs.iter();
        edges
            .filter_map(|edge| match edge {
                Edge::Output { task, output } => Some(Need { task: *task, output: *output, certain }),
                Edge::Raw(_) => None,
            })
            .collect()
    }

    fn finish(self) -> Vec<Assessment> {
        let describe = |(node, known): (&crate::graph::Node<'_>, Known)| Assessment {
            name: node.name.clone(),
            stage: node.task.stage.into(),
            of: node.task.of.clone(),
            condition: known.condition,
            reasons: known.reasons,
        };
        self.graph.nodes.iter().zip(self.known).map(describe).collect()
    }
}

/// An output that the next run reads from the store, for certain or perhaps.
struct Need {
    task: usize,
    output: usize,
    certain: bool,
}

fn flaw(store: &Store<'_>, kept: &Kept) -> Result<Option<Kind>, Failure> {
    match store.read_object(kept) {
        Ok(_) => Ok(None),
        Err(Flaw::Missing) => Ok(Some(Kind::Missing)),
        Err(Flaw::Damaged) => Ok(Some(Kind::Damaged)),
        Err(Flaw::Unreadable(failure)) => Err(failure),
    }
}

/// How an object is called in a reason.
pub fn object(task: &str, kept: &Kept) -> String {
    format!("stored `{}` of {task}", kept.name)
}

/// Why a task is not as it was in the last whole run.
pub fn causes(store: &Store<'_>, before: Option<&Done>, declared: &Declared) -> Vec<Reason> {
    let Some(before) = before else { return vec![Reason::new(Kind::New, &declared.stage)] };
    match store.read_record(&before.partial, &before.key) {
        Some(record) => differences(&record, declared),
        None => vec![Reason::new(Kind::Missing, "the record of the last run")],
    }
}

/// Whether a task is perhaps at hand, of whose inputs only these are known.
pub fn may_be_at_hand(store: &Store<'_>, partial: &Digest, before: Option<&Done>, hashes: &[Option<Digest>]) -> bool {
    Candidates::read(store, partial).agree(hashes) || is_in_state_alone(store, partial, before)
}

/// The state alone makes a task reused, even if its record was lost.
fn is_in_state_alone(store: &Store<'_>, partial: &Digest, before: Option<&Done>) -> bool {
    let same = before.filter(|done| done.partial == *partial);
    same.is_some_and(|done| store.read_record(partial, &done.key).is_none())
}

/// The contents of inputs that records under one partial key had.
struct Candidates {
    inputs: Vec<Vec<Digest>>,
    /// For an input by its position: which records had this content there.
    by_content: BTreeMap<usize, BTreeMap<Digest, Vec<usize>>>,
}

impl Candidates {
    fn read(store: &Store<'_>, partial: &Digest) -> Self {
        let records = store.read_records(partial).into_iter();
        let inputs = records.map(|record| record.inputs.iter().map(|read| read.hash).collect()).collect();
        Self { inputs, by_content: BTreeMap::new() }
    }

    /// Whether some record agrees with everything that is known.
    fn agree(&mut self, hashes: &[Option<Digest>]) -> bool {
        let Some((at, hash)) = hashes.iter().enumerate().find_map(|(at, hash)| Some((at, (*hash)?))) else {
            return !self.inputs.is_empty();
        };
        let inputs = &self.inputs;
        let index = self.by_content.entry(at).or_insert_with(|| {
            let mut index: BTreeMap<Digest, Vec<usize>> = BTreeMap::new();
            for (record, inputs) in inputs.iter().enumerate() {
                inputs.get(at).into_iter().for_each(|hash| index.entry(*hash).or_default().push(record));
            }
            index
        });
        let agrees = |record: &&usize| {
            let known = inputs[**record].iter().zip(hashes);
            inputs[**record].len() == hashes.len() && known.into_iter().all(|(is, hash)| hash.is_none_or(|h| h == *is))
        };
        index.get(&hash).into_iter().flatten().any(|record| agrees(&record))
    }
}

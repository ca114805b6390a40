//! The plan with its names resolved: who reads what of whom. It must not hold what is out of date.

pub mod select;

use crate::command::Failure;
use crate::diagnostic::Diagnostic;
use crate::stage::{Plan, Source, Task, mistake};
use crate::store::files::{LEDGER, MANIFEST};
use std::collections::{BTreeMap, BTreeSet};

/// An input with its source found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Edge {
    /// A raw file by its path in the study.
    Raw(String),
    /// An output of another task, both by their index.
    Output {
        /// Index of the producer.
        task: usize,
        /// Index among its outputs.
        output: usize,
    },
}

/// A task with its neighbours.
#[derive(Debug, Clone)]
pub struct Node<'p> {
    /// The task.
    pub task: &'p Task,
    /// Its name.
    pub name: String,
    /// Its inputs, in the declared order.
    pub inputs: Vec<Edge>,
    /// Those who read its outputs, each once, sorted.
    pub users: Vec<usize>,
}

/// A file of `results/` with its source found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Published {
    /// Index of the producer.
    pub task: usize,
    /// Index among its outputs.
    pub output: usize,
}

/// All tasks of a plan; producers stand before their users, so the order of the plan is an order of work.
#[derive(Debug, Clone)]
pub struct Graph<'p> {
    /// The plan.
    pub plan: &'p Plan,
    /// Its tasks.
    pub nodes: Vec<Node<'p>>,
    /// Its publications by path.
    pub published: BTreeMap<&'p str, Published>,
}

impl<'p> Graph<'p> {
    /// Resolves a plan.
    ///
    /// # Errors
    /// If names are not unique or refer to nothing, or a user stands before its producer: mistakes in the program.
    pub fn new(plan: &'p Plan) -> Result<Self, Failure> {
        resolve(plan).map_err(|what| Failure::input(mistake(format!("plan: {what}"))))
    }

    /// Paths of all raw files that are read, each once, sorted.
    pub fn raw(&self) -> BTreeSet<&str> {
        let edges = self.nodes.iter().flat_map(|node| &node.inputs);
        edges.filter_map(|edge| if let Edge::Raw(path) = edge { Some(path.as_str()) } else { None }).collect()
    }
}

fn resolve(plan: &Plan) -> Result<Graph<'_>, String> {
    let stages: BTreeSet<&str> = plan.stages.iter().copied().collect();
    let mut index: BTreeMap<String, usize> = BTreeMap::new();
    let mut nodes: Vec<Node<'_>> = Vec::with_capacity(plan.tasks.len());
    for (at, task) in plan.tasks.iter().enumerate() {
        let name = task.name();
        check_task(task, &name, &stages)?;
        let inputs: Vec<Edge> =
            task.inputs.iter().map(|input| edge(&input.source, plan, &index, &name)).collect::<Result<_, _>>()?;
        for producer in producers(&inputs) {
            nodes[producer].users.push(at);
        }
        if index.insert(name.clone(), at).is_some() {
            return Err(format!("two tasks are called `{name}`"));
        }
        nodes.push(Node { task, name, inputs, users: Vec::new() });
    }
    let published = publications(plan, &index)?;
    Ok(Graph { plan, nodes, published })
}

/// The tasks that these inputs come from, each once.
pub fn producers(inputs: &[Edge]) -> BTreeSet<usize> {
    inputs.iter().filter_map(|edge| if let Edge::Output { task, .. } = edge { Some(*task) } else { None }).collect()
}

fn check_task(task: &Task, name: &str, stages: &BTreeSet<&str>) -> Result<(), String> {
    if !stages.contains(task.stage) {
        return Err(format!("`{name}` belongs to no stage of the plan"));
    }
    if !name.is_ascii() {
        return Err(format!("the name `{name}` is not ASCII"));
    }
    let unique = distinct(task.inputs.iter().map(|input| input.name.as_str()))
        && distinct(task.outputs.iter().map(|output| output.name))
        && distinct(task.settings.iter().map(|group| group.role));
    if unique { Ok(()) } else { Err(format!("`{name}` uses one name for two inputs, outputs or roles")) }
}

fn distinct<'a>(mut names: impl Iterator<Item = &'a str>) -> bool {
    let mut seen = BTreeSet::new();
    names.all(|name| seen.insert(name))
}

fn edge(source: &Source, plan: &Plan, index: &BTreeMap<String, usize>, user: &str) -> Result<Edge, String> {
    match source {
        Source::Raw(path) => Ok(Edge::Raw(path.clone())),
        Source::Task { task, output } => {
            let (task, output) = find(task, output, plan, index).map_err(|what| format!("`{user}` reads {what}"))?;
            Ok(Edge::Output { task, output })
        }
    }
}

fn find(task: &str, output: &str, plan: &Plan, index: &BTreeMap<String, usize>) -> Result<(usize, usize), String> {
    let at = *index.get(task).ok_or_else(|| format!("`{task}`, which is not among the tasks before it"))?;
    let output = plan.tasks[at].outputs.iter().position(|o| o.name == output);
    output.map(|output| (at, output)).ok_or_else(|| format!("an output that `{task}` does not have"))
}

fn publications<'p>(plan: &'p Plan, index: &BTreeMap<String, usize>) -> Result<BTreeMap<&'p str, Published>, String> {
    let mut published = BTreeMap::new();
    let mut folded = BTreeSet::from([MANIFEST.to_string(), LEDGER.to_string()]);
    for publication in &plan.publications {
        let path = publication.path.as_str();
        let (task, output) = find(&publication.task, publication.output, plan, index)
            .map_err(|what| format!("results/{path} takes {what}"))?;
        if !is_inside(path) || !folded.insert(path.to_lowercase()) {
            return Err(format!("results/{path} is outside of results, or asked for twice"));
        }
        published.insert(path, Published { task, output });
    }
    Ok(published)
}

/// Whether a relative path with `/` stays in its folder.
pub fn is_inside(path: &str) -> bool {
    !path.is_empty()
        && !path.contains(['\\', '\0'])
        && path.split('/').all(|part| !matches!(part, "" | "." | "..") && !part.ends_with(':'))
}

/// The diagnostic for a stage that does not exist.
pub fn unknown_stage(stage: &str, plan: &Plan) -> Failure {
    let diagnostic = Diagnostic::new(format!("there is no stage `{stage}`"));
    Failure::input(vec![diagnostic.help(format!("stages in order: {}", plan.stages.join(", ")))])
}

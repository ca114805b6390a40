//! What a task declares, in the form in which it is recorded and compared.

use super::key::canonical;
use crate::graph::{Edge, Graph};
use crate::stage::{Plan, Settings};
use crate::store::digest::Digest;
use crate::store::record::{Done, Leaf, Read, Record};
use serde_json::Value;
use std::collections::BTreeMap;

/// An input; its content is not known while its producer is out of date.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reads {
    /// Its name within the task.
    pub name: String,
    /// Path of a raw file, or name of the producer.
    pub from: String,
    /// Whether it is a raw file.
    pub raw: bool,
    /// Hash of its bytes.
    pub hash: Option<Digest>,
}

/// A task as declared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Declared {
    /// Stage.
    pub stage: String,
    /// Hash of its code.
    pub code: String,
    /// Settings, leaf by leaf.
    pub settings: Vec<Leaf>,
    /// Inputs.
    pub inputs: Vec<Reads>,
    /// Name and version of the outside tool.
    pub tool: Option<(String, String)>,
}

impl Declared {
    /// The declaration of a task of the graph, with what is known of its inputs.
    pub fn new(graph: &Graph<'_>, at: usize, hashes: &[Option<Digest>]) -> Self {
        let node = &graph.nodes[at];
        let inputs = node.inputs.iter().zip(&node.task.inputs).zip(hashes).map(|((edge, input), hash)| {
            let (from, raw) = match edge {
                Edge::Raw(path) => (path.clone(), true),
                Edge::Output { task, .. } => (graph.nodes[*task].name.clone(), false),
            };
            Reads { name: input.name.clone(), from, raw, hash: *hash }
        });
        Self {
            stage: node.task.stage.into(),
            code: node.task.code.into(),
            settings: node.task.settings.iter().flat_map(|group| leaves(group, graph.plan)).collect(),
            inputs: inputs.collect(),
            tool: node.task.tool.as_ref().map(|tool| (tool.name.to_string(), tool.version.clone())),
        }
    }

    /// The record of this task, once it has given something; inputs whose content is not known are left out.
    pub fn record(self, done: Done) -> Record {
        let read = |reads: Reads| {
            let Reads { name, from, raw, hash } = reads;
            hash.map(|hash| Read { name, from, raw, hash })
        };
        Record {
            stage: self.stage,
            code: self.code,
            settings: self.settings,
            inputs: self.inputs.into_iter().filter_map(read).collect(),
            tool: self.tool,
            done,
        }
    }
}

/// A group of settings, leaf by leaf: objects are walked, anything else is one leaf.
pub fn leaves(group: &Settings, plan: &Plan) -> Vec<Leaf> {
    let mut leaves = Vec::new();
    walk(&group.value, String::new(), &mut |leaf, value| {
        let path = match (group.path.as_str(), leaf.as_str()) {
            (path, "") => path.to_string(),
            ("", leaf) => leaf.to_string(),
            (path, leaf) => format!("{path}.{leaf}"),
        };
        let value = canonical(value);
        let Origin { written, line, above } = Origin::find(&path, &value, plan);
        leaves.push(Leaf { role: group.role.into(), leaf, path, value, written, line, above });
    });
    leaves
}

/// All settings in force, by their path in the study file, as canonical JSON.
pub fn in_force(plan: &Plan) -> BTreeMap<String, String> {
    let groups = plan.tasks.iter().flat_map(|task| &task.settings);
    let groups: BTreeMap<_, _> = groups.map(|group| ((group.path.as_str(), group.role), group)).collect();
    let leaves = groups.values().flat_map(|group| leaves(group, plan));
    leaves.map(|leaf| (leaf.path, leaf.value)).collect()
}

fn walk(value: &Value, at: String, leaf: &mut impl FnMut(String, &Value)) {
    match value {
        Value::Object(map) if !map.is_empty() => {
            for (name, value) in map {
                let below = if at.is_empty() { name.clone() } else { format!("{at}.{name}") };
                walk(value, below, leaf);
            }
        }
        _ => leaf(at, value),
    }
}

/// Where in the study file a leaf comes from.
#[derive(Default)]
struct Origin {
    written: Option<String>,
    line: Option<u64>,
    above: Option<String>,
}

impl Origin {
    /// An entry with the leaf's own path; else the first entry below it (a list); else the next one above it
    /// (a quantity that became a value and its uncertainty); else it is a default.
    fn find(path: &str, value: &str, plan: &Plan) -> Self {
        if let Some(entry) = plan.written.get(path) {
            return Self { written: Some(entry.text.clone()), line: Some(entry.line), above: None };
        }
        let after = plan.written.range(path.to_string()..).take_while(|(name, _)| name.starts_with(path));
        let below = after.filter(|(name, _)| name[path.len()..].starts_with(['.', '['])).map(|(_, entry)| entry);
        if let Some(line) = below.map(|entry| entry.line).min() {
            return Self { written: Some(value.into()), line: Some(line), above: None };
        }
        let mut above = path;
        while let Some(end) = above.rfind(['.', '[']) {
            above = &above[..end];
            if let Some(entry) = plan.written.get(above) {
                let (written, line) = (Some(entry.text.clone()), Some(entry.line));
                return Self { written, line, above: Some(above.into()) };
            }
        }
        Self::default()
    }
}

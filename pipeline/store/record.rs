//! What is remembered of a task that was built: what it read, what it gave, what it remarked.

use crate::store::digest::Digest;
use serde::{Deserialize, Serialize};

/// An output that lies in the store.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kept {
    /// Its name within the task.
    pub name: String,
    /// Hash of its bytes.
    pub hash: Digest,
    /// Its size in bytes.
    pub size: u64,
    /// Whether it is let go after some runs.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub bulky: bool,
}

/// What a task gave, under the key that it had.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Done {
    /// Key without the content of the inputs.
    pub partial: Digest,
    /// Key.
    pub key: Digest,
    /// Its outputs in the declared order.
    pub outputs: Vec<Kept>,
    /// Its remarks.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub remarks: Vec<serde_json::Value>,
}

/// One setting, as far down as objects go.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Leaf {
    /// Role of the group that it belongs to.
    pub role: String,
    /// Path below the group; empty if the group is one value.
    pub leaf: String,
    /// Path in the study file.
    pub path: String,
    /// Canonical JSON.
    pub value: String,
    /// Text as it stands in the study file; none for a default.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub written: Option<String>,
    /// Its line there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<u64>,
    /// Path of the entry that this text belongs to, where that stands above this leaf.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub above: Option<String>,
}

/// An input that was read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Read {
    /// Its name within the task.
    pub name: String,
    /// Path of a raw file, or name of the producer.
    pub from: String,
    /// Whether it is a raw file.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub raw: bool,
    /// Hash of its bytes.
    pub hash: Digest,
}

/// A task that was built.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Record {
    /// Stage.
    pub stage: String,
    /// Hash of its code.
    pub code: String,
    /// Settings, leaf by leaf.
    pub settings: Vec<Leaf>,
    /// Inputs in the declared order.
    pub inputs: Vec<Read>,
    /// Name and version of the outside tool.
    pub tool: Option<(String, String)>,
    /// What it gave.
    pub done: Done,
}

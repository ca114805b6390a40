//! Every setting of a study with its value, default, unit, range, meaning and line. Drawing the list belongs to
//! the command line.

use crate::ingest::layout::Layout;
use crate::setup::stages::Stages;
use crate::setup::walk::{Leaf, leaves};
use crate::setup::{Study, document, schema};
use serde::Serialize;
use serde_json::Value;
use std::collections::BTreeMap;

/// One setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingRow {
    /// Path in the study file.
    pub path: String,
    /// Value in force.
    pub value: Value,
    /// Its default; none where the setting belongs to a rule that is off by default.
    pub default: Option<Value>,
    /// Its unit, where it has one.
    pub unit: Option<String>,
    /// What it may be.
    pub range: Option<String>,
    /// What it is, in one sentence.
    pub meaning: String,
    /// Line in the study file, where it is written.
    pub line: Option<u64>,
}

/// The stages in the order of the data.
const STAGES: [&str; 5] = ["ingest", "clean", "reversal", "fit", "uncertainty"];

/// Every setting of the study, by stage in the order of the data, by name within.
pub fn settings(study: &Study) -> Vec<SettingRow> {
    let root = schema();
    let section = |path: &str, schema: &Value, value: Value, default: Value| {
        rows(study, leaves(&root, schema, path, &value), &leaves(&root, schema, path, &default))
    };
    let of = |key: &str| &root["properties"][key];
    let mut all = section("seed", of("seed"), study.seed.into(), of("seed")["default"].clone());
    for (name, layout) in &study.layouts {
        let path = format!("layouts.{name}");
        all.extend(section(&path, &of("layouts")["additionalProperties"], json(layout), json(&Layout::default())));
    }
    let (value, default) = (json(&study.stages), json(&Stages::default()));
    for stage in STAGES {
        let path = format!("stages.{stage}");
        let schema = &root["$defs"]["Stages"]["properties"][stage];
        all.extend(section(&path, schema, value[stage].clone(), default[stage].clone()));
    }
    all.extend(section("report", of("report"), json(&study.report), json(&document::Report::default())));
    all
}

/// The defaults of all stages, in the order of [`settings`].
pub fn defaults() -> Vec<SettingRow> {
    let root = schema();
    let default = json(&Stages::default());
    let of_stage = |stage: &&str| {
        let schema = &root["$defs"]["Stages"]["properties"][*stage];
        leaves(&root, schema, stage, &default[*stage])
    };
    let row = |leaf: Leaf| SettingRow {
        range: leaf.range(),
        default: Some(leaf.value.clone()),
        line: None,
        path: leaf.path,
        value: leaf.value,
        unit: leaf.unit,
        meaning: leaf.meaning,
    };
    STAGES.iter().flat_map(of_stage).map(row).collect()
}

fn rows(study: &Study, in_force: Vec<Leaf>, defaults: &[Leaf]) -> Vec<SettingRow> {
    let defaults: BTreeMap<&str, &Value> = defaults.iter().map(|leaf| (leaf.path.as_str(), &leaf.value)).collect();
    in_force
        .into_iter()
        .map(|leaf| SettingRow {
            range: leaf.range(),
            default: defaults.get(leaf.path.as_str()).map(|value| (*value).clone()),
            line: study.written.get(&leaf.path).map(|written| written.line),
            path: leaf.path,
            value: leaf.value,
            unit: leaf.unit,
            meaning: leaf.meaning,
        })
        .collect()
}

/// Settings are structs, maps with text keys and numbers, so that this cannot fail; null would show if it did.
pub(super) fn json<T: Serialize>(value: &T) -> Value {
    serde_json::to_value(value).unwrap_or_default()
}

//! The list of settings in a terminal or as JSON; what there is to list is known by `stages::setup::listing`.

use serde_json::Value;
use stages::setup::listing::{SettingRow, settings};
use stages::setup::{self, STUDY_FILE, Study};

/// The JSON Schema of the study file.
pub fn schema() -> String {
    serde_json::to_string_pretty(&setup::schema()).unwrap_or_default()
}

/// Every setting as JSON: a list of rows.
pub fn settings_json(study: &Study) -> String {
    serde_json::to_string_pretty(&settings(study)).unwrap_or_default()
}

/// Every setting as text: path, value in force, where it comes from, what it may be, and below it the meaning.
pub fn settings_text(study: &Study) -> String {
    settings(study).iter().map(row).collect()
}

fn row(row: &SettingRow) -> String {
    let unit = row.unit.as_ref().map_or_else(String::new, |unit| format!(" {unit}"));
    let from = match (row.line, &row.default) {
        (Some(line), Some(default)) => format!("{STUDY_FILE}:{line}; default {}", plain(default)),
        (Some(line), None) => format!("{STUDY_FILE}:{line}"),
        (None, _) => "default".to_owned(),
    };
    let range = row.range.as_ref().map_or_else(String::new, |range| format!("; {range}"));
    format!("{} = {}{unit}  ({from}{range})\n    {}\n", row.path, plain(&row.value), row.meaning)
}

fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

//! The settings of all stages as one section, and variants of it. What each setting means is in the stage's `params.rs`.

use crate::{clean, fit, ingest, reversal, uncertainty};
use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::Value;

/// Settings of the stages, in the order of the data.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Stages {
    /// Reading raw exports.
    #[serde(deserialize_with = "or_default")]
    pub ingest: ingest::params::Params,
    /// Flagging readings that must not count.
    #[serde(deserialize_with = "or_default")]
    pub clean: clean::params::Params,
    /// Finding and reading reversals, and joining them into states.
    #[serde(deserialize_with = "or_default")]
    pub reversal: reversal::params::Params,
    /// Fitting models.
    #[serde(deserialize_with = "or_default")]
    pub fit: fit::params::Params,
    /// Joining the uncertainty of instrument and sample.
    #[serde(deserialize_with = "or_default")]
    pub uncertainty: uncertainty::params::Params,
}

/// A stage whose settings are all comments, as in a fresh study file, has its defaults.
fn or_default<'de, D: Deserializer<'de>, T: Deserialize<'de> + Default>(deserializer: D) -> Result<T, D::Error> {
    Ok(Option::deserialize(deserializer)?.unwrap_or_default())
}

impl Stages {
    /// These settings with what a variant changes.
    ///
    /// # Errors
    /// If the result is no valid section: the message of serde.
    pub(super) fn varied(&self, changes: &Value) -> Result<Self, String> {
        let mut all = serde_json::to_value(self).map_err(|e| e.to_string())?;
        merge(&mut all, changes);
        serde_json::from_value(all).map_err(|e| e.to_string())
    }
}

/// Maps are merged key by key; anything else replaces what was there.
fn merge(into: &mut Value, changes: &Value) {
    match (into, changes) {
        (Value::Object(into), Value::Object(changes)) => {
            for (key, change) in changes {
                merge(into.entry(key.clone()).or_insert(Value::Null), change);
            }
        }
        // `true` leaves a rule that is on as it is; a variant that wants its defaults names them.
        (Value::Object(_), Value::Bool(true)) => {}
        (into, changes) => *into = changes.clone(),
    }
}

//! What a claim states.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A number that was, or will be, printed somewhere.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Claim {
    /// The sentence, as it stands in print.
    pub says: String,
    /// The table that holds the number: any in `tables/` but `claims`, `old_results` and the readings.
    pub table: String,
    /// Column and text or number that pick one row; set-points match by number and unit.
    #[serde(rename = "where", default)]
    pub filter: BTreeMap<String, String>,
    /// The column that holds the number.
    pub column: String,
    /// The number, in the unit of the column.
    pub value: f64,
    /// How far from it the study's value may be.
    pub within: f64,
}

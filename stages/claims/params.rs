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
    /// The table that holds the number: any in `tables/` but `claims`, `earlier_results` and the readings.
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

/// The tables and columns whose numbers the table `sensitivity` gives under every other choice.
const MOVED: [(&str, &str); 2] = [("states", "contact_share"), ("thickening", "contact_share_of_rise")];

impl Claim {
    /// Whether the number is one that other choices of settings move.
    pub fn hangs_on_sensitivity(&self) -> bool {
        MOVED.contains(&(self.table.as_str(), self.column.as_str()))
    }
}

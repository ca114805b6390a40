//! Settings of ingest, for all layouts of a study; what differs from export to export is in `layout.rs`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Settings of ingest.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// Words that stand for a missing value, beside an empty field; capitals do not matter.
    pub missing: Vec<String>,
    /// Refuse and count rows whose number cannot be read, instead of stopping at the first.
    pub refuse_unreadable: bool,
    /// Unwrap an angle that starts anew after each turn.
    pub unwrap_angle: bool,
    /// Relative change of a set-point column from one row to the next that begins a step, where the export has no step column.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub set_point_change: f64,
}

impl Default for Params {
    fn default() -> Self {
        Self {
            missing: ["-", "--", "---", "NaN", "n/a", "NA", "null", "*"].map(str::to_owned).to_vec(),
            refuse_unreadable: false,
            unwrap_angle: true,
            set_point_change: 0.01,
        }
    }
}

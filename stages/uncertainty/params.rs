//! Settings of the uncertainty stage.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Settings of the joined uncertainty, under `stages.uncertainty` of the study file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// Leave out the terms of instrument and sample; intervals then hold the scatter of the data alone.
    pub skip: bool,
    /// Monte Carlo draws of every term.
    #[schemars(range(min = 1000, max = 1_000_000))]
    pub trials: u32,
}

impl Default for Params {
    fn default() -> Self {
        // The standard deviation of a standard deviation is 1/√(2·trials): 0.5 % here, below two printed digits.
        Self { skip: false, trials: 20_000 }
    }
}

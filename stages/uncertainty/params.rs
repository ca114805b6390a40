//! Settings of the uncertainty stage.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Settings of the joined uncertainty, under `stages.uncertainty` of the study file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// Leave out the terms of instrument and sample; intervals then hold the scatter of the data alone.
    pub skip: bool,
    /// Fewest Monte Carlo draws of every term.
    #[schemars(range(min = 20_000, max = 1_000_000))]
    pub trials: u32,
    /// Most draws, for intervals whose ends do not settle to the printed digits.
    #[schemars(range(min = 20_000, max = 10_000_000))]
    pub most_trials: u32,
}

impl Default for Params {
    fn default() -> Self {
        // Two blocks of 10⁴ are the fewest that can be compared (JCGM 101:2008, 7.9.4). The ends settle to the second
        // digit of u within 3·10⁵ draws even where instrument and sample are all there is.
        Self { skip: false, trials: 20_000, most_trials: 1_000_000 }
    }
}

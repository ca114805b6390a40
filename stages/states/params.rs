//! Settings of the states stage. What they do is in `compute.rs` and its neighbours.

use crate::reversal::result::Controlled;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Settings of states, under `stages.reversal.states` of the study file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// Found values of the controlled quantity closer than this ratio are one set-point.
    #[schemars(range(min = 1.001, max = 1.5))]
    pub set_point_ratio: f64,
    /// A set-point whose found values span more than this ratio is an error.
    #[schemars(range(min = 1.001, max = 2.0))]
    pub set_point_span: f64,
    /// The lowest grade of a reversal that enters the contact share of a state.
    pub lowest_grade: LowestGrade,
    /// Part of a reversal's standard uncertainty that all reversals of one state are taken to share.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub shared_part: f64,
    /// Share of a state's reversals that must be resolved before it has a contact share.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub resolved_share: f64,
    /// Relative rise of the viscosity below which there is no thickening to explain.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub smallest_rise: f64,
    /// Set-points between which the rise of a sample is read, where they are not to be found, by sample.
    pub ends: BTreeMap<String, Ends>,
}

impl Default for Params {
    fn default() -> Self {
        Self {
            set_point_ratio: 1.05,
            set_point_span: 1.10,
            lowest_grade: LowestGrade::B,
            // What reversals of one synthetic state have in common is 0.65 to 0.85 of what each states, a bias of all of them
            // counted in; with 0.5, shares of the rise of three loadings held 0.92 (`cargo trial coverage`).
            shared_part: 0.65,
            resolved_share: 0.5,
            smallest_rise: 0.10,
            ends: BTreeMap::new(),
        }
    }
}

/// The lowest grade that enters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum LowestGrade {
    /// Only A.
    A,
    /// A and B.
    B,
    /// A, B and C.
    C,
}

/// The ends of the rise of one sample, by the labels of their set-points, for example `10 Pa`.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Ends {
    /// Low end; found where it is left out.
    pub low: Option<String>,
    /// High end; found where it is left out.
    pub high: Option<String>,
}

/// A set-point that a raw entry of the study file lists for its runs: settings role `set_points`, by run.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SetPoint {
    /// What is held.
    pub controlled: Controlled,
    /// Stress in Pa or rate in 1/s.
    pub value: f64,
}

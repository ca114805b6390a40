//! What the states stage hands on: every reversal with its set-point, the states, and the share of the rise.

use crate::reversal::result::{Controlled, Identity, Judged};
use serde::{Deserialize, Serialize};

/// A value with standard uncertainty and 95 % interval; ends are none where no interval may be claimed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// The value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Lower end.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// A reversal within the study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StudyReversal {
    /// `R0001` …, in order of run and row.
    pub reversal: String,
    /// Who the run is.
    pub identity: Identity,
    /// Label of its set-point, for example `10 1/s`; none for controls and where nothing steady precedes.
    pub set_point: Option<String>,
    /// The judged reversal.
    pub judged: Judged,
}

/// One (sample, set-point) condition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct State {
    /// Sample.
    pub sample: String,
    /// Solid volume fraction.
    pub volume_fraction: Option<f64>,
    /// Its standard uncertainty.
    pub u_volume_fraction: Option<f64>,
    /// Label of the set-point.
    pub set_point: String,
    /// What was held.
    pub controlled: Controlled,
    /// Stress, Pa.
    pub stress_pa: Option<Interval>,
    /// Rate, 1/s.
    pub rate_per_s: Option<Interval>,
    /// Viscosity, Pa s.
    pub viscosity_pa_s: Option<Interval>,
    /// η(1 − X), Pa s.
    pub hydrodynamic_viscosity_pa_s: Option<Interval>,
    /// η X, Pa s.
    pub contact_viscosity_pa_s: Option<Interval>,
    /// η over the liquid's viscosity.
    pub relative_viscosity: Option<Interval>,
    /// X; value none and only `contact_share_bound` where not resolved.
    pub contact_share: Option<Interval>,
    /// Largest bound where there is no value.
    pub contact_share_bound: Option<f64>,
    /// n − 1 over loadings; none for one loading.
    pub degrees_of_freedom: Option<f64>,
    /// Loadings that enter the value of X.
    pub loadings: u32,
    /// Reversals that enter it.
    pub reversals: u32,
    /// All reversals of the state.
    pub reversals_found: u32,
    /// Remarks.
    pub remarks: Vec<String>,
    /// Loading means behind the state: (loading, ln η, z = −ln(1 − X), u_z), z none where not resolved.
    pub loading_means: Vec<LoadingMean>,
}

/// Mean over the repeats of one loading in one state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LoadingMean {
    /// Loading.
    pub loading: String,
    /// Mean of ln(viscosity before / Pa s).
    pub ln_viscosity: f64,
    /// Mean of −ln(1 − X) over resolved reversals.
    pub z: Option<f64>,
    /// Median standard uncertainty of z.
    pub u_z: Option<f64>,
    /// Resolved reversals in it.
    pub resolved: u32,
    /// All reversals in it.
    pub found: u32,
}

/// The answer to the question of the study for one sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Verdict {
    /// Interval above ½.
    #[serde(rename = "contacts dominate")]
    ContactsDominate,
    /// Interval below ½.
    #[serde(rename = "hydrodynamics dominate")]
    HydrodynamicsDominate,
    /// Interval covers ½ or is unbounded.
    #[serde(rename = "not decided")]
    NotDecided,
    /// Rise below 10 % or not significant.
    #[serde(rename = "no thickening to explain")]
    NoThickening,
    /// Fewer than two loadings with both ends.
    #[serde(rename = "not resolved")]
    NotResolved,
}

impl Verdict {
    /// As it stands in tables and in print.
    pub const fn name(self) -> &'static str {
        match self {
            Self::ContactsDominate => "contacts dominate",
            Self::HydrodynamicsDominate => "hydrodynamics dominate",
            Self::NotDecided => "not decided",
            Self::NoThickening => "no thickening to explain",
            Self::NotResolved => "not resolved",
        }
    }
}

/// Share of the rise for one sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Thickening {
    /// Sample.
    pub sample: String,
    /// Solid volume fraction.
    pub volume_fraction: Option<f64>,
    /// Set-point of the low end.
    pub set_point_low: Option<String>,
    /// Set-point of the high end.
    pub set_point_high: Option<String>,
    /// Stress at the low end, Pa.
    pub stress_low_pa: Option<f64>,
    /// Stress at the high end, Pa.
    pub stress_high_pa: Option<f64>,
    /// States above the high end without a value.
    pub states_without_value: u32,
    /// η(high) − η(low), Pa s.
    pub viscosity_rise_pa_s: Option<f64>,
    /// The share.
    pub contact_share_of_rise: Option<Interval>,
    /// n − 1 over loading pairs.
    pub degrees_of_freedom: Option<f64>,
    /// Loadings with both ends.
    pub loadings: u32,
    /// The verdict.
    pub verdict: Verdict,
    /// Why, in words.
    pub remarks: Vec<String>,
}

/// All that the states stage gives.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct States {
    /// Every reversal, controls included, in order.
    pub reversals: Vec<StudyReversal>,
    /// States in order of sample and stress.
    pub states: Vec<State>,
    /// A row per sample that is not a control.
    pub thickening: Vec<Thickening>,
}

//! What the fit stage hands on: a row per model and parameter, how each fit ended, which of the candidate models the
//! data prefer, the flow states of the measured states, and the curves that figures draw. It must hold no rule.

pub use super::remark::{
    Allowance, Candidate, Course, Need, NeedOfFit, Preference, Remark, Side, StateRemark, StudyRemark, Trend,
};

use super::params::Loss;
use crate::physics::models::Label;
use crate::reversal::result::Controlled;
use serde::{Deserialize, Serialize};

/// Name under which the trends with the stress stand in the column of models.
pub const STRESS_TREND: &str = "stress-trend";
/// d ln η_H/d ln σ of a sample.
pub const HYDRODYNAMIC_SLOPE: Label = Label::new("hydrodynamic_slope", "d ln η_H/d ln σ", "", "");
/// dη_C/d ln σ of a sample over its mean viscosity.
pub const CONTACT_SLOPE: Label = Label::new("contact_slope", "dη_C/d ln σ over mean η", "", "");

/// Which states a model was fitted to.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Scope {
    /// Which of them.
    pub states: Selection,
    /// The particles, with the liquid where that is needed; none where all samples are of one kind.
    pub group: Option<String>,
}

/// Some of the states of a group.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Selection {
    /// All of all samples.
    All,
    /// That of the lowest stress of each sample.
    LowStress,
    /// That of the highest stress of each sample.
    HighStress,
    /// Those of this sample.
    Sample(String),
}

impl Scope {
    /// A sample alone.
    pub fn sample(name: &str) -> Self {
        Self { states: Selection::Sample(name.to_owned()), group: None }
    }

    /// As it stands in tables: `all samples`, `low stress`, a sample; the group where there are several.
    pub fn name(&self) -> String {
        let states = match &self.states {
            Selection::All => "all samples",
            Selection::LowStress => "low stress",
            Selection::HighStress => "high stress",
            Selection::Sample(sample) => sample,
        };
        match (&self.states, &self.group) {
            (_, None) => states.to_owned(),
            (Selection::All, Some(group)) => group.clone(),
            (_, Some(group)) => format!("{states}, {group}"),
        }
    }
}

/// Why the minimiser stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ending {
    /// It was not started, or found nothing finite.
    NotFitted,
    /// It ran out of evaluations.
    LimitOfEvaluations,
    /// It found a minimum.
    Converged,
}

impl Ending {
    /// As it stands in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NotFitted => "not fitted",
            Self::LimitOfEvaluations => "limit of evaluations",
            Self::Converged => "converged",
        }
    }
}

/// How the fitted law lets a state flow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Regime {
    /// It is jammed there.
    Jammed,
    /// The rate falls as the stress rises.
    UnstableBranch,
    /// The sample thickens discontinuously, the state lies on a stable branch.
    Discontinuous,
    /// The sample thickens continuously.
    Continuous,
}

impl Regime {
    /// As it stands in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Jammed => "jammed",
            Self::UnstableBranch => "unstable branch",
            Self::Discontinuous => "discontinuous",
            Self::Continuous => "continuous",
        }
    }
}

/// What a border of the flow-state diagram is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BorderKind {
    /// Stresses at which the rate has its maximum.
    RateMaximum,
    /// Stresses at which it has its minimum.
    RateMinimum,
    /// Stresses beyond which the law is jammed.
    Jamming,
}

impl BorderKind {
    /// All, in the order in which they are drawn.
    pub const ALL: [Self; 3] = [Self::RateMaximum, Self::RateMinimum, Self::Jamming];

    /// As it stands in tables and legends.
    pub const fn name(self) -> &'static str {
        match self {
            Self::RateMaximum => "rate maximum",
            Self::RateMinimum => "rate minimum",
            Self::Jamming => "jamming",
        }
    }
}

impl Candidate {
    /// All, in the order in which they are listed.
    pub const ALL: [Self; 4] =
        [Self::NoContacts, Self::ConstantShare, Self::ContactsCarryTheRise, Self::BothPartsFollowTheStress];

    /// As it stands in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::NoContacts => "no contacts",
            Self::ConstantShare => "constant share",
            Self::ContactsCarryTheRise => "contacts carry the rise",
            Self::BothPartsFollowTheStress => "both parts follow the stress",
        }
    }
}

/// A parameter of a fitted model, or a quantity that follows from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FitRow {
    /// Name of the model, as in `physics::models`; [`STRESS_TREND`] for how the two parts follow the stress.
    pub model: String,
    /// What it was fitted to.
    pub scope: Scope,
    /// Name of the parameter.
    pub parameter: String,
    /// Its unit; empty where dimensionless.
    pub unit: String,
    /// The value; none where the data do not identify it or the fit did not converge.
    pub value: Option<f64>,
    /// Standard uncertainty; none where held or not identified.
    pub u_value: Option<f64>,
    /// Lower end at 95 %, from the profile of the sum of squares for parameters.
    pub value_low: Option<f64>,
    /// Upper end.
    pub value_high: Option<f64>,
    /// Generalised sum of squares rᵀV⁻¹r at the solution.
    pub rss: Option<f64>,
    /// Data less free parameters.
    pub degrees_of_freedom: Option<f64>,
    /// Akaike's criterion with the correction for few data.
    pub aicc: Option<f64>,
    /// Bayesian criterion.
    pub bic: Option<f64>,
    /// What is to be said of it, of the parameter before of the whole fit.
    pub remarks: Vec<Remark>,
}

/// A point of a fitted flow curve with its 95 % band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FlowPoint {
    /// Stress, Pa.
    pub stress_pa: f64,
    /// Relative viscosity; with the sample's liquid it gives the rate.
    pub relative_viscosity: f64,
    /// Rate, 1/s; none where the liquid's viscosity is not known.
    pub rate_per_s: Option<f64>,
    /// Lower end of the band of the relative viscosity.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// The fitted flow curve of one sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FlowCurve {
    /// The model.
    pub model: String,
    /// The sample.
    pub sample: String,
    /// Solid fraction at which the curve is drawn: that of the sample as the fit shifts it within its uncertainty.
    pub volume_fraction: f64,
    /// The curve, by rising stress.
    pub points: Vec<FlowPoint>,
}

/// A point of a fitted law with its 95 % band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LawPoint {
    /// Solid fraction.
    pub volume_fraction: f64,
    /// Relative viscosity.
    pub relative_viscosity: f64,
    /// Lower end of the band.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// A fitted law of the relative viscosity against the solid fraction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LawCurve {
    /// The model.
    pub model: String,
    /// To which end of the stress.
    pub scope: Scope,
    /// The curve, by rising solid fraction.
    pub points: Vec<LawPoint>,
}

/// How one fit ended, and how well the model and the data go together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FitQuality {
    /// The model.
    pub model: String,
    /// What it was fitted to.
    pub scope: Scope,
    /// Data.
    pub data: u32,
    /// Free parameters of the model.
    pub free_parameters: u32,
    /// Why the minimiser stopped.
    pub ending: Ending,
    /// Starts from which it was run.
    pub starts: u32,
    /// Starts that led to the smallest sum of squares.
    pub starts_agreeing: u32,
    /// Residual evaluations from the best start.
    pub evaluations: u32,
    /// Condition number of the derivatives, columns scaled to length 1; none where the fit gives none.
    pub condition_number: Option<f64>,
    /// Parameters that sit on a bound.
    pub on_bounds: Vec<String>,
    /// What is minimised.
    pub loss: Loss,
    /// Generalised sum of squares at the solution.
    pub rss: Option<f64>,
    /// Data less free parameters.
    pub degrees_of_freedom: Option<f64>,
    /// Akaike's criterion with the correction for few data.
    pub aicc: Option<f64>,
    /// Bayesian criterion.
    pub bic: Option<f64>,
    /// Akaike weight among the models of the same data, 0 to 1; none where it is the only one.
    pub akaike_weight: Option<f64>,
    /// Names of the free parameters, in the order of the matrices.
    pub parameters: Vec<String>,
    /// Their covariance, row by row, in the units of the parameters; empty where the fit gives none.
    pub covariance: Vec<Vec<f64>>,
    /// Their correlation, row by row.
    pub correlation: Vec<Vec<f64>>,
    /// What would give the parameters that have no value.
    pub further_measurements: Vec<Need>,
    /// What is to be said of the fit as a whole.
    pub remarks: Vec<Remark>,
}

/// One of several explanations of the same data.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CandidateModel {
    /// What the data are: all samples of one kind.
    pub scope: Scope,
    /// Which.
    pub candidate: Candidate,
    /// Data.
    pub data: u32,
    /// Free parameters.
    pub free_parameters: u32,
    /// Generalised sum of squares.
    pub rss: f64,
    /// −2 ln of the largest likelihood, up to what all candidate models share.
    pub deviance: f64,
    /// Akaike's criterion with the correction for few data; none where there are too few.
    pub aicc: Option<f64>,
    /// Bayesian criterion.
    pub bic: f64,
    /// Akaike weight among the candidate models, 0 to 1.
    pub akaike_weight: Option<f64>,
    /// What the weights mean; the same for all candidate models of a scope.
    pub preference: Preference,
}

/// A datum of a fit with what the model says of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// The model.
    pub model: String,
    /// What it was fitted to.
    pub scope: Scope,
    /// Sample.
    pub sample: String,
    /// Set-point.
    pub set_point: String,
    /// Solid volume fraction as stated.
    pub volume_fraction: f64,
    /// Stress, Pa.
    pub stress_pa: f64,
    /// ln of the measured (relative) viscosity less that of the model.
    pub ln_residual: f64,
    /// The same over its own standard deviation, what it shares with other data taken off (Baarda 1968).
    pub standardised: Option<f64>,
    /// Part that the datum has in its own fitted value, 0 to 1.
    pub leverage: Option<f64>,
    /// Weight that the robust loss leaves it; 1 for least squares.
    pub weight: f64,
}

/// What the fitted law says of the flow of a measured state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FlowState {
    /// What the law was fitted to.
    pub scope: Scope,
    /// Sample.
    pub sample: String,
    /// Set-point.
    pub set_point: String,
    /// What was held.
    pub controlled: Controlled,
    /// Solid volume fraction as the fit shifts it within its uncertainty.
    pub volume_fraction: f64,
    /// Stress, Pa.
    pub stress_pa: f64,
    /// d ln γ̇/d ln σ of the fitted law there; below zero the branch is unstable at a held rate.
    pub inverse_slope: Option<f64>,
    /// Its standard uncertainty.
    pub u_inverse_slope: Option<f64>,
    /// How it flows.
    pub regime: Regime,
    /// What calls for caution.
    pub remark: Option<StateRemark>,
}

/// A border of the flow-state diagram.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Border {
    /// What it is made of.
    pub kind: BorderKind,
    /// Solid fraction and stress (Pa), by rising solid fraction.
    pub points: Vec<(f64, f64)>,
}

/// The flow-state diagram of one kind of particles.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FlowDiagram {
    /// What the law was fitted to.
    pub scope: Scope,
    /// Its borders.
    pub borders: Vec<Border>,
    /// Onset stress σ*, Pa.
    pub onset_stress_pa: f64,
    /// Jamming fraction without friction, φ_0.
    pub frictionless_jamming: f64,
    /// Jamming fraction with friction, φ_m.
    pub frictional_jamming: f64,
}

/// All that the fit stage gives.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Fits {
    /// Rows of the table `fits`.
    pub rows: Vec<FitRow>,
    /// Fitted flow curves.
    pub flow_curves: Vec<FlowCurve>,
    /// Fitted laws against the solid fraction.
    pub law_curves: Vec<LawCurve>,
    /// How each fit ended; rows of the table `models`.
    pub quality: Vec<FitQuality>,
    /// Candidate models of the contact shares.
    pub candidate_models: Vec<CandidateModel>,
    /// Data of the fits with what is left.
    pub residuals: Vec<Residual>,
    /// Measured states by what the fitted law says of their flow; rows of the table `flow_states`.
    pub flow_states: Vec<FlowState>,
    /// Flow-state diagrams.
    pub diagrams: Vec<FlowDiagram>,
    /// Left out by the study file.
    pub skipped: bool,
}

impl Fits {
    /// What is to be said of the stage as a whole, gathered from its rows.
    pub fn study_remarks(&self) -> Vec<StudyRemark> {
        let shares = self.candidate_models.chunk_by(|a, b| a.scope == b.scope).map(|rows| {
            let (scope, preference) = (rows[0].scope.clone(), rows[0].preference.clone());
            StudyRemark::ContactShares { scope, preference }
        });
        let state = |s: &FlowState| {
            let (sample, set_point) = (s.sample.clone(), s.set_point.clone());
            Some(StudyRemark::State { sample, set_point, remark: s.remark? })
        };
        let needs_of = |q: &FitQuality| {
            let (model, scope) = (q.model.clone(), q.scope.clone());
            let of_fit =
                move |need: &Need| NeedOfFit { need: need.clone(), model: model.clone(), scope: scope.clone() };
            q.further_measurements.iter().map(of_fit).collect::<Vec<_>>()
        };
        let needs: Vec<NeedOfFit> = self.quality.iter().flat_map(needs_of).collect();
        let left_out = self.skipped.then_some(StudyRemark::LeftOut);
        let needs = (!needs.is_empty()).then_some(StudyRemark::Needs { needs });
        let states = self.flow_states.iter().filter_map(state);
        left_out.into_iter().chain(shares).chain(states).chain(needs).collect()
    }
}

//! What the fit stage hands on: a row per model and parameter, how each fit ended, which of rival models the data
//! prefer, the flow states of the measured states, and the curves that figures draw. It must hold no rule.

use serde::{Deserialize, Serialize};

/// A parameter of a fitted model, or a quantity that follows from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FitRow {
    /// Name of the model, as in `physics::models`; `stress-trend` for how the two parts follow the stress.
    pub model: String,
    /// What it was fitted to: `all samples`, `low stress`, `high stress`, a sample; the particles where there are
    /// several.
    pub scope: String,
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
    /// Held, not identified, on a limit, not converged, does not fit; empty where there is nothing to say.
    pub remarks: Vec<String>,
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
    /// `low stress` or `high stress`.
    pub scope: String,
    /// The curve, by rising solid fraction.
    pub points: Vec<LawPoint>,
}

/// How one fit ended, and how well the model and the data go together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FitQuality {
    /// The model.
    pub model: String,
    /// What it was fitted to.
    pub scope: String,
    /// Data.
    pub data: u32,
    /// Free parameters of the model.
    pub free_parameters: u32,
    /// Why the minimiser stopped: `converged`, `limit of evaluations`, `not fitted`.
    pub ending: String,
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
    /// What is minimised: `squares`, `soft-l1`, `huber`.
    pub loss: String,
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
    /// What stands in the way of a value and which further measurement would remove it.
    pub further_measurements: Vec<String>,
    /// Words on the fit as a whole.
    pub remarks: Vec<String>,
}

/// One of several explanations of the same data.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CandidateModel {
    /// What the data are: all samples of one kind, or a sample.
    pub scope: String,
    /// `no contacts`, `constant share`, `contacts carry the rise`, `both parts follow the stress`.
    pub candidate: String,
    /// Data.
    pub data: u32,
    /// Free parameters.
    pub free_parameters: u32,
    /// Generalised sum of squares.
    pub rss: f64,
    /// −2 ln of the largest likelihood, up to what all rivals share.
    pub deviance: f64,
    /// Akaike's criterion with the correction for few data; none where there are too few.
    pub aicc: Option<f64>,
    /// Bayesian criterion.
    pub bic: f64,
    /// Akaike weight among the rivals, 0 to 1.
    pub akaike_weight: Option<f64>,
    /// What the weights mean, in words; the same for all rivals of a scope.
    pub words: String,
}

/// A datum of a fit with what the model says of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Residual {
    /// The model.
    pub model: String,
    /// What it was fitted to.
    pub scope: String,
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
    /// The kind of particles, or `all samples`.
    pub scope: String,
    /// Sample.
    pub sample: String,
    /// Set-point.
    pub set_point: String,
    /// `rate` or `stress`: what was held.
    pub controlled: String,
    /// Solid volume fraction as the fit shifts it within its uncertainty.
    pub volume_fraction: f64,
    /// Stress, Pa.
    pub stress_pa: f64,
    /// d ln γ̇/d ln σ of the fitted law there; below zero the branch is unstable at a held rate.
    pub inverse_slope: Option<f64>,
    /// Its standard uncertainty.
    pub u_inverse_slope: Option<f64>,
    /// `continuous`, `discontinuous`, `unstable branch`, `jammed`.
    pub regime: String,
    /// What to mind.
    pub remarks: Vec<String>,
}

/// A border of the flow-state diagram.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Border {
    /// `rate maximum`, `rate minimum`, `jamming`.
    pub name: String,
    /// Solid fraction and stress (Pa), by rising solid fraction.
    pub points: Vec<(f64, f64)>,
}

/// The flow-state diagram of one kind of particles.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FlowDiagram {
    /// The kind of particles, or `all samples`.
    pub scope: String,
    /// Its borders.
    pub borders: Vec<Border>,
    /// Onset stress σ*, Pa.
    pub onset_stress_pa: f64,
    /// Jamming fractions without and with friction.
    pub jamming_fractions: (f64, f64),
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
    /// Rival explanations of the contact shares.
    pub candidate_models: Vec<CandidateModel>,
    /// Data of the fits with what is left.
    pub residuals: Vec<Residual>,
    /// Measured states by what the fitted law says of their flow; rows of the table `flow_states`.
    pub flow_states: Vec<FlowState>,
    /// Flow-state diagrams.
    pub diagrams: Vec<FlowDiagram>,
    /// Left out by the study file.
    pub skipped: bool,
    /// Words for the report: what was fitted to what, and what could not be.
    pub remarks: Vec<String>,
}

//! What the fit stage hands on: a row per model and parameter, and the curves that figures draw.

use serde::{Deserialize, Serialize};

/// A parameter of a fitted model, or a quantity that follows from it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FitRow {
    /// `wyart-cates`, `maron-pierce`, `krieger-dougherty`.
    pub model: String,
    /// What it was fitted to: `all samples`, `low stress`, `high stress`.
    pub scope: String,
    /// Name of the parameter.
    pub parameter: String,
    /// Its unit; empty where dimensionless.
    pub unit: String,
    /// The value; none where the data do not identify it or the fit did not converge.
    pub value: Option<f64>,
    /// Standard uncertainty; none where held or not identified.
    pub u_value: Option<f64>,
    /// Lower end at 95 %, from Student's t.
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

/// All that the fit stage gives.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Fits {
    /// Rows of the table `fits`.
    pub rows: Vec<FitRow>,
    /// Fitted flow curves.
    pub flow_curves: Vec<FlowCurve>,
    /// Fitted laws against the solid fraction.
    pub law_curves: Vec<LawCurve>,
    /// Left out by the study file.
    pub skipped: bool,
    /// Words for the report: what was fitted to what, and what could not be.
    pub remarks: Vec<String>,
}

//! Rows of `fits` and `budget`, the two tables whose stages may be skipped: their heads are there all the same.

use super::column::{Column, float, joined, table, text};
use serde::{Deserialize, Serialize};
use stages::table::Table;

/// One parameter of one fitted model.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct FitRow {
    /// Name of the model.
    pub model: String,
    /// What it was fitted to: a sample, or all of them.
    pub scope: String,
    /// Name of the parameter.
    pub parameter: String,
    /// Its unit, empty for none.
    pub unit: String,
    /// Value; none where the fit does not carry one.
    pub value: Option<f64>,
    /// Standard uncertainty.
    pub u_value: Option<f64>,
    /// Lower end of the 95 % interval.
    pub value_low: Option<f64>,
    /// Upper end.
    pub value_high: Option<f64>,
    /// Weighted residual sum of squares of the model.
    pub rss: Option<f64>,
    /// Degrees of freedom of the model.
    pub degrees_of_freedom: Option<f64>,
    /// Corrected Akaike criterion of the model.
    pub aicc: Option<f64>,
    /// Bayesian criterion of the model.
    pub bic: Option<f64>,
    /// Not converged, at a bound, not identified, …
    pub remarks: Vec<String>,
}

/// What one source contributes to the uncertainty of one quantity.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct BudgetRow {
    /// The quantity, named as its column.
    pub quantity: String,
    /// Sample.
    pub sample: String,
    /// Set-point; none for quantities of a sample.
    pub set_point: Option<String>,
    /// Where the uncertainty comes from.
    pub source: String,
    /// Standard uncertainty from this source alone, in the unit of the quantity.
    pub u: Option<f64>,
    /// Part of the variance, 0–1.
    pub share: Option<f64>,
}

/// Columns of `fits`.
pub fn fits() -> Vec<Column<FitRow>> {
    vec![
        text("model", "Name of the model", |r: &FitRow| Some(r.model.clone())),
        text("scope", "What it was fitted to", |r| Some(r.scope.clone())),
        text("parameter", "Name of the parameter", |r| Some(r.parameter.clone())),
        text("unit", "Unit of the parameter; empty for none", |r| Some(r.unit.clone())),
        float("value", "", "Value, in the unit of the row; null where the fit does not carry one", |r| r.value),
        float("u_value", "", "Standard uncertainty of value", |r| r.u_value),
        float("value_low", "", "Lower end of the 95 % interval of value", |r| r.value_low),
        float("value_high", "", "Upper end of the 95 % interval of value", |r| r.value_high),
        float("rss", "", "Weighted residual sum of squares of the model", |r| r.rss),
        float("degrees_of_freedom", "", "Data less free parameters of the model", |r| r.degrees_of_freedom),
        float("aicc", "", "Corrected Akaike information criterion of the model", |r| r.aicc),
        float("bic", "", "Bayesian information criterion of the model", |r| r.bic),
        text("remarks", "Whether it converged, sits on a bound, or is not identified", |r| joined(&r.remarks)),
    ]
}

/// The table `fits`.
pub fn fits_table(rows: &[FitRow]) -> Table {
    table(&fits(), rows)
}

/// Columns of `budget`.
pub fn budget() -> Vec<Column<BudgetRow>> {
    vec![
        text("quantity", "The quantity, named as its column", |r: &BudgetRow| Some(r.quantity.clone())),
        text("sample", "Sample", |r| Some(r.sample.clone())),
        text("set_point", "Set-point; null for quantities of a sample", |r| r.set_point.clone()),
        text("source", "Where the uncertainty comes from", |r| Some(r.source.clone())),
        float("u", "", "Standard uncertainty from this source alone, in the unit of the quantity", |r| r.u),
        float("share", "", "Part of the variance, 0 to 1", |r| r.share),
    ]
}

/// The table `budget`.
pub fn budget_table(rows: &[BudgetRow]) -> Table {
    table(&budget(), rows)
}

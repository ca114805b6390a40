//! Columns of `models`, `candidate_models` and `flow_states`: how each fit ended, the candidate models of the contact
//! shares, and what the fitted law says of the flow of each state.

use super::column::{Column, joined, said};
use crate::text::remarks::fit as words;
use stages::fit::result::{CandidateModel, FitQuality, FlowState};

/// Columns of `models`.
pub fn models() -> Vec<Column<FitQuality>> {
    vec![
        Column::text("model", "Name of the model", |q: &FitQuality| Some(q.model.clone())),
        Column::text("scope", "What it was fitted to", |q| Some(q.scope.name())),
        Column::int("data", "Data", |q| Some(i64::from(q.data))),
        Column::int("free_parameters", "Free parameters of the model", |q| Some(i64::from(q.free_parameters))),
        Column::text("ending", "Why the minimiser stopped", |q| Some(q.ending.name().to_owned())),
        Column::int("starts", "Starts from which it was run", |q| Some(i64::from(q.starts))),
        Column::int("starts_agreeing", "Starts that led to the smallest sum of squares", |q| {
            Some(i64::from(q.starts_agreeing))
        }),
        Column::int("evaluations", "Evaluations of the residuals from the best start", |q| {
            Some(i64::from(q.evaluations))
        }),
        Column::float("condition_number", "", "Condition number of the derivatives, columns scaled to length 1", |q| {
            q.condition_number
        }),
        Column::text("on_bounds", "Parameters that sit on a bound", |q| joined(&q.on_bounds)),
        Column::text("loss", "What is minimised", |q| Some(q.loss.name().to_owned())),
        Column::float("rss", "", "Weighted residual sum of squares", |q| q.rss),
        Column::float("degrees_of_freedom", "", "Data less free parameters", |q| q.degrees_of_freedom),
        Column::float("aicc", "", "Corrected Akaike information criterion", |q| q.aicc),
        Column::float("bic", "", "Bayesian information criterion", |q| q.bic),
        Column::float("akaike_weight", "", "Akaike weight among the models of the same data, 0 to 1", |q| {
            q.akaike_weight
        }),
        Column::text("further_measurements", "Which measurement would give what has no value", |q| {
            said(&q.further_measurements, words::need)
        }),
        Column::text("remarks", "What is to be said of the fit as a whole", |q| said(&q.remarks, words::words)),
    ]
}

/// Columns of `candidate_models`.
pub fn candidate_models() -> Vec<Column<CandidateModel>> {
    vec![
        Column::text("scope", "Whose contact shares are explained", |r: &CandidateModel| Some(r.scope.name())),
        Column::text("candidate", "The explanation", |r| Some(r.candidate.name().to_owned())),
        Column::int("data", "Data", |r| Some(i64::from(r.data))),
        Column::int("free_parameters", "Free parameters", |r| Some(i64::from(r.free_parameters))),
        Column::float("rss", "", "Weighted residual sum of squares", |r| Some(r.rss)),
        Column::float(
            "deviance",
            "",
            "−2 ln of the largest likelihood, up to what all candidate models share",
            |r| Some(r.deviance),
        ),
        Column::float("aicc", "", "Corrected Akaike information criterion", |r| r.aicc),
        Column::float("bic", "", "Bayesian information criterion", |r| Some(r.bic)),
        Column::float("akaike_weight", "", "Akaike weight among the candidate models, 0 to 1", |r| r.akaike_weight),
        Column::text("words", "What the weights mean", |r| Some(words::preference(&r.preference))),
    ]
}

/// Columns of `flow_states`.
pub fn flow_states() -> Vec<Column<FlowState>> {
    vec![
        Column::text("scope", "What the law was fitted to", |s: &FlowState| Some(s.scope.name())),
        Column::text("sample", "Sample", |s| Some(s.sample.clone())),
        Column::text("set_point", "Set-point", |s| Some(s.set_point.clone())),
        Column::text("controlled", "Whether rate or stress was held", |s| Some(s.controlled.name().to_owned())),
        Column::float(
            "volume_fraction",
            "",
            "Solid volume fraction as the fit shifts it within its uncertainty",
            |s| Some(s.volume_fraction),
        ),
        Column::float("stress_pa", "Pa", "Stress", |s| Some(s.stress_pa)),
        Column::float(
            "inverse_slope",
            "",
            "d ln rate/d ln stress of the fitted law; below zero unstable at a held rate",
            |s| s.inverse_slope,
        ),
        Column::float("u_inverse_slope", "", "Standard uncertainty of inverse_slope", |s| s.u_inverse_slope),
        Column::text("regime", "Continuous, discontinuous, unstable branch or jammed", |s| {
            Some(s.regime.name().to_owned())
        }),
        Column::text("remarks", "What to mind", |s| s.remark.map(|r| words::state(r).to_owned())),
    ]
}

//! Columns of `models`, `candidate_models` and `flow_states`: how each fit ended, rival explanations of the contact shares, and
//! what the fitted law says of the flow of each state.

use super::column::{Column, float, int, joined, table, text};
use stages::fit::result::{CandidateModel, FitQuality, FlowState};
use stages::table::Table;

/// Columns of `models`.
pub fn models() -> Vec<Column<FitQuality>> {
    vec![
        text("model", "Name of the model", |q: &FitQuality| Some(q.model.clone())),
        text("scope", "What it was fitted to", |q| Some(q.scope.clone())),
        int("data", "Data", |q| Some(i64::from(q.data))),
        int("free_parameters", "Free parameters of the model", |q| Some(i64::from(q.free_parameters))),
        text("ending", "Why the minimiser stopped", |q| Some(q.ending.clone())),
        int("starts", "Starts from which it was run", |q| Some(i64::from(q.starts))),
        int("starts_agreeing", "Starts that led to the smallest sum of squares", |q| {
            Some(i64::from(q.starts_agreeing))
        }),
        int("evaluations", "Evaluations of the residuals from the best start", |q| Some(i64::from(q.evaluations))),
        float("condition_number", "", "Condition number of the derivatives, columns scaled to length 1", |q| {
            q.condition_number
        }),
        text("on_bounds", "Parameters that sit on a bound", |q| joined(&q.on_bounds)),
        text("loss", "What is minimised", |q| Some(q.loss.clone())),
        float("rss", "", "Weighted residual sum of squares", |q| q.rss),
        float("degrees_of_freedom", "", "Data less free parameters", |q| q.degrees_of_freedom),
        float("aicc", "", "Corrected Akaike information criterion", |q| q.aicc),
        float("bic", "", "Bayesian information criterion", |q| q.bic),
        float("akaike_weight", "", "Akaike weight among the models of the same data, 0 to 1", |q| q.akaike_weight),
        text("further_measurements", "Which measurement would give what has no value", |q| {
            joined(&q.further_measurements)
        }),
        text("remarks", "What is to be said of the fit as a whole", |q| joined(&q.remarks)),
    ]
}

/// The table `models`.
pub fn models_table(rows: &[FitQuality]) -> Table {
    table(&models(), rows)
}

/// Columns of `candidate_models`.
pub fn candidate_models() -> Vec<Column<CandidateModel>> {
    vec![
        text("scope", "Whose contact shares are explained", |r: &CandidateModel| Some(r.scope.clone())),
        text("candidate", "The explanation", |r| Some(r.candidate.clone())),
        int("data", "Data", |r| Some(i64::from(r.data))),
        int("free_parameters", "Free parameters", |r| Some(i64::from(r.free_parameters))),
        float("rss", "", "Weighted residual sum of squares", |r| Some(r.rss)),
        float("deviance", "", "−2 ln of the largest likelihood, up to what all rivals share", |r| Some(r.deviance)),
        float("aicc", "", "Corrected Akaike information criterion", |r| r.aicc),
        float("bic", "", "Bayesian information criterion", |r| Some(r.bic)),
        float("akaike_weight", "", "Akaike weight among the rivals, 0 to 1", |r| r.akaike_weight),
        text("words", "What the weights mean", |r| Some(r.words.clone())),
    ]
}

/// The table `candidate_models`.
pub fn candidate_models_table(rows: &[CandidateModel]) -> Table {
    table(&candidate_models(), rows)
}

/// Columns of `flow_states`.
pub fn flow_states() -> Vec<Column<FlowState>> {
    vec![
        text("scope", "What the law was fitted to", |s: &FlowState| Some(s.scope.clone())),
        text("sample", "Sample", |s| Some(s.sample.clone())),
        text("set_point", "Set-point", |s| Some(s.set_point.clone())),
        text("controlled", "Whether rate or stress was held", |s| Some(s.controlled.clone())),
        float("volume_fraction", "", "Solid volume fraction as the fit shifts it within its uncertainty", |s| {
            Some(s.volume_fraction)
        }),
        float("stress_pa", "Pa", "Stress", |s| Some(s.stress_pa)),
        float(
            "inverse_slope",
            "",
            "d ln rate/d ln stress of the fitted law; below zero unstable at a held rate",
            |s| s.inverse_slope,
        ),
        float("u_inverse_slope", "", "Standard uncertainty of inverse_slope", |s| s.u_inverse_slope),
        text("regime", "Continuous, discontinuous, unstable branch or jammed", |s| Some(s.regime.clone())),
        text("remarks", "What to mind", |s| joined(&s.remarks)),
    ]
}

/// The table `flow_states`.
pub fn flow_states_table(rows: &[FlowState]) -> Table {
    table(&flow_states(), rows)
}

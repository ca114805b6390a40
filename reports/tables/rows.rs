//! Columns of `fits`, `budget`, `sensitivity`, `claims` and `earlier_results`, the tables that may have no rows: their heads
//! are there all the same.

use super::column::{Column, said};
use crate::text::remarks::states::choice;
use crate::text::remarks::{claims as claim_words, fit as fit_words};
use crate::text::sources;
use stages::claims::result::ClaimRow;
use stages::earlier_results::result::EarlierRow;
use stages::fit::result::FitRow;
use stages::uncertainty::result::{BudgetRow, SensitivityRow};

/// Columns of `fits`.
pub fn fits() -> Vec<Column<FitRow>> {
    vec![
        Column::text("model", "Name of the model", |r: &FitRow| Some(r.model.clone())),
        Column::text("scope", "What it was fitted to", |r| Some(r.scope.name())),
        Column::text("parameter", "Name of the parameter", |r| Some(r.parameter.clone())),
        Column::text("unit", "Unit of the parameter; empty for none", |r| Some(r.unit.clone())),
        Column::float("value", "", "Value, in the unit of the row; null where the fit does not carry one", |r| r.value),
        Column::float("u_value", "", "Standard uncertainty of value", |r| r.u_value),
        Column::float("value_low", "", "Lower end of the 95 % interval of value", |r| r.value_low),
        Column::float("value_high", "", "Upper end of the 95 % interval of value", |r| r.value_high),
        Column::float("rss", "", "Weighted residual sum of squares of the model", |r| r.rss),
        Column::float("degrees_of_freedom", "", "Data less free parameters of the model", |r| r.degrees_of_freedom),
        Column::float("aicc", "", "Corrected Akaike information criterion of the model", |r| r.aicc),
        Column::float("bic", "", "Bayesian information criterion of the model", |r| r.bic),
        Column::text("remarks", "Whether it converged, sits on a bound, or is not identified", |r| {
            said(&r.remarks, fit_words::words)
        }),
    ]
}

/// Columns of `budget`.
pub fn budget() -> Vec<Column<BudgetRow>> {
    vec![
        Column::text("quantity", "The quantity, named as its column", |r: &BudgetRow| {
            Some(r.quantity.column().to_owned())
        }),
        Column::text("sample", "Sample", |r| Some(r.sample.clone())),
        Column::text("set_point", "Set-point; null for quantities of a sample", |r| r.set_point.clone()),
        Column::text("source", "Where the uncertainty comes from", |r| Some(sources::name(&r.source))),
        Column::float("u", "", "Standard uncertainty from this source alone, in the unit of the quantity", |r| {
            Some(r.u)
        }),
        Column::float("share", "", "Part of the variance, 0 to 1", |r| Some(r.share)),
    ]
}

/// Columns of `sensitivity`.
pub fn sensitivity() -> Vec<Column<SensitivityRow>> {
    vec![
        Column::text("quantity", "The quantity, named as its column", |r: &SensitivityRow| {
            Some(r.quantity.column().to_owned())
        }),
        Column::text("sample", "Sample", |r| Some(r.sample.clone())),
        Column::text("set_point", "Set-point; null for quantities of a sample", |r| r.set_point.clone()),
        Column::text("choice", "The settings in force, or what was chosen instead", |r| {
            Some(choice(r.choice.as_ref()))
        }),
        Column::truth(
            "decides",
            "Whether the verdict must stand under it; not under another quantity of the same name",
            |r| Some(r.decides()),
        ),
        Column::float("value", "", "Value under this choice; null where it leaves none", |r| {
            r.interval.map(|i| i.value)
        }),
        Column::float("u_value", "", "Standard uncertainty of value", |r| r.interval.map(|i| i.u)),
        Column::float("value_low", "", "Lower end of the 95 % interval of value", |r| r.interval.and_then(|i| i.low)),
        Column::float("value_high", "", "Upper end of the 95 % interval of value", |r| r.interval.and_then(|i| i.high)),
        Column::text("verdict", "The answer for the sample under this choice; null for a contact share", |r| {
            r.verdict.map(|v| v.name().to_owned())
        }),
    ]
}

/// Columns of `claims`.
pub fn claims() -> Vec<Column<ClaimRow>> {
    vec![
        Column::text("says", "The sentence that was or will be printed", |c: &ClaimRow| Some(c.says.clone())),
        Column::float("value", "", "The number in it, in the unit of the column it names", |c| Some(c.value)),
        Column::float("found", "", "What the study gives; null where it gives no number", |c| c.found),
        Column::float("u_found", "", "Standard uncertainty of found", |c| c.u_found),
        Column::float("within", "", "How far found may lie from value", |c| Some(c.within)),
        Column::truth("holds", "Whether it lies within", |c| Some(c.holds)),
        Column::text("remarks", "Why it does not hold, or what speaks against it", |c| {
            c.remark.as_ref().map(claim_words::words)
        }),
    ]
}

/// Columns of `earlier_results`.
pub fn earlier_results() -> Vec<Column<EarlierRow>> {
    vec![
        Column::text("earlier_table", "Name of the earlier table in the study file", |r: &EarlierRow| {
            Some(r.name.clone())
        }),
        Column::text("row", "What picks the row", |r| Some(r.row.clone())),
        Column::text("column", "The column of ours that holds the number", |r| Some(r.column.clone())),
        Column::float("old", "", "The old number, in the unit of the column", |r| r.old),
        Column::float("u_old", "", "Standard uncertainty of old; null where the earlier table has none", |r| r.u_old),
        Column::float("new", "", "What the raw exports give; null where they give no value", |r| r.new),
        Column::float("u_new", "", "Standard uncertainty of new", |r| r.u_new),
        Column::float("difference", "", "Old less new", |r| r.difference),
        Column::float("in_u", "", "Size of the difference in its standard uncertainties", |r| r.in_u),
        Column::text("outcome", "Matched, differs, only in the earlier table, or only in the study", |r| {
            Some(r.outcome.name().to_owned())
        }),
    ]
}

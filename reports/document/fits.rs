//! The fits as they are printed: the parameters, what is said of each fit, the candidate models of the contact shares. What
//! is published in full is in `tables`.

use super::printed::{Printed, or_missing, printed};
use crate::text::remarks::fit::{fits_a_cell, of_study, preference, words};
use crate::text::{models, numbers, said};
use stages::fit::result::{CandidateModel, FitRow, Fits, Remark, Scope, StudyRemark};
use stages::states::result::Interval;

/// Rows of one fit: a model and what it was fitted to.
fn same_fit(a: &FitRow, b: &FitRow) -> bool {
    (&a.model, &a.scope) == (&b.model, &b.scope)
}

/// Remarks of all parameters that were fitted; one that was held says nothing of the fit.
fn common_remarks(rows: &[FitRow]) -> Vec<&Remark> {
    let fitted: Vec<&FitRow> = rows.iter().filter(|r| !r.remarks.contains(&Remark::Held)).collect();
    let in_all = |remark: &&Remark| fitted.iter().all(|r| r.remarks.contains(remark));
    fitted.first().map_or_else(Vec::new, |first| first.remarks.iter().filter(in_all).collect())
}

/// Fits that were made; what is said of fits, and sentences on one parameter, stand in [`remarks`].
pub(super) fn parameters(rows: &[FitRow]) -> Printed {
    let columns = [
        ("model", "left"),
        ("fitted to", "left"),
        ("parameter", "symbol"),
        ("value", "right"),
        ("unit", "left"),
        ("95 %", "left"),
        ("AICc", "right"),
    ];
    let made = |rows: &&[FitRow]| rows.iter().any(|r| r.u_value.is_some());
    printed(&columns, rows.chunk_by(same_fit).filter(made).flat_map(rows_of_fit).collect()).grouped(&[0])
}

/// Rows of one fit; its criterion stands once.
fn rows_of_fit(rows: &[FitRow]) -> Vec<Vec<String>> {
    let common = common_remarks(rows);
    let row = |(i, f): (usize, &FitRow)| {
        let own = f.remarks.iter().filter(|r| !common.contains(r) && fits_a_cell(r));
        let own: Vec<String> = own.map(words).collect();
        let own = if own.is_empty() { String::new() } else { format!(" ({})", own.join("; ")) };
        let u = f.u_value.unwrap_or(f64::NAN);
        let interval = f.value.map(|value| Interval { value, u, low: f.value_low, high: f.value_high });
        vec![
            models::name(&f.model).to_owned(),
            f.scope.name(),
            models::parameter(&f.parameter) + &own,
            or_missing(f.value.map(|v| numbers::plus_minus(v, u))),
            models::unit(&f.parameter),
            or_missing(interval.as_ref().map(numbers::interval)),
            if i == 0 { or_missing(f.aicc.map(numbers::plain)) } else { String::new() },
        ]
    };
    rows.iter().enumerate().map(row).collect()
}

/// Fits of one model of which the same is said.
struct SaidOfFits<'a> {
    model: &'a str,
    remarks: Vec<&'a Remark>,
    scopes: Vec<&'a Scope>,
}

/// What is said of each fit: one row for all fits of a model of which the same is said.
pub(super) fn remarks(rows: &[FitRow]) -> Printed {
    let mut met: Vec<SaidOfFits<'_>> = Vec::new();
    for rows in rows.chunk_by(same_fit) {
        let (model, remarks, scope) = (models::name(&rows[0].model), remarks_of_fit(rows), &rows[0].scope);
        match met.iter_mut().find(|said| (said.model, &said.remarks) == (model, &remarks)) {
            Some(said) => said.scopes.push(scope),
            None => met.push(SaidOfFits { model, remarks, scopes: vec![scope] }),
        }
    }
    let joined = |of: Vec<String>| of.join("; ");
    let row = |said: SaidOfFits<'_>| {
        let text = joined(said.remarks.into_iter().map(words).collect());
        vec![said.model.to_owned(), joined(said.scopes.into_iter().map(Scope::name).collect()), said::sentence(&text)]
    };
    let rows = met.into_iter().filter(|said| !said.remarks.is_empty()).map(row).collect();
    printed(&[("model", "left"), ("fitted to", "wide"), ("remarks", "text")], rows).grouped(&[0])
}

/// What is said of all parameters of a fit, then what is too long for the cells of single ones; each once.
fn remarks_of_fit(rows: &[FitRow]) -> Vec<&Remark> {
    let mut all = common_remarks(rows);
    for remark in rows.iter().flat_map(|r| &r.remarks).filter(|r| !fits_a_cell(r)) {
        if !all.contains(&remark) {
            all.push(remark);
        }
    }
    all
}

/// Remarks on the fits as a whole, as sentences; what compares candidate models stands in their table.
pub(super) fn sentences(fits: &Fits) -> Vec<String> {
    let all = fits.study_remarks();
    let elsewhere = |r: &&StudyRemark| matches!(r, StudyRemark::ContactShares { .. });
    all.iter().filter(|r| !elsewhere(r)).map(|r| said::sentence(&of_study(r))).collect()
}

/// Candidate models, and over those of one group what their weights mean.
pub(super) fn candidate_models(candidate_models: &[CandidateModel]) -> Printed {
    let columns = [
        ("candidate model", "wide"),
        ("states", "right"),
        ("free parameters", "right"),
        ("sum of squares", "right"),
        ("AICc", "right"),
        ("BIC", "right"),
        ("weight", "right"),
    ];
    let row = |r: &CandidateModel| {
        vec![
            r.candidate.name().to_owned(),
            r.data.to_string(),
            r.free_parameters.to_string(),
            numbers::plain(r.rss),
            or_missing(r.aicc.map(numbers::plain)),
            numbers::plain(r.bic),
            or_missing(r.akaike_weight.map(weight)),
        ]
    };
    let group = |rows: &[CandidateModel]| {
        let head = format!("{}: {}", rows[0].scope.name(), preference(&rows[0].preference));
        std::iter::once(vec![said::sentence(&head)]).chain(rows.iter().map(row)).collect::<Vec<_>>()
    };
    printed(&columns, candidate_models.chunk_by(|a, b| a.scope == b.scope).flat_map(group).collect())
}

/// A weight as per cent, down to a tenth of one.
fn weight(share: f64) -> String {
    if share < 0.001 { format!("< {}", numbers::percent(0.001)) } else { numbers::percent(share) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;
    use stages::fit::result::{Candidate, Preference};

    fn row(sample: &str, parameter: &str, remarks: &[Remark]) -> FitRow {
        let (scope, remarks) = (Scope::sample(sample), remarks.to_vec());
        FitRow { scope, parameter: parameter.into(), remarks, ..fixture::fits().rows[0].clone() }
    }

    #[test]
    fn what_is_said_of_fits_is_said_once_and_as_sentences() {
        let far = Remark::Stresses { states: 2, low_pa: 1.0, high_pa: 3.0 };
        let rows = [
            row("A", "phi_0", std::slice::from_ref(&far)),
            row("A", "phi_m", std::slice::from_ref(&far)),
            row("B", "phi_0", &[far.clone(), Remark::NotSeparated]),
        ];
        let printed = remarks(&rows);
        assert_eq!(printed.rows.len(), 2, "{printed:?}");
        assert_eq!(printed.rows[0][1..], ["A", "States from 1.00 to 3.00 Pa."]);
        assert_eq!(
            printed.rows[1][2],
            "States from 1.00 to 3.00 Pa; not identified: the data do not tell the parameters apart."
        );
    }

    #[test]
    fn a_short_remark_stands_beside_its_parameter() {
        let rows = [row("A", "alpha", &[Remark::Held]), row("A", "phi_0", &[])];
        assert_eq!(parameters(&rows).rows[0][2], "α, exponent of the divergence (held)");
        assert!(remarks(&rows).rows.is_empty());
    }

    #[test]
    fn candidate_models_stand_below_what_the_data_prefer() {
        let possible = vec![(Candidate::ConstantShare, 0.59)];
        let row = |sample: &str, candidate: Candidate| CandidateModel {
            scope: Scope::sample(sample),
            candidate,
            data: 8,
            free_parameters: 2,
            rss: 7.4,
            deviance: 1.0,
            aicc: None,
            bic: 3.0,
            akaike_weight: Some(0.59),
            preference: Preference::NotDecided { possible: possible.clone(), none_fits: false },
        };
        let (share, none) = (Candidate::ConstantShare, Candidate::NoContacts);
        let table = candidate_models(&[row("A", share), row("A", none), row("B", share)]);
        assert_eq!(table.rows[0][0].replace('\u{a0}', " "), "A: the data do not decide: “constant share” 59 %.");
        assert_eq!(table.rows.len(), 5);
        assert_eq!(table.rows[1][0], "constant share");
    }
}

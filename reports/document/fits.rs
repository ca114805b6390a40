//! The fits as they are printed: the parameters, what is said of each fit, the rival explanations of the contact
//! shares. What is published in full is in `tables`.

use super::printed::{Printed, or_missing, printed};
use crate::text::words::{listed, number, shortened};
use crate::text::{models, numbers, said};
use stages::fit::result::{CandidateModel, FitRow, Fits};
use stages::states::result::Interval;

/// How remarks of the fit stage begin that stand in the table of rivals.
const OF_RIVALS: &str = "contact shares, ";
/// How the remark begins that gathers advice.
const ADVICE: &str = "what would tell more: ";

/// Rows of one fit: a model and what it was fitted to.
fn same_fit(a: &FitRow, b: &FitRow) -> bool {
    (&a.model, &a.scope) == (&b.model, &b.scope)
}

/// Whether a remark is too long for a cell of the table of parameters; 40 characters are about a column.
fn is_sentence(remark: &str) -> bool {
    remark.chars().count() > 40
}

/// Remarks of all parameters that were fitted; one that was held says nothing of the fit.
fn common_remarks(rows: &[FitRow]) -> Vec<String> {
    let fitted: Vec<&FitRow> = rows.iter().filter(|r| !r.remarks.iter().any(|remark| remark == "held")).collect();
    let in_all = |remark: &&String| fitted.iter().all(|r| r.remarks.contains(remark));
    fitted.first().map_or_else(Vec::new, |first| first.remarks.iter().filter(in_all).cloned().collect())
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
    printed(&columns, rows.chunk_by(same_fit).filter(made).flat_map(of_fit).collect()).grouped(&[0])
}

/// Rows of one fit; its criterion stands once.
fn of_fit(rows: &[FitRow]) -> Vec<Vec<String>> {
    let common = common_remarks(rows);
    let row = |(i, f): (usize, &FitRow)| {
        let own = f.remarks.iter().filter(|r| !common.contains(r) && !is_sentence(r));
        let own: Vec<String> = own.map(|r| said::printed(r)).collect();
        let own = if own.is_empty() { String::new() } else { format!(" ({})", own.join("; ")) };
        let u = f.u_value.unwrap_or(f64::NAN);
        let interval = f.value.map(|value| Interval { value, u, low: f.value_low, high: f.value_high });
        vec![
            models::name(&f.model).to_owned(),
            f.scope.clone(),
            models::parameter(&f.parameter).to_owned() + &own,
            or_missing(f.value.map(|v| numbers::plus_minus(v, u))),
            f.unit.clone(),
            or_missing(interval.as_ref().map(numbers::interval)),
            if i == 0 { or_missing(f.aicc.map(numbers::plain)) } else { String::new() },
        ]
    };
    rows.iter().enumerate().map(row).collect()
}

/// What is said of each fit: one row for all fits of a model of which the same is said.
pub(super) fn remarks(rows: &[FitRow]) -> Printed {
    let mut met: Vec<(&str, String, Vec<String>)> = Vec::new();
    for rows in rows.chunk_by(same_fit) {
        let (model, text) = (models::name(&rows[0].model), of_whole_fit(rows));
        match met.iter_mut().find(|(m, t, _)| (*m, t.as_str()) == (model, text.as_str())) {
            Some((_, _, scopes)) => scopes.push(rows[0].scope.clone()),
            None => met.push((model, text, vec![rows[0].scope.clone()])),
        }
    }
    let row = |(model, text, scopes): (&str, String, Vec<String>)| vec![model.to_owned(), scopes.join("; "), text];
    let met = met.into_iter().filter(|(_, text, _)| !text.is_empty());
    printed(&[("model", "left"), ("fitted to", "wide"), ("what is said of it", "text")], met.map(row).collect())
        .grouped(&[0])
}

fn of_whole_fit(rows: &[FitRow]) -> String {
    let common = common_remarks(rows);
    let own = rows.iter().flat_map(|r| &r.remarks).filter(|r| !common.contains(r) && is_sentence(r));
    let mut all: Vec<&String> = Vec::new();
    for remark in common.iter().chain(own) {
        if !all.contains(&remark) {
            all.push(remark);
        }
    }
    said::sentence(&with_parameters_named(&all.into_iter().cloned().collect::<Vec<_>>().join("; ")))
}

/// Remarks on the fits as a whole, as sentences; what compares rivals stands in their table.
pub(super) fn words(fits: &Fits) -> Vec<String> {
    let kept = fits.remarks.iter().filter(|r| !r.starts_with(OF_RIVALS));
    kept.map(|r| said::sentence(&r.strip_prefix(ADVICE).map_or_else(|| r.clone(), advice))).collect()
}

/// Something by its name.
type Named<T> = (String, T);

/// Advice on all fits: `what for MODEL (scope)` said once for all models and scopes that need the same.
fn advice(text: &str) -> String {
    let mut met: Vec<Named<Vec<Named<Vec<String>>>>> = Vec::new();
    for piece in text.split("; ") {
        let (what, of) = piece.rsplit_once(" for ").unwrap_or((piece, ""));
        let (model, scope) = of.strip_suffix(')').and_then(|of| of.split_once(" (")).unwrap_or((of, ""));
        let models = entry(&mut met, what);
        if !model.is_empty() {
            entry(models, model).push(scope.to_owned());
        }
    }
    let of_model = |(model, scopes): Named<Vec<String>>| {
        let scopes: Vec<String> = scopes.into_iter().filter(|scope| !scope.is_empty()).collect();
        let names = scopes.iter().all(|scope| !scope.contains(','));
        let scopes = if names { shortened(scopes.into_iter()) } else { scopes.join("; ") };
        if scopes.is_empty() { model } else { format!("{model} ({scopes})") }
    };
    let of_advice = |(what, models): Named<Vec<Named<Vec<String>>>>| {
        let models = listed(models.into_iter().map(of_model));
        let what = in_words(&what);
        if models.is_empty() { what } else { format!("{what} for {models}") }
    };
    format!("{ADVICE}{}", met.into_iter().map(of_advice).collect::<Vec<_>>().join("; "))
}

/// The entry of a name, made where there is none yet.
fn entry<'a, T: Default>(met: &'a mut Vec<Named<T>>, name: &str) -> &'a mut T {
    let at = met.iter().position(|(known, _)| known == name).unwrap_or(met.len());
    if at == met.len() {
        met.push((name.to_owned(), T::default()));
    }
    &mut met[at].1
}

/// `at least 2 rates` as `at least two rates`.
fn in_words(what: &str) -> String {
    let word = |word: &str| word.parse::<u64>().map_or_else(|_| word.to_owned(), number);
    what.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

/// Parameters in what is said of fits: the words for names that are none, symbols for letters.
fn with_parameters_named(text: &str) -> String {
    let name = |word: &str| match models::parameter(word).split_once(", ") {
        Some((_, words)) if word.contains('_') => words.to_owned(),
        Some((symbol, _)) if ["alpha", "beta"].contains(&word) => symbol.to_owned(),
        _ => word.to_owned(),
    };
    text.split(' ').map(name).collect::<Vec<_>>().join(" ")
}

/// Rival explanations, and over those of one group what their weights mean.
pub(super) fn candidate_models(candidate_models: &[CandidateModel]) -> Printed {
    let columns = [
        ("explanation of the contact shares", "wide"),
        ("states", "right"),
        ("free parameters", "right"),
        ("sum of squares", "right"),
        ("AICc", "right"),
        ("BIC", "right"),
        ("weight", "right"),
    ];
    let row = |r: &CandidateModel| {
        vec![
            r.candidate.clone(),
            r.data.to_string(),
            r.free_parameters.to_string(),
            numbers::plain(r.rss),
            or_missing(r.aicc.map(numbers::plain)),
            numbers::plain(r.bic),
            or_missing(r.akaike_weight.map(weight)),
        ]
    };
    let group = |rows: &[CandidateModel]| {
        let head = said::sentence(&format!("{}: {}", rows[0].scope, verdict(&rows[0].words)));
        std::iter::once(vec![head]).chain(rows.iter().map(row)).collect::<Vec<_>>()
    };
    printed(&columns, candidate_models.chunk_by(|a, b| a.scope == b.scope).flat_map(group).collect())
}

/// A weight as per cent, down to a tenth of one.
fn weight(share: f64) -> String {
    if share < 0.001 { format!("< {}", numbers::percent(0.001)) } else { numbers::percent(share) }
}

/// What the data prefer, without the words on what weights mean, which the caption says once.
fn verdict(words: &str) -> String {
    listed(words.split("; ").filter(|part| !part.starts_with("weights compare")).map(str::to_owned))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    fn row(scope: &str, parameter: &str, remarks: &[&str]) -> FitRow {
        let remarks = remarks.iter().map(|r| (*r).to_owned()).collect();
        FitRow { scope: scope.into(), parameter: parameter.into(), remarks, ..fixture::fits().rows[0].clone() }
    }

    #[test]
    fn what_is_said_of_fits_is_said_once_and_as_sentences() {
        let far = "states from 1 to 3 Pa";
        let rows = [row("low", "a", &[far]), row("low", "b", &[far]), row("high", "a", &[far, "held at -1"])];
        let printed = remarks(&rows);
        assert_eq!(printed.rows.len(), 2, "{printed:?}");
        assert_eq!(printed.rows[0][1..], ["low", "States from 1 to 3 Pa."]);
        assert_eq!(printed.rows[1][2], "States from 1 to 3 Pa; held at \u{2212}1.");
    }

    #[test]
    fn advice_that_many_fits_need_is_given_once() {
        let samples = (1..=20).map(|i| format!("a wider range of rates for Cross (S{i})"));
        let pieces: Vec<String> = ["measure more", "at least 2 solid fractions for Eilers (low stress, beads in oil)"]
            .map(str::to_owned)
            .into_iter()
            .chain(samples)
            .collect();
        let fits = Fits { remarks: vec![format!("{ADVICE}{}", pieces.join("; "))], ..fixture::fits() };
        assert_eq!(
            words(&fits),
            [
                "What would tell more: measure more; at least two solid fractions for Eilers (low stress, beads in oil); a \
              wider range of rates for Cross (S1, S2, S3, S4, S5 and 15 others)."
            ]
        );
    }

    #[test]
    fn parameters_have_their_words_in_what_is_said() {
        let rows = [row("low", "a", &["with yield_stress on its bound 0 at any time, and beta held"])];
        assert_eq!(remarks(&rows).rows[0][2], "With yield stress on its bound 0 at any time, and β held.");
    }

    #[test]
    fn rivals_stand_below_what_the_data_prefer() {
        let words = "the data do not decide: “x” 59 %; weights compare these explanations only, they say no more";
        let candidate = |scope: &str, name: &str| CandidateModel {
            scope: scope.into(),
            candidate: name.into(),
            data: 8,
            free_parameters: 2,
            rss: 7.4,
            deviance: 1.0,
            aicc: None,
            bic: 3.0,
            akaike_weight: Some(0.59),
            words: words.into(),
        };
        let table = candidate_models(&[candidate("A", "x"), candidate("A", "y"), candidate("B", "x")]);
        assert_eq!(table.rows[0], ["A: the data do not decide: “x” 59 %."]);
        assert_eq!(table.rows.len(), 5);
        assert_eq!(table.rows[1][0], "x");
    }
}

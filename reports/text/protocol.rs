//! The protocol as it was measured: what the exports themselves tell of runs, senses, strains and times. Nothing that
//! somebody wrote down, and no result.

use super::numbers::{plain, whole};
use super::words::{counted, listed};
use stages::reversal::result::{Controlled, GradedRun};
use stages::states::result::{States, StudyReversal};
use std::collections::BTreeSet;

/// Paragraphs, each with its sentences; empty where nothing was measured.
pub fn paragraphs(runs: &[GradedRun], states: &States) -> Vec<String> {
    let asked: Vec<&StudyReversal> = states.reversals.iter().filter(|r| !r.identity.control).collect();
    let mut out = Vec::new();
    if !runs.is_empty() {
        out.push(found(runs));
    }
    if !asked.is_empty() {
        let sentences = [sheared(&asked), held(&asked), when(runs)];
        out.push(sentences.into_iter().flatten().collect::<Vec<_>>().join(" "));
    }
    out
}

/// How many exports, samples, loadings, reversals.
fn found(runs: &[GradedRun]) -> String {
    let of = |control: bool| -> Vec<&GradedRun> { runs.iter().filter(|r| r.identity.control == control).collect() };
    let (asked, controls) = (of(false), of(true));
    let samples: BTreeSet<&str> = asked.iter().map(|r| r.identity.sample.as_str()).collect();
    let loadings: BTreeSet<_> = asked.iter().map(|r| (&r.identity.sample, &r.identity.loading)).collect();
    let reversals = |runs: &[&GradedRun]| counted(runs.iter().map(|r| r.reversals.len() as u64).sum(), "reversal");
    let mut text = format!(
        "Found in the exports: {} of {} in {}, with {}",
        counted(asked.len() as u64, "run"),
        counted(samples.len() as u64, "sample"),
        counted(loadings.len() as u64, "loading"),
        reversals(&asked)
    );
    match controls.len() {
        0 => text.push_str("; no control."),
        n => text.push_str(&format!("; {} with {}.", counted(n as u64, "control run"), reversals(&controls))),
    }
    text
}

/// Smallest, median and largest of some values, in words.
fn spread(values: impl Iterator<Item = f64>, printed: impl Fn(f64) -> String) -> Option<String> {
    let mut values: Vec<f64> = values.filter(|v| v.is_finite() && *v > 0.0).collect();
    values.sort_by(f64::total_cmp);
    let (low, high) = (values.first()?, values.last()?);
    let middle = printed(values[values.len() / 2]);
    let (low, high) = (printed(*low), printed(*high));
    Some(if low == high { middle } else { format!("{middle} ({low} to {high})") })
}

/// Strain before and after, as recorded.
fn sheared(reversals: &[&StudyReversal]) -> Option<String> {
    let before = reversals.iter().filter_map(|r| r.graded.read.before.as_ref());
    let record = spread(before.clone().map(|b| b.record_strain), plain)?;
    let after = spread(reversals.iter().map(|r| r.graded.read.strain_after), plain)?;
    let readings = spread(before.map(|b| f64::from(b.readings)), |n| whole(n as u64))?;
    Some(format!(
        "Medians, with the smallest and the largest in brackets: before a reversal a strain of {record} in one sense \
         and at one set-point is on record, after it one of {after}; the window before holds {readings} readings."
    ))
}

/// What was held, and over which range.
fn held(reversals: &[&StudyReversal]) -> Option<String> {
    let of = |held: Controlled| {
        let mine = reversals.iter().filter(move |r| r.graded.read.controlled == held);
        let n = mine.clone().count();
        let value = move |r: &&&StudyReversal| {
            let before = r.graded.read.before.as_ref()?;
            Some(if held == Controlled::Stress { before.stress_pa.value } else { before.rate_per_s.value })
        };
        let values: Vec<f64> = mine.filter_map(|r| value(&r)).collect();
        let (low, high) = values.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), v| (a.min(*v), b.max(*v)));
        let unit = if held == Controlled::Stress { "Pa" } else { "1/s" };
        (!values.is_empty()).then(|| {
            let range = if plain(low) == plain(high) {
                format!("at {} {unit}", plain(low))
            } else {
                format!("from {} to {} {unit}", plain(low), plain(high))
            };
            format!("{} in {} {range}", held.name(), counted(n as u64, "reversal"))
        })
    };
    let parts: Vec<String> = [of(Controlled::Rate), of(Controlled::Stress)].into_iter().flatten().collect();
    let parts = parts.into_iter().map(|part| format!("the {part}"));
    let parts = listed(parts);
    (!parts.is_empty()).then(|| format!("Held was {parts}."))
}

/// `2026-10-03` as `3 October 2026`; what is no date as it is.
fn day(iso: &str) -> String {
    iso.parse::<jiff::civil::Date>().map_or_else(|_| iso.to_owned(), |date| date.strftime("%-d %B %Y").to_string())
}

/// When the runs began, as their exports say.
fn when(runs: &[GradedRun]) -> Option<String> {
    let days: BTreeSet<&str> = runs.iter().filter_map(|r| r.identity.started.as_deref()?.get(..10)).collect();
    match (days.first(), days.last()) {
        (Some(first), Some(last)) if first != last => {
            Some(format!("Runs began between {} and {}.", day(first), day(last)))
        }
        (Some(first), _) => Some(format!("Runs began on {}.", day(first))),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    #[test]
    fn one_run_and_many_read_well() {
        let (runs, states) = (fixture::runs(), fixture::states());
        let text = paragraphs(&runs, &states).join(" ");
        assert!(text.starts_with("Found in the exports: ") && text.contains(" control run"), "{text}");
        let one: Vec<GradedRun> = runs.into_iter().filter(|r| !r.identity.control).take(1).collect();
        let text = paragraphs(&one, &States::default()).join(" ");
        assert!(text.contains("one run of one sample in one loading") && text.ends_with("; no control."), "{text}");
        assert!(paragraphs(&[], &States::default()).is_empty());
        assert_eq!(day("2026-10-03"), "3 October 2026");
        assert_eq!(day("tomorrow"), "tomorrow");
    }
}

//! What the controls say, as a printed table and as the line on the first page. It decides nothing.

use super::printed::{Printed, or_missing, printed};
use crate::text::numbers;
use crate::text::words::{among, counted, listed, shortened};
use stages::reversal::result::{Control, GradedRun};
use std::collections::BTreeSet;

/// A row per control: mean, extremes of single reversals, and the time that is not used.
pub(super) fn controls(controls: &[Control], graded: &[GradedRun]) -> Printed {
    let columns = [
        ("instrument", "name"),
        ("geometry", "name"),
        ("control runs", "name"),
        ("reversals", "right"),
        ("apparent contact share, mean", "right"),
        ("single reversals", "right"),
        ("time not used / s", "right"),
        ("drop", "left"),
    ];
    let row = |c: &Control| {
        let identity = graded.iter().find(|run| c.runs.contains(&run.identity.run)).map(|run| &run.identity);
        vec![
            or_missing(identity.map(|i| i.instrument.clone())),
            or_missing(identity.map(|i| i.geometry.clone())),
            shortened(c.runs.iter().cloned()),
            c.reversals.to_string(),
            or_missing(c.contact_share.map(|x| numbers::concise(x.value, x.u))),
            or_missing(extremes(c, graded)),
            or_missing(c.dead_time_s.map(|t| numbers::significant(t, 2))),
            verdict(c).to_owned(),
        ]
    };
    printed(&columns, controls.iter().map(row).collect())
}

fn verdict(control: &Control) -> &'static str {
    match control.contact_share {
        _ if control.failed => "yes: the control failed",
        Some(_) => "none",
        None => "not told",
    }
}

/// `−0.008 to 0.003`: the resolved reversals of a control.
fn extremes(control: &Control, graded: &[GradedRun]) -> Option<String> {
    let of_control = graded.iter().filter(|run| control.runs.contains(&run.identity.run));
    let mut shares: Vec<f64> =
        of_control.flat_map(|run| &run.reversals).filter_map(|r| Some(r.contact_share?.value)).collect();
    shares.sort_by(f64::total_cmp);
    let (low, high) = (shares.first()?, shares.last()?);
    Some(format!("{} to {}", numbers::significant(*low, 2), numbers::significant(*high, 2)))
}

/// Samples that were measured with what a failed control speaks for.
fn of_failed(controls: &[Control], graded: &[GradedRun]) -> String {
    let with = |run: &GradedRun| {
        let same = |other: &&GradedRun| {
            (&other.identity.instrument, &other.identity.geometry) == (&run.identity.instrument, &run.identity.geometry)
        };
        let failed = controls.iter().filter(|c| c.failed);
        failed.flat_map(|c| graded.iter().filter(|other| c.runs.contains(&other.identity.run))).any(|c| same(&c))
    };
    let names = |some: &dyn Fn(&GradedRun) -> bool| {
        let of = graded.iter().filter(|run| !run.identity.control && some(run));
        of.map(|run| run.identity.sample.clone()).collect::<BTreeSet<_>>().into_iter().collect::<Vec<_>>()
    };
    let (some, all) = (names(&with), names(&|_| true));
    if some.is_empty() { String::new() } else { format!(", which concerns {}", among(&some, &all, "sample")) }
}

/// What the controls say, for the first page.
pub(super) fn note(controls: &[Control], graded: &[GradedRun]) -> String {
    if controls.is_empty() {
        return "The study has no control: what the instrument itself does at a reversal is not known.".to_owned();
    }
    let named = |c: &Control| {
        let run = graded.iter().find(|run| c.runs.contains(&run.identity.run));
        run.map_or_else(String::new, |r| format!(" ({}, {})", r.identity.instrument, r.identity.geometry))
    };
    let told = |c: &&Control| c.contact_share.map(|x| format!("{}{}", numbers::plus_minus(x.value, x.u), named(c)));
    let of = |failed: bool| listed(controls.iter().filter(|c| c.failed == failed).filter_map(|c| told(&c)));
    let (failed, held) = (of(true), of(false));
    if !failed.is_empty() {
        let others = if held.is_empty() { String::new() } else { format!(" The other controls show no drop: {held}.") };
        return format!(
            "A control failed: where there must be none, the Newtonian liquid shows a drop of {failed}. No reversal of the \
             same instrument and geometry counts{}.{others}",
            of_failed(controls, graded)
        );
    }
    let silent = controls.iter().filter(|c| c.contact_share.is_none()).count();
    match (held.is_empty(), silent) {
        (true, _) => "No reversal of a control could be resolved: what the instrument does is not known.".to_owned(),
        (false, 0) => format!("The controls show no drop: apparent contact share {held}, where it must be zero."),
        (false, n) => format!(
            "Controls show no drop: apparent contact share {held}, where it must be zero; {} could not be resolved.",
            counted(n as u64, "control")
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    #[test]
    fn a_control_that_failed_is_said_first() {
        let (good, runs) = (fixture::control(), fixture::runs());
        assert!(
            note(std::slice::from_ref(&good), &runs).contains("show no drop"),
            "{}",
            note(std::slice::from_ref(&good), &runs)
        );
        let bad = Control { failed: true, ..good.clone() };
        assert!(note(&[good.clone(), bad], &runs).starts_with("A control failed"));
        // What it concerns is named, and the others are not passed over.
        let elsewhere = Control { runs: vec!["raw/other.txt".to_owned()], ..good.clone() };
        let text = note(&[Control { failed: true, ..good.clone() }, elsewhere], &runs);
        assert!(text.contains("which concerns ") && text.contains("The other controls show no drop"), "{text}");
        let silent = Control { contact_share: None, ..good.clone() };
        assert!(note(std::slice::from_ref(&silent), &runs).starts_with("No reversal of a control"));
        assert!(note(&[good, silent], &runs).ends_with("one control could not be resolved."));
        assert!(note(&[], &runs).starts_with("The study has no control"));
    }
}

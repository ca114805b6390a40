//! The analyst's choices: headline numbers under every other defensible setting, and verdicts that hang on one.
//!
//! Choices are not a source of uncertainty to be added up (nobody draws them); they are shown, and a verdict that one
//! of them takes away is not given.

use super::result::SensitivityRow;
use crate::states::result::{Alternative, State, States, Thickening, Verdict};

/// What stands in the column of choices for the settings in force.
pub const IN_FORCE: &str = "settings in force";

/// Contact share of every state and share of the rise of every sample, as in force and under every choice.
pub(super) fn rows(states: &States, alternatives: &[Alternative]) -> Vec<SensitivityRow> {
    let mut rows = Vec::new();
    for (k, state) in states.states.iter().enumerate().filter(|(_, s)| s.contact_share.is_some()) {
        rows.push(of_state(IN_FORCE, true, state));
        rows.extend(alternatives.iter().filter_map(|a| Some(of_state(&a.choice, a.decides, a.states.get(k)?))));
    }
    for row in states.thickening.iter().filter(|t| t.contact_share_of_rise.is_some()) {
        rows.push(of_rise(IN_FORCE, true, row));
        let other = |a: &Alternative| {
            let own = a.thickening.iter().find(|t| t.sample == row.sample)?;
            Some(of_rise(&a.choice, a.decides, own))
        };
        rows.extend(alternatives.iter().filter_map(other));
    }
    rows
}

fn of_state(choice: &str, decides: bool, state: &State) -> SensitivityRow {
    SensitivityRow {
        quantity: "contact_share".to_owned(),
        sample: state.sample.clone(),
        set_point: Some(state.set_point.clone()),
        choice: choice.to_owned(),
        decides,
        interval: state.contact_share,
        verdict: None,
    }
}

fn of_rise(choice: &str, decides: bool, row: &Thickening) -> SensitivityRow {
    SensitivityRow {
        quantity: "contact_share_of_rise".to_owned(),
        sample: row.sample.clone(),
        set_point: None,
        choice: choice.to_owned(),
        decides,
        interval: row.contact_share_of_rise,
        verdict: Some(row.verdict),
    }
}

/// Takes back every verdict that does not stand under all choices that decide; one that leaves no value says nothing.
pub(super) fn settle(states: &mut States, alternatives: &[Alternative]) {
    for row in &mut states.thickening {
        if !matches!(row.verdict, Verdict::ContactsDominate | Verdict::HydrodynamicsDominate) {
            continue;
        }
        let own = |a: &'_ Alternative| a.thickening.iter().find(|t| t.sample == row.sample).map(|t| t.verdict);
        let against: Vec<String> = alternatives
            .iter()
            .filter(|a| a.decides)
            .filter_map(|a| Some((a, own(a).filter(|v| *v != row.verdict && *v != Verdict::NotResolved)?)))
            .map(|(a, verdict)| format!("{} ({})", a.choice, verdict.name()))
            .collect();
        if !against.is_empty() {
            row.reason = format!("{}, but the verdict hangs on a choice: {}", row.reason, against.join(", "));
            row.verdict = Verdict::NotDecided;
        }
    }
}

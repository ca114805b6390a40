//! The analyst's choices: headline numbers under every other defensible setting, and verdicts that hang on one.
//!
//! Choices are not a source of uncertainty to be added up (nobody draws them); they are shown, and a verdict that one
//! of them takes away is not given.

use super::result::{HeadlineQuantity, SensitivityRow};
use crate::states::result::{Alternative, Choice, OtherVerdict, Reason, State, States, Thickening, Verdict};

/// Contact share of every state and share of the rise of every sample, as in force and under every choice.
pub(super) fn rows(states: &States, alternatives: &[Alternative]) -> Vec<SensitivityRow> {
    let mut rows = Vec::new();
    for (k, state) in states.states.iter().enumerate().filter(|(_, s)| s.contact_share.is_some()) {
        rows.push(of_state(None, state));
        rows.extend(alternatives.iter().filter_map(|a| Some(of_state(Some(&a.choice), a.states.get(k)?))));
    }
    for row in states.thickening.iter().filter(|t| t.contact_share_of_rise.is_some()) {
        rows.push(of_rise(None, row));
        rows.extend(alternatives.iter().filter_map(|a| Some(of_rise(Some(&a.choice), of_sample(a, &row.sample)?))));
    }
    rows
}

fn of_sample<'a>(alternative: &'a Alternative, sample: &str) -> Option<&'a Thickening> {
    alternative.thickening.iter().find(|t| t.sample == sample)
}

fn of_state(choice: Option<&Choice>, state: &State) -> SensitivityRow {
    SensitivityRow {
        quantity: HeadlineQuantity::ContactShare,
        sample: state.sample.clone(),
        set_point: Some(state.set_point.clone()),
        choice: choice.cloned(),
        interval: state.contact_share,
        verdict: None,
    }
}

fn of_rise(choice: Option<&Choice>, row: &Thickening) -> SensitivityRow {
    SensitivityRow {
        quantity: HeadlineQuantity::ContactShareOfRise,
        sample: row.sample.clone(),
        set_point: None,
        choice: choice.cloned(),
        interval: row.contact_share_of_rise,
        verdict: Some(row.verdict()),
    }
}

/// Takes back every verdict that does not stand under all choices that decide; one that leaves no value says nothing.
pub(super) fn settle(states: &mut States, alternatives: &[Alternative]) {
    for row in &mut states.thickening {
        let above_half = match row.reason {
            Reason::AboveHalf => true,
            Reason::BelowHalf => false,
            _ => continue,
        };
        let speaks_against = |v: &Verdict| *v != row.verdict() && *v != Verdict::NotResolved;
        let other = |a: &Alternative| {
            let verdict = of_sample(a, &row.sample).map(Thickening::verdict).filter(speaks_against)?;
            Some(OtherVerdict { choice: a.choice.clone(), verdict })
        };
        let against: Vec<_> = alternatives.iter().filter(|a| a.choice.decides()).filter_map(other).collect();
        if !against.is_empty() {
            row.reason = Reason::ChoiceDecides { above_half, against };
        }
    }
}

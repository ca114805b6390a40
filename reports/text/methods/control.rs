//! What is said of the control.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::setting;
use crate::text::words::{counted, either, multiple, number};
use stages::reversal::rules;
use stages::states::result::States;

pub(super) fn sentences(settings: &InForce, states: &States) -> Vec<Sentence> {
    let reversals = states.reversals.iter().filter(|r| r.identity.control).count();
    if reversals == 0 {
        return vec![say(
            "The study has no control: what the instrument itself does after a turn is not known from measurement.",
            &["count of control reversals"],
        )];
    }
    let control = &settings.reversal.control;
    vec![
        say(
            format!(
                "A Newtonian liquid under the same protocol must show no drop; {} of it {} what the instrument does. Of the \
                 curve only H, E₁ and E₂ are fitted to it, and its contact share is 1 − H.",
                counted(reversals as u64, "reversal"),
                if reversals == 1 { "tells" } else { "tell" }
            ),
            &["count of control reversals"],
        ),
        say(
            format!(
                "The time until its torque is back within {} standard uncertainties in {} bins of time in a row, the longest of \
                 all its reversals, is not used in any run of that instrument and geometry{}; bins of time end at {} ms and \
                 grow by a factor of {}. The control fails if its mean apparent contact share differs from zero by more than \
                 two standard uncertainties and by more than {}.",
                multiple(control.back_within),
                number(rules::AGREEING as u64),
                later(settings),
                setting(rules::TIME_BINS.0 * 1e3),
                setting(rules::TIME_BINS.1),
                setting(control.failed_share)
            ),
            &["stages.reversal.control", "stages.reversal.choices.dead_strain"],
        ),
        say(
            "What torque a control still shows between the first usable strain and strain 0.1, per change of rate, and half \
             the sum of its steady torques in the two senses, times 2 − X, are divided by the torque of each reversal on the \
             same instrument and geometry and added to its uncertainty in quadrature, where they exceed two standard \
             uncertainties of their own.",
            &["count of control reversals"],
        ),
    ]
}

/// What becomes of a reversal in which the control comes back late.
fn later(settings: &InForce) -> String {
    let factors = settings.reversal.choices.on().map_or(&[][..], |c| &c.dead_strain);
    if factors.is_empty() {
        return ": a reversal that was read from an earlier strain on has no value".to_owned();
    }
    let factors = either(factors.iter().map(|f| setting(*f)));
    format!(
        ": a reversal that could be read from an earlier strain on is read again from {factors} times that strain on, \
         the first of these that is late enough, and has no value if none is; plateau, minimum and the drawn curve stay \
         those of the first reading"
    )
}

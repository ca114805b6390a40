//! What is said of the control.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{count, setting};
use crate::text::words::listed;
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
                "A Newtonian liquid under the same protocol must show no drop; {} of it {} what the instrument does.",
                count(reversals as u64, "reversal"),
                if reversals == 1 { "tells" } else { "tell" }
            ),
            &["count of control reversals"],
        ),
        say(
            format!(
                "The time until its torque is back within {} standard uncertainties is not used in any run of that \
                 instrument and geometry{}. The control fails if its mean apparent contact share differs from zero by \
                 more than two standard uncertainties and by more than {}.",
                setting(control.back_within),
                later(settings),
                setting(control.failed_share)
            ),
            &["stages.reversal.control", "stages.reversal.choices.dead_strain"],
        ),
    ]
}

/// What becomes of a reversal in which the control comes back late.
fn later(settings: &InForce) -> String {
    let factors = settings.reversal.choices.on().map_or(&[][..], |c| &c.dead_strain);
    if factors.is_empty() {
        return ": a reversal that was read from an earlier strain on has no value".to_owned();
    }
    let factors = listed(factors.iter().map(|f| setting(*f))).replace(" and ", " or ");
    format!(
        ": a reversal that could be read from an earlier strain on is read again from {factors} times that strain on, \
         the first of these that is late enough, and has no value if none is; plateau, minimum and the drawn curve stay \
         those of the first reading"
    )
}

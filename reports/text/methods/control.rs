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
                 all its reversals, is not used in any run of that instrument and geometry{}. Its torque is compared with the \
                 rate times the median torque per rate over strain 0.5 to 2. The first bin ends at {} ms and each next one {} \
                 times later; the readings of a bin wander together, so that their mean is as uncertain as one of them, \
                 √(w² + 2s²) of the torque. The time is the mean time of the first of the {} bins, zero where it is the very \
                 first with readings. The control fails if its mean apparent contact share differs from zero by more than \
                 two standard uncertainties and by more than {}.",
                multiple(control.back_within),
                number(rules::AGREEING as u64),
                later(),
                setting(rules::TIME_BINS.0 * 1e3),
                setting(rules::TIME_BINS.1),
                number(rules::AGREEING as u64),
                setting(control.failed_share)
            ),
            &["stages.reversal.control", "stages.reversal.dead"],
        ),
        say(
            "To the variance of X of every reversal on the same instrument and geometry add (ΔM/M)² and [(2 − X)·M₀/M]², M \
             being its steady torque before, ΔM the mean torque that the control still shows between the times of the first \
             usable strain and of strain 0.1, per change of rate, times the change of rate, and M₀ half the sum of the control's \
             steady torques in the two senses; either only where it exceeds two standard uncertainties of its own.",
            &["count of control reversals"],
        ),
    ]
}

/// What becomes of a reversal in which the control comes back late.
fn later() -> String {
    let factors = either(rules::LATER.iter().map(|f| setting(*f)));
    format!(
        ": a reversal that could be read from an earlier strain on is read again from {factors} times that strain on, \
         the first of these that is late enough, and has no value if none is; the first usable strain that is tabulated and \
         held against its limit is that of the control's time, while the trace enters from the later one; plateau, minimum \
         and the drawn curve stay those of the first reading"
    )
}

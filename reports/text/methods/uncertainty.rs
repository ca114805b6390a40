//! What is said of uncertainties.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::whole;

pub(super) fn sentences(settings: &InForce) -> Vec<Sentence> {
    let mut out = vec![
        say(
            "Numbers are rounded to two significant digits of their standard uncertainty, which stands in brackets or \
             after ±.",
            &["count of printed numbers"],
        )
        .citing(&["jcgm-100"]),
    ];
    if !settings.uncertainty.skip {
        out.push(
            say(
                format!(
                    "Terms of instrument and sample were drawn {} times from normal distributions (seed {}), up to {} times \
                     where the ends of an interval had not settled to the printed digits, each draw shared by all \
                     reversals that it touches, and joined with the scatter of the data. What a draw does to ln η and to \
                     −ln(1 − X) of a reversal is the parabola through what the term does at its standard uncertainty \
                     either way; inertia acts on X through a second fit, radius, angle, gap and calibration on η alone.",
                    whole(u64::from(settings.uncertainty.trials)),
                    settings.seed,
                    whole(u64::from(settings.uncertainty.most_trials))
                ),
                &["stages.uncertainty.trials", "stages.uncertainty.most_trials", "seed"],
            )
            .citing(&["jcgm-101"]),
        );
    }
    out
}

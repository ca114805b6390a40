//! What is said of the readings after a reversal and of the contact share.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{setting, setting_percent};
use stages::reversal::rules;

pub(super) fn sentences(settings: &InForce) -> Vec<Sentence> {
    vec![
        usable(settings),
        say(
            "The contact share X is one minus the ratio of the viscosity at zero strain to the steady one before; for the \
             fitted curve it is C/(H + C).",
            &["stages.reversal.fit"],
        )
        .citing(&["gadala-maria-1980", "lin-2015"]),
        say(
            format!(
                "To its standard uncertainty adds, in quadrature, what the place of strain zero is uncertain by (the speed \
                 times the time between the readings there, over √12), from a second fit with strains moved by as much. Its 95 % \
                 interval is that of −ln(1 − X), ±{} u/(1 − X).",
                setting(rules::TWO_SIDED)
            ),
            &["stages.reversal.fit"],
        ),
    ]
}

/// From which reading on a trace is used.
fn usable(settings: &InForce) -> Sentence {
    let dead = &settings.reversal.dead;
    let inertia = settings.clean.instrument_inertia.on().map_or_else(String::new, |rule| {
        format!("inertia takes less than {} of the sample torque, and ", setting_percent(rule.share))
    });
    let text = format!(
        "Readings after the turn are used once, under a held rate, the speed is within {} of its median over strain {} to \
         {} (and the noise of the speed), {inertia}{} ρh²/η have passed, in which momentum crosses the gap h.",
        setting_percent(dead.speed_band),
        setting(rules::ARRIVED.0),
        setting(rules::ARRIVED.1),
        setting(dead.diffusion)
    );
    say(text, &["stages.reversal.dead", "stages.clean.instrument_inertia"]).citing(&["ewoldt-2015"])
}

//! What is said of the readings after a reversal and of the contact share.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{setting, setting_percent};

pub(super) fn sentences(settings: &InForce) -> Vec<Sentence> {
    vec![
        usable(settings),
        say(
            "The contact share is one less the ratio of the viscosity at zero strain, H of the fitted curve, to the \
             steady one before.",
            &["stages.reversal.fit"],
        )
        .citing(&["gadala-maria-1980", "lin-2015"]),
    ]
}

/// From which reading on a trace is used.
fn usable(settings: &InForce) -> Sentence {
    let dead = &settings.reversal.dead;
    let inertia = settings.clean.instrument_inertia.on().map_or_else(String::new, |rule| {
        format!("inertia takes less than {} of the sample torque, and ", setting_percent(rule.share))
    });
    let text = format!(
        "Readings after the turn are used once the speed is within {} of its later value, {inertia}{} times the time \
         that momentum needs to cross the gap have passed.",
        setting_percent(dead.speed_band),
        setting(dead.diffusion)
    );
    say(text, &["stages.reversal.dead", "stages.clean.instrument_inertia"]).citing(&["ewoldt-2015"])
}

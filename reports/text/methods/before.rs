//! What is said of how a reversal is found and of the steady state before it.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{count, setting, setting_percent};

pub(super) fn sentences(settings: &InForce) -> Vec<Sentence> {
    let (find, before) = (&settings.reversal.find, &settings.reversal.before);
    vec![
        say(
            format!(
                "A reversal is a change of sense with motion over a strain of at least {} and {} on either side; below \
                 {} of the slower of the two speeds the sample counts as standing still. The turning point of the \
                 motion is strain zero; a rate that changes by more than {} from one stretch to the next begins a new \
                 record of steady shear.",
                setting(find.strain),
                count(u64::from(find.readings), "reading"),
                setting_percent(find.rest),
                setting_percent(find.rate_change)
            ),
            &["stages.reversal.find"],
        ),
        say(
            format!(
                "The steady viscosity is read over a strain of {} before it, no less than {}, with the correlation of \
                 the noise allowed for; a window with fewer than {} reaches further back, but not into the first \
                 strain {} after a change of rate or sense, and needs {}.",
                setting(before.window),
                setting(before.shortest),
                count(u64::from(before.readings), "reading"),
                setting(before.settled),
                count(u64::from(before.fewest), "reading")
            ),
            &["stages.reversal.before"],
        ),
        say(
            format!(
                "Under a held rate the window begins once the speed is within {} of its level. The noise of ln η is that \
                 of the steady windows of a run: a white part and one that wanders over strain, from their variogram up \
                 to a lag of strain {}.",
                setting_percent(before.speed_band),
                setting(before.noise_lag)
            ),
            &["stages.reversal.before.speed_band", "stages.reversal.before.noise_lag"],
        ),
        say(
            format!(
                "The stretch before counts as not steady if its viscosity drifts significantly by more than {} over that \
                 window, or if the value to which it recovers past strain {} differs significantly by more than {}; \
                 steadiness is not shown where the drift is known to no better than {}.",
                setting_percent(before.drift),
                setting(before.recovery_strain),
                setting_percent(before.recovery),
                setting_percent(before.drift_uncertainty)
            ),
            &["stages.reversal.before"],
        ),
    ]
}

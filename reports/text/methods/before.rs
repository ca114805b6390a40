//! What is said of how a reversal is found and of the steady state before it.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{setting, setting_percent};
use crate::text::words::{counted, multiple};
use stages::reversal::rules;

pub(super) fn sentences(settings: &InForce) -> Vec<Sentence> {
    let (find, before) = (&settings.reversal.find, &settings.reversal.before);
    vec![
        say(
            format!(
                "A reversal is a change of sense with motion over a strain of at least {} and {} on either side; below \
                 {} of the slower of the two speeds the sample counts as standing still. Strain zero is the turning point \
                 of the motion, {}; a rate or stress that changes by more than {} from one stretch to the next begins a \
                 new record of steady shear.",
                setting(find.strain),
                counted(u64::from(find.readings), "reading"),
                setting_percent(find.rest),
                turning_point(settings),
                setting_percent(find.rate_change)
            ),
            &["stages.reversal.find", "layouts"],
        ),
        say(
            "Where the study does not say what was held, it is what varies less, rate or stress, over ten equal parts of \
             the window before; where neither varies less than half as much as the other, what keeps its magnitude \
             better across the reversal.",
            &["raw.set_points", "layouts"],
        ),
        say(
            format!(
                "The steady viscosity is the mean stress over time, divided by strain over time, in a window of strain {} \
                 that ends at the reversal, of no less than {}; a window with fewer than {} reaches further back, but not \
                 into the first strain {} after a change of rate or sense, and needs {}.",
                setting(before.window),
                setting(before.shortest),
                counted(u64::from(before.readings), "reading"),
                setting(before.settled),
                counted(u64::from(before.fewest), "reading")
            ),
            &["stages.reversal.before"],
        ),
        say(
            format!(
                "The window ends with the last reading whose speed is within {} of the median, or within three robust \
                 standard deviations where these are more.",
                setting_percent(before.speed_band)
            ),
            &["stages.reversal.before.speed_band"],
        ),
        noise(settings),
        say(
            format!(
                "The stretch before counts as not steady if its viscosity drifts by more than {} and {} standard \
                 uncertainties over that window (a line by generalised least squares), or if the mean over the last unit \
                 of strain on record after the reversal, where that goes beyond strain {}, differs from it by more than {} \
                 and {} standard uncertainties; steadiness is not shown where the drift is known to no better than {}.",
                setting_percent(before.drift),
                setting(rules::DRIFTS),
                setting(before.recovery_strain),
                setting_percent(before.recovery),
                multiple(rules::DIFFERS),
                setting_percent(before.drift_uncertainty)
            ),
            &["stages.reversal.before"],
        ),
    ]
}

/// How the turning point is found.
fn turning_point(settings: &InForce) -> &'static str {
    match (settings.positions, settings.rates) {
        (true, true) => {
            "the vertex of the parabola through the three positions around it or, where these are further apart than the \
             drive needs to turn round, the crossing of the lines before and after, and where only a speed or rate is \
             exported its change of sign"
        }
        (false, true) => "where the exported speed or rate, interpolated linearly, changes its sign",
        _ => {
            "the vertex of the parabola through the three positions around it or, where these are further apart than the \
             drive needs to turn round, the crossing of the lines before and after"
        }
    }
}

/// The noise of the steady windows, and what it makes of the mean of one.
fn noise(settings: &InForce) -> Sentence {
    let (lengths, shortest, longest) = rules::LENGTHS;
    say(
        format!(
            "The noise of ln η has a white part w and one that wanders over strain with covariance s²·exp(−Δ/ℓ). Both are \
             read from the variogram of the windows of the run in which the same was held (within {}), at lags up to {} \
             in steps of {}: w² + s²·[1 − exp(−Δ/ℓ)] is fitted by least squares with weights 1/(v²Δ), v being the \
             variogram (half the mean square of differences, over lags at their mean), w² and s² not negative, for each of {lengths} \
             lengths ℓ in geometric steps from {} to {}, and the best is taken. Windows too coarse for that lend \
             themselves to those of all set-points of the run, and failing that their scatter counts as w and as s alike. The relative standard \
             uncertainty of the viscosity over a window of strain T is the root of (2s²ℓ/T)·[1 − (ℓ/T)·(1 − exp(−T/ℓ))] + \
             w²/n.",
            setting_percent(((rules::ALIKE - 1.0) * 100.0).round() / 100.0),
            setting(settings.reversal.before.noise_lag),
            setting(rules::LAG_STEP),
            setting(shortest),
            setting(longest)
        ),
        &["stages.reversal.before.noise_lag"],
    )
    .citing(&["cressie-1993"])
}

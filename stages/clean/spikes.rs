//! Spikes: few readings in a row that stand out from all around them. It knows no motion but the strain of a leg.

use super::median;
use super::params::Spike;
use super::segments::Segment;
use std::ops::Range;

/// Scales the median absolute deviation to the standard deviation of normal noise, 1/Φ⁻¹(¾) (Hampel 1974).
const TO_STANDARD_DEVIATION: f64 = 1.482_602_218_505_602;

/// Few torques in a row that stand out on one side of what comes before and after them and of the median around, in
/// robust standard deviations (F. R. Hampel, J. Am. Stat. Assoc. 69, 383 (1974)).
///
/// Windows stay within a leg, so no reversal is in them; readings for which `left_out` holds, those of the drive's
/// ramp, are neither judged nor compared with. A fall that lasts has its neighbours on its own level, so it is no
/// spike however deep or sudden; in the quick transient only what is far off is one; and before the dip of the
/// liquid's share is over a spike is a single reading, because at coarse sampling that dip is few readings too.
pub(super) fn spikes(
    torque: &[f64],
    segment: &Segment,
    left_out: impl Fn(usize) -> bool,
    settings: &Spike,
) -> Vec<usize> {
    let graded =
        segment.readings.iter().zip(&segment.path).filter(|(at, _)| torque[**at].is_finite() && !left_out(**at));
    let (at, path): (Vec<usize>, Vec<f64>) = graded.map(|(at, path)| (*at, *path)).unzip();
    let values: Vec<f64> = at.iter().map(|at| torque[*at]).collect();
    let least = |place: usize| match path[place] > settings.transient_strain {
        true => settings.least,
        false => settings.least_in_transient,
    };
    let mut found = vec![false; values.len()];
    for length in 1..=settings.longest {
        let inside = values.len().saturating_sub(length);
        for (first, strain) in path.iter().enumerate().take(inside).skip(1) {
            let places = first..first + length;
            let early = length > 1 && *strain < settings.single_strain;
            let seen = found[places.clone()].iter().any(|f| *f);
            if !early && !seen && is_spike(&values, places.clone(), least(first), settings) {
                found[places].iter_mut().for_each(|f| *f = true);
            }
        }
    }
    at.into_iter().zip(found).filter(|(_, spike)| *spike).map(|(at, _)| at).collect()
}

/// Whether all values of the places stand out together.
fn is_spike(values: &[f64], places: Range<usize>, least: f64, settings: &Spike) -> bool {
    let (before, after) = (values[places.start - 1], values[places.end]);
    let beyond_both = |value: &f64| (value - before) * (value - after) > 0.0;
    // Asked first because it is quick: most readings lie between their neighbours or on a level with them.
    if !values[places.clone()].iter().all(beyond_both) {
        return false;
    }
    let around = places.start.saturating_sub(settings.window)..(places.end + settings.window).min(values.len());
    let others: Vec<f64> = around.filter(|other| !places.contains(other)).map(|other| values[other]).collect();
    let needed = 4.max(2 * places.len() + 2);
    let Some(center) = median(others.iter().copied()).filter(|_| others.len() >= needed) else { return false };
    let noise = TO_STANDARD_DEVIATION * median(others.iter().map(|v| (v - center).abs())).unwrap_or(0.0);
    let beyond = (settings.threshold * noise).max(least * center.abs());
    let side = (values[places.start] - center).signum();
    values[places].iter().all(|value| {
        let distance = (value - center) * side;
        let sticks_out = |neighbour: f64| (value - neighbour) * side > 0.5 * distance;
        distance > beyond && sticks_out(before) && sticks_out(after)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::float::exp;

    /// A leg that gains `per` strain with each reading.
    fn segment(n: usize, per: f64) -> Segment {
        Segment { readings: (0..n).collect(), path: (0..n).map(|i| per * i as f64).collect() }
    }

    /// Noise of about 1 % that repeats after many readings.
    fn noisy(at: usize) -> f64 {
        1.0 + 0.01 * ((at * 7919 % 101) as f64 / 50.0 - 1.0)
    }

    #[test]
    fn a_spike_is_found_on_either_side() {
        let mut torque: Vec<f64> = (0..60).map(|i| -5.0 * noisy(i)).collect();
        torque[30] *= 1.4;
        torque[41] *= 0.5;
        assert_eq!(spikes(&torque, &segment(60, 0.05), |_| false, &Spike::default()), [30, 41]);
    }

    #[test]
    fn five_robust_standard_deviations_by_hand() {
        // Neighbours of median 10, each 0, 0.1 or 0.2 away from it: MAD 0.1, and 5 · 1.4826 · 0.1 = 0.7413 (F. R. Hampel,
        // J. Am. Stat. Assoc. 69 (1974) 383; 1.4826 is 1/Φ⁻¹(¾)).
        let neighbours = [9.9, 10.2, 9.8, 10.1, 10.0];
        for (value, spike) in [(10.75, true), (10.73, false), (9.25, true), (9.27, false)] {
            let torque: Vec<f64> = neighbours.into_iter().chain([value]).chain(neighbours.into_iter().rev()).collect();
            let settings = Spike { least: 0.0, ..Spike::default() };
            assert_eq!(is_spike(&torque, 5..6, 0.0, &settings), spike, "{value}");
        }
    }

    #[test]
    fn noise_alone_has_no_spikes() {
        let torque: Vec<f64> = (0..5000).map(noisy).collect();
        assert_eq!(spikes(&torque, &segment(5000, 0.05), |_| false, &Spike::default()), Vec::<usize>::new());
    }

    #[test]
    fn a_drop_of_95_percent_within_two_readings_survives() {
        // At strain 1, far behind the quiet strain, to be hard on the rule: 1, then 0.4, then 0.05.
        let level = |i: usize| match i {
            0..20 => 1.0,
            20 => 0.4,
            _ => 0.05 + 0.95 * (1.0 - exp(-0.05 * (i as f64 - 21.0))),
        };
        let torque: Vec<f64> = (0..100).map(|i| level(i) * noisy(i)).collect();
        assert_eq!(spikes(&torque, &segment(100, 0.05), |_| false, &Spike::default()), Vec::<usize>::new());
    }

    #[test]
    fn the_quick_transient_of_a_reversal_survives_and_a_spike_in_it_does_not() {
        // An elastic release from the wrong sign within strain 0.005, a dip at 0.2, contacts that come back.
        let level = |g: f64| {
            0.6 * (1.0 - 0.4 * (g / 0.2) * exp(1.0 - g / 0.2)) - 0.9 * exp(-g / 0.005) + 0.4 * (1.0 - exp(-g / 0.4))
        };
        for per in [0.0005, 0.002, 0.004, 0.01, 0.03] {
            let mut torque: Vec<f64> = (0..200).map(|i| level(per * i as f64) * noisy(i)).collect();
            let segment = segment(200, per);
            assert_eq!(spikes(&torque, &segment, |_| false, &Spike::default()), Vec::<usize>::new(), "{per}");
            torque[30] *= 2.0;
            torque[44] = 0.0;
            assert_eq!(spikes(&torque, &segment, |_| false, &Spike::default()), [30, 44], "{per}");
        }
    }

    #[test]
    fn readings_of_a_ramp_are_not_compared_with() {
        let torque = [9.0, -9.0, 9.0, -9.0, 1.0, 1.01, 1.0, 4.0, 1.0, 0.99, 1.0, 1.0];
        assert_eq!(spikes(&torque, &segment(12, 0.05), |at| at < 4, &Spike::default()), [7]);
    }

    #[test]
    fn two_and_three_readings_in_a_row_are_found_and_four_are_not() {
        for length in 1..=4 {
            let mut torque: Vec<f64> = (0..80).map(|i| 5.0 * noisy(i)).collect();
            torque[50..50 + length].iter_mut().enumerate().for_each(|(i, m)| *m *= 1.3 + 0.05 * i as f64);
            let expected: Vec<usize> = if length < 4 { (50..50 + length).collect() } else { vec![] };
            assert_eq!(spikes(&torque, &segment(80, 0.05), |_| false, &Spike::default()), expected, "{length}");
        }
    }

    #[test]
    fn a_dip_of_the_liquid_s_share_in_few_readings_survives() {
        // One reading each 0.1 of strain: 0.6 falls to 0.33 at strain 0.2 and is back with the contacts.
        let level = |g: f64| 0.6 * (1.0 - 0.45 * (g / 0.2) * exp(1.0 - g / 0.2)) + 0.4 * (1.0 - exp(-g / 0.4));
        for per in [0.05, 0.1, 0.15, 0.2] {
            let torque: Vec<f64> = (0..60).map(|i| level(per * f64::from(i) + 0.02) * noisy(i as usize)).collect();
            assert_eq!(spikes(&torque, &segment(60, per), |_| false, &Spike::default()), Vec::<usize>::new(), "{per}");
        }
    }
}

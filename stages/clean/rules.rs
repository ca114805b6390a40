//! The rules: each looks at readings and says which of them it would set aside, never deleting any. One function
//! per reason; `compute.rs` applies them in turn.

use super::legs::{Leg, Ramp};
use super::median;
use super::params::{EdgeFracture, InstrumentInertia, SetAside, Spike};

/// Scales the median absolute deviation to the standard deviation of normal noise, 1/Φ⁻¹(¾) (Hampel 1974).
const TO_STANDARD_DEVIATION: f64 = 1.482_602_218_505_602;

/// Readings that lack one of the given columns.
pub(super) fn missing(columns: &[&[f64]]) -> Vec<usize> {
    let rows = columns.first().map_or(0, |c| c.len());
    (0..rows).filter(|at| columns.iter().any(|c| c[*at].is_nan())).collect()
}

/// Readings whose time lies before that of an earlier reading, and readings that repeat the last time.
pub(super) fn clock(time: &[f64]) -> (Vec<usize>, Vec<usize>) {
    let (mut back, mut repeated) = (Vec::new(), Vec::new());
    let mut last = f64::NEG_INFINITY;
    for (at, now) in time.iter().enumerate().filter(|(_, now)| !now.is_nan()) {
        match now.total_cmp(&last) {
            std::cmp::Ordering::Less => back.push(at),
            std::cmp::Ordering::Equal => repeated.push(at),
            std::cmp::Ordering::Greater => last = *now,
        }
    }
    (back, repeated)
}

/// Median |torque| over the second half of a step's way, by strain, or by readings where it does not move.
///
/// A stretch and never single readings: dropping those below a floor truncates the noise, and what is left is too
/// large (R. H. Ewoldt, M. T. Johnston & L. M. Caretta, in Complex Fluids in Biological Systems, Springer 2015).
pub(super) fn steady_torque(torque: &[f64], strain: &[f64], stretch: &[usize]) -> Option<f64> {
    let mut way = 0.0;
    let mut ways = vec![0.0];
    for pair in stretch.windows(2) {
        way += (strain[pair[1]] - strain[pair[0]]).abs();
        ways.push(way);
    }
    let by_strain = stretch.iter().zip(&ways).filter(|(_, w)| **w >= 0.5 * way).map(|(at, _)| torque[*at].abs());
    let mut late: Vec<f64> = match way > 0.0 {
        true => by_strain.collect(),
        false => stretch[stretch.len() / 2..].iter().map(|at| torque[*at].abs()).collect(),
    };
    late.retain(|m| m.is_finite());
    median(late)
}

/// Single torques that stand out on one side of both neighbours and of the median around them, in robust standard
/// deviations (F. R. Hampel, J. Am. Stat. Assoc. 69, 383 (1974)).
///
/// Windows stay within a leg, so no reversal is in them; readings for which `left_out` holds, those of the drive's
/// ramp, are neither judged nor compared with. A fall that lasts has a neighbour on its own level, so it is no
/// spike however deep or sudden, and in the quick transient only what is far off is one.
pub(super) fn spikes(torque: &[f64], leg: &Leg, left_out: impl Fn(usize) -> bool, settings: &Spike) -> Vec<usize> {
    let judged = leg.readings.iter().zip(&leg.path).filter(|(at, _)| torque[**at].is_finite() && !left_out(**at));
    let (at, path): (Vec<usize>, Vec<f64>) = judged.map(|(at, path)| (*at, *path)).unzip();
    let values: Vec<f64> = at.iter().map(|at| torque[*at]).collect();
    let least = |place: usize| match path[place] > settings.transient_strain {
        true => settings.least,
        false => settings.least_in_transient,
    };
    let inner = 1..values.len().saturating_sub(1);
    inner.filter(|place| is_spike(&values, *place, least(*place), settings)).map(|place| at[place]).collect()
}

fn is_spike(values: &[f64], place: usize, least: f64, settings: &Spike) -> bool {
    let around = place.saturating_sub(settings.window)..(place + settings.window + 1).min(values.len());
    let others: Vec<f64> = around.filter(|other| *other != place).map(|other| values[other]).collect();
    let Some(center) = median(others.iter().copied()).filter(|_| others.len() >= 4) else { return false };
    let noise = TO_STANDARD_DEVIATION * median(others.iter().map(|v| (v - center).abs())).unwrap_or(0.0);
    let distance = values[place] - center;
    let beyond = (settings.threshold * noise).max(least * center.abs());
    let sticks_out = |neighbour: f64| (values[place] - neighbour) * distance.signum() > 0.5 * distance.abs();
    distance.abs() > beyond && sticks_out(values[place - 1]) && sticks_out(values[place + 1])
}

/// What is known of the drive for the inertia rule.
#[derive(Debug, Clone, Copy)]
pub(super) struct Drive<'a> {
    /// Moment of inertia, N m s², where known.
    pub(super) inertia: Option<f64>,
    /// Time, s.
    pub(super) time: &'a [f64],
    /// Torque on the sample, N m.
    pub(super) torque: &'a [f64],
    /// Speed, rad/s.
    pub(super) speed: &'a [f64],
    /// dΩ/dt and its standard uncertainty from noise, rad/s².
    pub(super) acceleration: &'a [f64],
    /// Standard uncertainty of dΩ/dt.
    pub(super) u_acceleration: &'a [f64],
}

impl Drive<'_> {
    /// Whether the inertia torque at this acceleration is too large a part of the sample torque.
    fn too_large(&self, at: usize, acceleration: f64, share: f64) -> bool {
        self.inertia.is_some_and(|inertia| inertia * acceleration.abs() > share * self.torque[at].abs())
    }

    /// Readings whose inertia torque is too large; the acceleration must stand out of its noise by five standard
    /// uncertainties (empirical: one false alarm in 10⁶ readings), or torque near the floor would raise alarms.
    pub(super) fn accelerated(&self, share: f64) -> Vec<usize> {
        let clear = |at: &usize| self.acceleration[*at].abs() > 5.0 * self.u_acceleration[*at];
        (0..self.time.len()).filter(clear).filter(|at| self.too_large(*at, self.acceleration[*at], share)).collect()
    }

    /// Readings of a ramp that cannot be corrected. With few readings inside, dΩ/dt is not known there; then the
    /// mean acceleration to the neighbours, which the true one exceeds, decides. Without a moment of inertia
    /// nothing can be corrected, and the whole ramp goes, unless it is the torque that was held.
    pub(super) fn unresolved(&self, ramp: &Ramp, order: &[usize], settings: &InstrumentInertia) -> Vec<usize> {
        if self.inertia.is_none() {
            return if self.torque_was_held(ramp) { Vec::new() } else { ramp.readings.clone() };
        }
        if ramp.readings.len() >= settings.ramp_readings {
            return Vec::new();
        }
        let large = |at: &usize| self.too_large(*at, self.mean_acceleration(*at, order), settings.share);
        ramp.readings.iter().copied().filter(large).collect()
    }

    /// The larger of the mean accelerations from the usable reading before and to the one after.
    fn mean_acceleration(&self, at: usize, order: &[usize]) -> f64 {
        let Ok(place) = order.binary_search(&at) else { return 0.0 };
        let pair =
            |from: usize, to: usize| ((self.speed[to] - self.speed[from]) / (self.time[to] - self.time[from])).abs();
        let before = if place > 0 { pair(order[place - 1], at) } else { 0.0 };
        order.get(place + 1).map_or(before, |after| before.max(pair(at, *after)))
    }

    /// Whether the torque has its later value within 10 % while the speed does not (empirical: a held torque is
    /// reached in a few milliseconds, a torque that follows the speed is off by up to twice itself).
    fn torque_was_held(&self, ramp: &Ramp) -> bool {
        let Some(after) = ramp.readings.last().map(|last| last + 1).filter(|at| *at < self.time.len()) else {
            return false;
        };
        let off = |at: &usize| (self.torque[*at] / self.torque[after] - 1.0).abs();
        median(ramp.readings.iter().map(off)).is_some_and(|off| off < 0.1)
    }
}

/// Readings from an irreversible fall on: |torque| falls from its highest level behind the first strain and stays
/// down to the leg's end, while the speed is the same within 5 %.
///
/// An irreversible fall of torque is what a fractured or expelled rim leaves (R. I. Tanner & M. Keentok, J. Rheol.
/// 27, 47 (1983), for the fracture; the limit on the fall is empirical).
pub(super) fn fracture(torque: &[f64], speed: &[f64], leg: &Leg, settings: &EdgeFracture) -> Vec<usize> {
    let late = leg.readings.iter().zip(&leg.path).filter(|(_, path)| **path > settings.transient_strain);
    let late: Vec<usize> = late.map(|(at, _)| *at).collect();
    let levels: Vec<f64> = late.windows(5).filter_map(|w| median(w.iter().map(|at| torque[*at].abs()))).collect();
    let Some(highest) = (0..levels.len()).max_by(|a, b| levels[*a].total_cmp(&levels[*b])) else { return Vec::new() };
    let limit = (1.0 - settings.fall) * levels[highest];
    let Some(from) = levels.iter().rposition(|level| *level >= limit).map(|last| last + 1) else { return Vec::new() };
    let same_speed = late.last().is_some_and(|end| (speed[*end] / speed[late[highest + 2]] - 1.0).abs() < 0.05);
    // Ten readings, so that no noise at the very end is taken for a fall.
    if !same_speed || levels.len() < from + 10 {
        return Vec::new();
    }
    late[from + 2..].to_vec()
}

/// Readings that somebody set aside.
pub(super) fn set_aside(time: &[f64], step: &[i64], by_hand: &SetAside) -> Vec<usize> {
    let held = |at: &usize| {
        by_hand.step.is_none_or(|s| s == step[*at])
            && by_hand.from_s.is_none_or(|from| time[*at] >= from)
            && by_hand.to_s.is_none_or(|to| time[*at] <= to)
    };
    (0..time.len()).filter(held).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::float::exp;

    /// A leg that gains `per` strain with each reading.
    fn leg(n: usize, per: f64) -> Leg {
        Leg { readings: (0..n).collect(), path: (0..n).map(|i| per * i as f64).collect() }
    }

    /// Noise of about 1 % that repeats after many readings.
    fn noisy(at: usize) -> f64 {
        1.0 + 0.01 * ((at * 7919 % 101) as f64 / 50.0 - 1.0)
    }

    #[test]
    fn a_blank_in_any_column_is_missing() {
        assert_eq!(missing(&[&[1.0, f64::NAN, 3.0], &[1.0, 2.0, f64::NAN]]), [1, 2]);
    }

    #[test]
    fn clocks_that_go_back_or_stand_still() {
        assert_eq!(clock(&[0.0, 1.0, 1.0, f64::NAN, 0.5, 0.9, 2.0]), (vec![4, 5], vec![2]));
    }

    #[test]
    fn the_steady_torque_is_a_median_over_the_later_half_of_the_strain() {
        let strain = [0.0, 1.0, 2.0, 3.0, 4.0];
        assert_eq!(steady_torque(&[9.0, 9.0, -1.0, 2.0, -3.0], &strain, &[0, 1, 2, 3, 4]), Some(2.0));
        assert_eq!(steady_torque(&[9.0, 9.0, 1.0, 3.0], &[0.0; 4], &[0, 1, 2, 3]), Some(2.0));
    }

    #[test]
    fn a_spike_is_found_on_either_side() {
        let mut torque: Vec<f64> = (0..60).map(|i| -5.0 * noisy(i)).collect();
        torque[30] *= 1.4;
        torque[41] *= 0.5;
        assert_eq!(spikes(&torque, &leg(60, 0.05), |_| false, &Spike::default()), [30, 41]);
    }

    #[test]
    fn noise_alone_has_no_spikes() {
        let torque: Vec<f64> = (0..5000).map(noisy).collect();
        assert_eq!(spikes(&torque, &leg(5000, 0.05), |_| false, &Spike::default()), Vec::<usize>::new());
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
        assert_eq!(spikes(&torque, &leg(100, 0.05), |_| false, &Spike::default()), Vec::<usize>::new());
    }

    #[test]
    fn the_quick_transient_of_a_reversal_survives_and_a_spike_in_it_does_not() {
        // An elastic release from the wrong sign within strain 0.005, a dip at 0.2, contacts that come back.
        let level = |g: f64| {
            0.6 * (1.0 - 0.4 * (g / 0.2) * exp(1.0 - g / 0.2)) - 0.9 * exp(-g / 0.005) + 0.4 * (1.0 - exp(-g / 0.4))
        };
        for per in [0.0005, 0.002, 0.004, 0.01, 0.03] {
            let mut torque: Vec<f64> = (0..200).map(|i| level(per * i as f64) * noisy(i)).collect();
            let leg = leg(200, per);
            assert_eq!(spikes(&torque, &leg, |_| false, &Spike::default()), Vec::<usize>::new(), "{per}");
            torque[30] *= 2.0;
            torque[44] = 0.0;
            assert_eq!(spikes(&torque, &leg, |_| false, &Spike::default()), [30, 44], "{per}");
        }
    }

    #[test]
    fn readings_of_a_ramp_are_not_compared_with() {
        let torque = [9.0, -9.0, 9.0, -9.0, 1.0, 1.01, 1.0, 4.0, 1.0, 0.99, 1.0, 1.0];
        assert_eq!(spikes(&torque, &leg(12, 0.05), |at| at < 4, &Spike::default()), [7]);
    }

    /// I = 12 µN m s² turned from +0.5 to −0.5 rad/s in 50 ms needs 240 µN m (20 rad/s²).
    #[test]
    fn the_inertia_of_a_worked_reversal_is_too_large_for_a_sample_of_1_mn_m() {
        let (time, speed): (Vec<f64>, Vec<f64>) =
            (0..21).map(|i| (0.005 * f64::from(i), (0.5 - 0.1 * f64::from(i - 5)).clamp(-0.5, 0.5))).unzip();
        let acceleration: Vec<f64> = (0..21).map(|i| if (5..=15).contains(&i) { -20.0 } else { 0.0 }).collect();
        let torque = [1e-3; 21];
        let drive = Drive {
            inertia: Some(12e-6),
            time: &time,
            torque: &torque,
            speed: &speed,
            acceleration: &acceleration,
            u_acceleration: &[0.1; 21],
        };
        assert_eq!(drive.accelerated(0.05), (5..=15).collect::<Vec<_>>());
        // 240 µN m are 4.8 % of 5 mN m.
        assert_eq!(Drive { torque: &[5e-3; 21], ..drive }.accelerated(0.05), Vec::<usize>::new());
        // The same in the noise of the acceleration is no alarm.
        assert_eq!(Drive { u_acceleration: &[5.0; 21], ..drive }.accelerated(0.05), Vec::<usize>::new());
    }

    #[test]
    fn a_ramp_of_few_readings_is_cut_where_it_matters() {
        let speed = [0.5, 0.5, 0.1, -0.3, -0.5, -0.5];
        let time = [0.0, 0.02, 0.04, 0.06, 0.08, 0.1];
        let drive = Drive {
            inertia: Some(12e-6),
            time: &time,
            torque: &[1e-3; 6],
            speed: &speed,
            acceleration: &[0.0; 6],
            u_acceleration: &[0.0; 6],
        };
        let ramp = Ramp { readings: vec![2, 3], target: -0.5 };
        let order: Vec<usize> = (0..6).collect();
        let settings = InstrumentInertia::default();
        // 0.4 rad/s in 20 ms: 20 rad/s².
        assert_eq!(drive.unresolved(&ramp, &order, &settings), [2, 3]);
        assert_eq!(Drive { torque: &[1e-1; 6], ..drive }.unresolved(&ramp, &order, &settings), Vec::<usize>::new());
        let long = InstrumentInertia { ramp_readings: 2, ..settings.clone() };
        assert_eq!(drive.unresolved(&ramp, &order, &long), Vec::<usize>::new());
        let held = Drive { inertia: None, torque: &[-1e-3; 6], ..drive };
        assert_eq!(held.unresolved(&ramp, &order, &settings), Vec::<usize>::new());
        let driven = Drive { inertia: None, torque: &[1e-3, 1e-3, 2e-3, -5e-4, -1e-3, -1e-3], ..drive };
        assert_eq!(driven.unresolved(&ramp, &order, &settings), [2, 3]);
    }

    #[test]
    fn a_fall_that_lasts_is_a_fracture_and_one_that_comes_back_is_none() {
        let speed = [1.0; 200];
        let settings = EdgeFracture::default();
        let mut torque: Vec<f64> = (0..200).map(|i| if i < 120 { noisy(i) } else { 0.5 * noisy(i) }).collect();
        assert_eq!(fracture(&torque, &speed, &leg(200, 0.05), &settings), (120..200).collect::<Vec<_>>());
        torque[180..].iter_mut().for_each(|m| *m *= 2.0);
        assert_eq!(fracture(&torque, &speed, &leg(200, 0.05), &settings), Vec::<usize>::new());
    }

    #[test]
    fn a_fall_with_the_speed_is_no_fracture() {
        let speed: Vec<f64> = (0..200).map(|i| if i < 120 { 1.0 } else { 0.5 }).collect();
        assert_eq!(fracture(&speed, &speed, &leg(200, 0.05), &EdgeFracture::default()), Vec::<usize>::new());
    }

    #[test]
    fn what_is_set_aside_by_hand() {
        let by_hand = |step, from_s, to_s| SetAside { step, from_s, to_s, because: "bubble".into() };
        let (time, step) = ([0.0, 1.0, 2.0, 3.0], [1, 1, 2, 2]);
        assert_eq!(set_aside(&time, &step, &by_hand(Some(2), None, None)), [2, 3]);
        assert_eq!(set_aside(&time, &step, &by_hand(Some(2), Some(2.5), None)), [3]);
        assert_eq!(set_aside(&time, &step, &by_hand(None, Some(1.0), Some(2.0))), [1, 2]);
        assert_eq!(set_aside(&time, &step, &by_hand(None, None, None)).len(), 4);
    }
}

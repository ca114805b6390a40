//! The drive's own torque: which readings it spoils, and whether the export still holds it.

use super::levels::Level;
use super::median;
use super::params::{InertiaAsStated, InstrumentInertia};
use super::recipe::CLEAR;
use super::segments::Ramp;

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

    /// Readings whose inertia torque is too large; the acceleration must stand out of its noise, or torque near
    /// the floor would raise alarms.
    pub(super) fn accelerated(&self, share: f64) -> Vec<usize> {
        let clear = |at: &usize| self.acceleration[*at].abs() > CLEAR * self.u_acceleration[*at];
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

/// Exported torque over inertia torque where the motion turns round, median over the readings that can tell: near 1
/// where the export holds inertia, near 0 where it was taken off before; none where too few can tell.
///
/// There the sample asks for little: nothing viscous, and by contacts at most its steady torque. So only where the
/// inertia torque is a multiple of that, the ratio says what was exported (Newton's second law for the rotor).
pub(super) fn inertia_in_export(
    exported: &[f64],
    drive: &Drive<'_>,
    levels: &[Level],
    stretches: &[Vec<usize>],
    settings: &InertiaAsStated,
) -> Option<f64> {
    let inertia = drive.inertia?;
    let ratio = |level: &Level, at: usize| {
        let own = inertia * drive.acceleration[at];
        let turning = drive.speed[at].abs() < 0.3 * level.speed;
        let clear = drive.acceleration[at].abs() > CLEAR * drive.u_acceleration[at];
        (turning && clear && own.abs() > settings.torque * level.torque).then(|| exported[at] / own)
    };
    let of_step =
        |level: &Level| stretches[level.stretch].iter().filter_map(|at| ratio(level, *at)).collect::<Vec<f64>>();
    let ratios: Vec<f64> = levels.iter().flat_map(of_step).filter(|r| r.is_finite()).collect();
    median(ratios.iter().copied()).filter(|_| ratios.len() >= settings.readings)
}

#[cfg(test)]
mod tests {
    use super::*;

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
    fn it_is_seen_whether_the_export_holds_inertia() {
        // 12 µN m s² at 20 rad/s²: 240 µN m against 50 µN m of the sample, a part of which stays to the turn.
        let speed: Vec<f64> = (0..11).map(|i| 0.5 - 0.1 * f64::from(i)).collect();
        let drive = Drive {
            inertia: Some(12e-6),
            time: &[],
            torque: &[],
            speed: &speed,
            acceleration: &[-20.0; 11],
            u_acceleration: &[0.1; 11],
        };
        let sample: Vec<f64> = speed.iter().map(|v| 50e-6 * (0.4 * v / 0.5 + 0.6)).collect();
        let raw: Vec<f64> = sample.iter().map(|m| m - 240e-6).collect();
        let seen = |exported: &[f64], steady: f64| {
            let level = Level { step: 1, stretch: 0, torque: steady, speed: 0.5 };
            inertia_in_export(exported, &drive, &[level], &[(0..11).collect()], &InertiaAsStated::default())
        };
        assert!((seen(&raw, 50e-6).unwrap_or(0.0) - (240.0 - 30.0) / 240.0).abs() < 1e-12);
        assert!((seen(&sample, 50e-6).unwrap_or(1.0) + 30.0 / 240.0).abs() < 1e-12);
        // A sample that asks for half of it hides what was done.
        assert_eq!(seen(&raw, 120e-6), None);
    }
}

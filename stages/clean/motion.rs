//! Motion of the moving part: strain position, speed and acceleration, from whichever column tells them best.
//!
//! Position: angle, else exported strain, else the integral of speed or rate. Speed: as exported, else from the
//! position. Acceleration: from the angle, else from the exported speed or rate, else from the strain. What is
//! exported as speed is often smoothed by the instrument, which is why the angle goes first where it is there.

use super::local_quadratic::{Derivatives, Wanted, derivatives, rounding};
use super::result::MotionSource;
use crate::ingest::result::Readings;

/// Strain position, and speed and acceleration of the moving part, with standard uncertainties from noise.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Motion {
    /// Where the position comes from.
    pub(super) source: MotionSource,
    /// Strain position.
    pub(super) strain: Vec<f64>,
    /// Speed, rad/s.
    pub(super) speed: Vec<f64>,
    /// Its standard uncertainty; empty where the speed is as exported, and taken to be exact.
    pub(super) u_speed: Vec<f64>,
    /// dΩ/dt, rad/s².
    pub(super) acceleration: Vec<f64>,
    /// Its standard uncertainty.
    pub(super) u_acceleration: Vec<f64>,
}

/// What motion is made of beside the readings' own columns.
#[derive(Debug, Clone, Copy)]
pub(super) struct Around<'a> {
    /// Time that does not start anew, s.
    pub(super) time: &'a [f64],
    /// Usable readings, one list per step.
    pub(super) stretches: &'a [Vec<usize>],
    /// Strain per rad.
    pub(super) rate_per_speed: f64,
    /// Readings in a local quadratic.
    pub(super) size: usize,
}

impl Around<'_> {
    /// The motion of these readings. Columns that say nothing more once it is known (angle, strain, speed) are taken
    /// out of them, for readings can be many.
    pub(super) fn motion(&self, readings: &mut Readings) -> Motion {
        let (source, strain) = self.position(readings);
        let rate = || readings.rate_per_s.as_ref().map(|rate| rate.iter().map(|v| v / self.rate_per_speed).collect());
        let speed = readings.speed_rad_per_s.take().or_else(rate).unwrap_or_default();
        let mut motion = Motion { source, strain, speed, ..Motion::default() };
        let exported = !motion.speed.is_empty();
        self.derive(&mut motion, exported);
        motion
    }

    /// The same motion at another strain position.
    pub(super) fn moved(&self, motion: &mut Motion, strain: impl Fn(usize, f64) -> f64) {
        motion.strain.iter_mut().enumerate().for_each(|(at, position)| *position = strain(at, *position));
        let exported = motion.u_speed.is_empty();
        self.derive(motion, exported);
    }

    /// The strain position and where it comes from.
    fn position(&self, readings: &mut Readings) -> (MotionSource, Vec<f64>) {
        let k = self.rate_per_speed;
        let scaled = |values: &mut f64| *values *= k;
        if let Some(mut angle) = readings.angle_rad.take() {
            readings.strain = None;
            angle.iter_mut().for_each(scaled);
            return (MotionSource::Angle, angle);
        }
        if let Some(strain) = readings.strain.take() {
            return (MotionSource::Strain, strain);
        }
        match (&readings.speed_rad_per_s, &readings.rate_per_s) {
            (Some(speed), _) => {
                let rate: Vec<f64> = speed.iter().map(|v| v * k).collect();
                (MotionSource::Speed, integral(self.time, &rate, self.stretches))
            }
            (_, Some(rate)) => (MotionSource::Rate, integral(self.time, rate, self.stretches)),
            _ => (MotionSource::None, vec![f64::NAN; self.time.len()]),
        }
    }

    /// Acceleration, and speed where it was not exported.
    fn derive(&self, motion: &mut Motion, exported: bool) {
        let by = |y: &[f64], least_noise: f64, wanted| {
            derivatives(self.time, y, self.stretches, self.size, least_noise, wanted)
        };
        if exported && motion.source != MotionSource::Angle {
            // A speed that is exported as it was set has no noise at all, and its steps are true.
            let found = by(&motion.speed, 0.0, Wanted::First);
            (motion.acceleration, motion.u_acceleration) = (found.first, found.u_first);
            return;
        }
        let wanted = if exported { Wanted::Second } else { Wanted::Both };
        let found = by(&motion.strain, rounding(&motion.strain, self.stretches), wanted);
        let over = |mut values: Vec<f64>| {
            values.iter_mut().for_each(|v| *v /= self.rate_per_speed);
            values
        };
        let Derivatives { first, second, u_first, u_second } = found;
        (motion.acceleration, motion.u_acceleration) = (over(second), over(u_second));
        if !exported {
            (motion.speed, motion.u_speed) = (over(first), over(u_first));
        }
    }
}

/// Time that goes on where the export starts anew at a step: a time that goes back at the beginning of a step is
/// counted from the end of the step before. Gives how often.
pub(super) fn join_time(time: &mut [f64], step: &[i64]) -> usize {
    let (mut shift, mut last, mut joined) = (0.0, f64::NAN, 0);
    for (at, time) in time.iter_mut().enumerate() {
        if at > 0 && step[at] != step[at - 1] && *time + shift < last {
            shift = last;
            joined += 1;
        }
        *time += shift;
        last = if time.is_nan() { last } else { *time };
    }
    joined
}

/// ∫ rate dt by trapezoids over the usable readings, 0 at the first of them; NaN at the others.
fn integral(time: &[f64], rate: &[f64], stretches: &[Vec<usize>]) -> Vec<f64> {
    let mut strain = vec![f64::NAN; time.len()];
    let (mut sum, mut before): (f64, Option<usize>) = (0.0, None);
    for at in stretches.iter().flatten().copied() {
        if let Some(before) = before {
            sum += 0.5 * (rate[at] + rate[before]) * (time[at] - time[before]);
        }
        strain[at] = sum;
        before = Some(at);
    }
    strain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_that_starts_anew_is_joined() {
        let mut time = [1.0, 2.0, 0.5, 1.0, 0.25];
        assert_eq!((join_time(&mut time, &[1, 1, 2, 2, 3]), time), (2, [1.0, 2.0, 2.5, 3.0, 3.25]));
        // Within a step nothing is joined: that is a clock that went back.
        let mut time = [1.0, 0.5];
        assert_eq!((join_time(&mut time, &[1, 1]), time), (0, [1.0, 0.5]));
    }

    #[test]
    fn strain_turns_back_with_the_rate() {
        let time = [0.0, 1.0, 2.0, 3.0, 4.0];
        let rate = [2.0, 2.0, f64::NAN, -2.0, -2.0];
        let strain = integral(&time, &rate, &[vec![0, 1], vec![3, 4]]);
        assert_eq!(&strain[..2], [0.0, 2.0]);
        assert!(strain[2].is_nan());
        assert_eq!(&strain[3..], [2.0, 0.0]);
    }

    fn motion(mut readings: Readings) -> Motion {
        let (time, stretches) = (readings.time_s.clone(), [(0..10).collect()]);
        Around { time: &time, stretches: &stretches, rate_per_speed: 10.0, size: 5 }.motion(&mut readings)
    }

    #[test]
    fn the_angle_goes_first_and_an_exported_rate_stays_as_measured() {
        let time: Vec<f64> = (0..10).map(f64::from).collect();
        let angle: Vec<f64> = time.iter().map(|t| 0.5 * t * t).collect();
        let readings = Readings {
            row: (1..11).collect(),
            step: vec![1; 10],
            time_s: time,
            angle_rad: Some(angle),
            rate_per_s: Some(vec![7.0; 10]),
            ..Readings::default()
        };
        let motion = motion(readings);
        assert_eq!((motion.source, motion.strain[2]), (MotionSource::Angle, 20.0));
        assert!(motion.speed.iter().all(|v| (v - 0.7).abs() < 1e-15));
        assert!(motion.acceleration.iter().all(|a| (a - 1.0).abs() < 1e-12));
    }

    #[test]
    fn an_exported_rate_gives_the_acceleration_where_there_is_no_angle() {
        let time: Vec<f64> = (0..10).map(f64::from).collect();
        let rate: Vec<f64> = time.iter().map(|t| if *t < 5.0 { 10.0 * t } else { 50.0 }).collect();
        let readings = Readings { time_s: time, rate_per_s: Some(rate), ..Readings::default() };
        let motion = motion(readings);
        assert_eq!(motion.source, MotionSource::Rate);
        assert!((motion.acceleration[1] - 1.0).abs() < 1e-12);
        assert!(motion.acceleration[8].abs() < 1e-12);
        assert!((motion.strain[5] - 125.0).abs() < 1e-12);
    }
}

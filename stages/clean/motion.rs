//! Motion of the moving part: strain position, speed and acceleration, from whichever column tells them best.
//!
//! Position: angle, else exported strain, else the integral of speed or rate. Speed: as exported, else from the
//! position. Acceleration: from the angle, else from the exported speed or rate, else from the strain. What is
//! exported as speed is often smoothed by the instrument, which is why the angle goes first where it is there.

use super::local_quadratic::{derivatives, rounding};
use crate::ingest::result::Readings;

/// Strain position, and speed and acceleration of the moving part, with standard uncertainties from noise.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Motion {
    /// Where the position comes from.
    pub(super) source: &'static str,
    /// Strain position.
    pub(super) strain: Vec<f64>,
    /// Speed, rad/s.
    pub(super) speed: Vec<f64>,
    /// Its standard uncertainty; 0 where the speed is as exported.
    pub(super) u_speed: Vec<f64>,
    /// dΩ/dt, rad/s².
    pub(super) acceleration: Vec<f64>,
    /// Its standard uncertainty.
    pub(super) u_acceleration: Vec<f64>,
}

/// What motion is made of.
#[derive(Debug, Clone, Copy)]
pub(super) struct Columns<'a> {
    pub(super) readings: &'a Readings,
    /// Time that does not start anew, s.
    pub(super) time: &'a [f64],
    /// Usable readings, one list per step.
    pub(super) stretches: &'a [Vec<usize>],
    /// Strain per rad.
    pub(super) rate_per_speed: f64,
    /// Readings in a local quadratic.
    pub(super) size: usize,
}

impl Columns<'_> {
    /// The strain position and where it comes from.
    pub(super) fn position(&self) -> (&'static str, Vec<f64>) {
        let r = self.readings;
        let k = self.rate_per_speed;
        let scaled = |values: &[f64]| values.iter().map(|v| v * k).collect::<Vec<f64>>();
        match (&r.angle_rad, &r.strain, &r.speed_rad_per_s, &r.rate_per_s) {
            (Some(angle), ..) => ("angle", scaled(angle)),
            (_, Some(strain), ..) => ("strain", strain.clone()),
            (_, _, Some(speed), _) => ("speed", integral(self.time, &scaled(speed), self.stretches)),
            (.., Some(rate)) => ("rate", integral(self.time, rate, self.stretches)),
            _ => ("", vec![f64::NAN; self.time.len()]),
        }
    }

    /// Speed and acceleration that belong to a strain position.
    pub(super) fn motion(&self, source: &'static str, strain: Vec<f64>) -> Motion {
        let k = self.rate_per_speed;
        let least_noise = rounding(&strain, self.stretches);
        let by_position = derivatives(self.time, &strain, self.stretches, self.size, least_noise);
        let rate = self.readings.rate_per_s.as_ref().map(|rate| rate.iter().map(|v| v / k).collect());
        let exported: Option<Vec<f64>> = self.readings.speed_rad_per_s.clone().or(rate);
        let over = |values: Vec<f64>| values.into_iter().map(|v| v / k).collect::<Vec<f64>>();
        let (acceleration, u_acceleration) = match &exported {
            Some(speed) if source != "angle" => {
                // A speed that is exported as it was set has no noise at all, and its steps are true.
                let by_speed = derivatives(self.time, speed, self.stretches, self.size, 0.0);
                (by_speed.first, by_speed.u_first)
            }
            _ => (over(by_position.second), over(by_position.u_second)),
        };
        let (speed, u_speed) = match exported {
            Some(speed) => (speed, vec![0.0; self.time.len()]),
            None => (over(by_position.first), over(by_position.u_first)),
        };
        Motion { source, strain, speed, u_speed, acceleration, u_acceleration }
    }
}

/// Time that goes on where the export starts anew at a step: a time that goes back at the beginning of a step is
/// counted from the end of the step before. Gives also how often.
pub(super) fn joined_time(time: &[f64], step: &[i64]) -> (Vec<f64>, usize) {
    let (mut shift, mut last, mut joined) = (0.0, f64::NAN, 0);
    let times = (0..time.len()).map(|at| {
        if at > 0 && step[at] != step[at - 1] && time[at] + shift < last {
            shift = last;
            joined += 1;
        }
        let now = time[at] + shift;
        last = if now.is_nan() { last } else { now };
        now
    });
    (times.collect(), joined)
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
        let (time, joined) = joined_time(&[1.0, 2.0, 0.5, 1.0, 0.25], &[1, 1, 2, 2, 3]);
        assert_eq!((time, joined), (vec![1.0, 2.0, 2.5, 3.0, 3.25], 2));
        // Within a step nothing is joined: that is a clock that went back.
        assert_eq!(joined_time(&[1.0, 0.5], &[1, 1]), (vec![1.0, 0.5], 0));
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

    fn columns<'a>(readings: &'a Readings, stretches: &'a [Vec<usize>]) -> Columns<'a> {
        Columns { readings, time: &readings.time_s, stretches, rate_per_speed: 10.0, size: 5 }
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
        let stretches = [(0..10).collect()];
        let columns = columns(&readings, &stretches);
        let (source, strain) = columns.position();
        let motion = columns.motion(source, strain);
        assert_eq!((motion.source, motion.strain[2]), ("angle", 20.0));
        assert!(motion.speed.iter().all(|v| (v - 0.7).abs() < 1e-15));
        assert!(motion.acceleration.iter().all(|a| (a - 1.0).abs() < 1e-12));
    }

    #[test]
    fn an_exported_rate_gives_the_acceleration_where_there_is_no_angle() {
        let time: Vec<f64> = (0..10).map(f64::from).collect();
        let rate: Vec<f64> = time.iter().map(|t| if *t < 5.0 { 10.0 * t } else { 50.0 }).collect();
        let readings = Readings { time_s: time, rate_per_s: Some(rate), ..Readings::default() };
        let stretches = [(0..10).collect()];
        let columns = columns(&readings, &stretches);
        let (source, strain) = columns.position();
        let motion = columns.motion(source, strain);
        assert_eq!(motion.source, "rate");
        assert!((motion.acceleration[1] - 1.0).abs() < 1e-12);
        assert!(motion.acceleration[8].abs() < 1e-12);
        assert!((motion.strain[5] - 125.0).abs() < 1e-12);
    }
}

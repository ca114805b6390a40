//! The readings of a run as the reversal stage looks at them: motion and torque in the order of time, and
//! small statistics over stretches. It finds nothing and fits nothing.

use crate::clean::result::Points;
use std::ops::Range;

/// Readings with known time, strain and rate, time increasing; one length.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Trace {
    /// Position in [`Points`].
    pub(super) origin: Vec<usize>,
    /// Step.
    pub(super) step: Vec<i64>,
    /// Time, s.
    pub(super) time: Vec<f64>,
    /// Strain position, signed.
    pub(super) strain: Vec<f64>,
    /// Rate, 1/s, signed.
    pub(super) rate: Vec<f64>,
    /// Torque on the sample, N m, signed.
    pub(super) torque: Vec<f64>,
    /// I·dΩ/dt, N m; NaN where not known.
    pub(super) inertia: Vec<f64>,
    /// Stress on the sample, Pa, signed.
    pub(super) stress: Vec<f64>,
    /// Whether the reading may enter a value.
    pub(super) kept: Vec<bool>,
    /// Whether the reading belongs to the drive, not to the sample.
    pub(super) drive: Vec<bool>,
}

/// Reasons after which not even the motion of a reading can be trusted.
const NO_MOTION: [&str; 3] = ["clock", "duplicate", "missing"];

impl Trace {
    /// The usable motion of a run; readings set aside for other reasons keep their motion but enter no value.
    pub(super) fn new(points: &Points) -> Self {
        let mut trace = Self::default();
        for i in 0..points.len() {
            let known = [points.time_s[i], points.strain[i], points.rate_per_s[i]].iter().all(|v| v.is_finite());
            let later = trace.time.last().is_none_or(|t| points.time_s[i] > *t);
            if known && later && !points.fate[i].reasons().any(|r| NO_MOTION.contains(&r)) {
                trace.push(points, i);
            }
        }
        trace
    }

    fn push(&mut self, points: &Points, i: usize) {
        self.origin.push(i);
        self.step.push(points.step[i]);
        self.time.push(points.time_s[i]);
        self.strain.push(points.strain[i]);
        self.rate.push(points.rate_per_s[i]);
        self.torque.push(points.sample_torque_n_m[i]);
        self.inertia.push(points.inertia_torque_n_m[i]);
        self.stress.push(points.stress_pa[i]);
        self.kept.push(points.fate[i].kept() && points.stress_pa[i].is_finite());
        self.drive.push(points.fate[i].has("instrument-inertia"));
    }

    /// Number of readings.
    pub(super) fn len(&self) -> usize {
        self.time.len()
    }

    /// |stress/rate| of a reading, Pa s.
    pub(super) fn viscosity(&self, i: usize) -> f64 {
        (self.stress[i] / self.rate[i]).abs()
    }

    /// Readings of a stretch that may enter a value.
    pub(super) fn kept_in(&self, range: Range<usize>) -> Vec<usize> {
        range.filter(|i| self.kept[*i]).collect()
    }

    /// Median of |rate| over a stretch.
    pub(super) fn speed(&self, range: Range<usize>) -> Option<f64> {
        median(range.map(|i| self.rate[i].abs()).collect())
    }
}

/// Median; none of nothing. NaN are left out.
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.retain(|v| !v.is_nan());
    values.sort_by(f64::total_cmp);
    let n = values.len();
    (n > 0).then(|| if n % 2 == 1 { values[n / 2] } else { 0.5 * (values[n / 2 - 1] + values[n / 2]) })
}

/// Robust standard deviation: 1.4826 times the median distance from the median (consistent for normal noise).
pub(super) fn robust_deviation(values: &[f64]) -> Option<f64> {
    let centre = median(values.to_vec())?;
    median(values.iter().map(|v| (v - centre).abs()).collect()).map(|m| 1.4826 * m)
}

/// Trapezoid weights of readings at strictly monotonic places; they add up to the length covered.
pub(super) fn trapezoid_weights(places: &[f64]) -> Vec<f64> {
    let n = places.len();
    let half = |a: usize, b: usize| 0.5 * (places[b] - places[a]).abs();
    (0..n).map(|i| if i > 0 { half(i - 1, i) } else { 0.0 } + if i + 1 < n { half(i, i + 1) } else { 0.0 }).collect()
}

/// Mean with weights; NaN where they add up to nothing.
pub(super) fn weighted_mean(values: impl Iterator<Item = f64>, weights: &[f64]) -> f64 {
    values.zip(weights).map(|(v, w)| v * w).sum::<f64>() / weights.iter().sum::<f64>()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::clean::result::Fate;

    #[test]
    fn readings_without_motion_are_left_out_and_flagged_ones_keep_theirs() {
        let n = 5;
        let mut fate = vec![Fate::default(); n];
        fate[1].add("spike");
        fate[3].add("clock");
        let points = Points {
            row: (1..=5).collect(),
            step: vec![1; n],
            time_s: vec![0.0, 1.0, 2.0, 1.5, 3.0],
            strain: vec![0.0, 1.0, f64::NAN, 2.0, 3.0],
            rate_per_s: vec![1.0; n],
            torque_n_m: vec![1.0; n],
            sample_torque_n_m: vec![1.0; n],
            inertia_torque_n_m: vec![0.0; n],
            stress_pa: vec![1.0; n],
            fate,
            ..Points::default()
        };
        let trace = Trace::new(&points);
        assert_eq!(trace.origin, [0, 1, 4]);
        assert_eq!(trace.kept, [true, false, true]);
    }

    #[test]
    fn trapezoids_cover_the_length_in_either_direction() {
        assert_eq!(trapezoid_weights(&[0.0, 1.0, 3.0]), [0.5, 1.5, 1.0]);
        assert_eq!(trapezoid_weights(&[3.0, 1.0, 0.0]), [1.0, 1.5, 0.5]);
        assert_eq!(weighted_mean([1.0, 2.0].into_iter(), &[1.0, 3.0]), 1.75);
    }

    #[test]
    fn medians_know_even_odd_and_nothing() {
        assert_eq!(median(vec![3.0, 1.0, f64::NAN, 2.0]), Some(2.0));
        assert_eq!(median(vec![4.0, 1.0]), Some(2.5));
        assert_eq!(median(vec![]), None);
    }
}

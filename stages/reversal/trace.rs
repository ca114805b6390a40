//! The readings of a run as the reversal stage looks at them: motion and torque in the order of time, and
//! small statistics over stretches. It finds nothing and fits nothing.

use crate::clean::result::{Points, Reason};
use std::ops::{Deref, Range};
use std::sync::Arc;

/// Readings with known time, strain and rate, time increasing; one length.
#[derive(Debug, Clone, Default)]
pub(super) struct Trace {
    /// What was measured; shared by traces that differ in what they keep.
    measured: Arc<Measured>,
    /// Whether the reading may enter a value.
    pub(super) kept: Vec<bool>,
}

/// What was measured, a value per reading in each vector.
#[derive(Debug, Default)]
pub(super) struct Measured {
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
    /// Whether the reading belongs to the drive, not to the sample.
    pub(super) drive: Vec<bool>,
}

impl Deref for Trace {
    type Target = Measured;

    fn deref(&self) -> &Measured {
        &self.measured
    }
}

/// Reasons after which not even the motion of a reading can be trusted.
const NO_MOTION: [Reason; 3] = [Reason::Missing, Reason::Clock, Reason::Duplicate];

impl Trace {
    /// The usable motion of a run; readings set aside for other reasons keep their motion but enter no value. The
    /// columns that it is made of are taken out of the points, for readings can be many.
    pub(super) fn new(points: &mut Points) -> Self {
        let origin = usable(points);
        let stress = picked(&mut points.stress_pa, &origin);
        let flags = || origin.iter().map(|at| &points.flags[*at]);
        let kept = flags().zip(&stress).map(|(flags, stress)| flags.kept() && stress.is_finite()).collect();
        let measured = Measured {
            step: picked(&mut points.step, &origin),
            time: picked(&mut points.time_s, &origin),
            strain: picked(&mut points.strain, &origin),
            rate: picked(&mut points.rate_per_s, &origin),
            torque: picked(&mut points.sample_torque_n_m, &origin),
            inertia: picked(&mut points.inertia_torque_n_m, &origin),
            stress,
            drive: flags().map(|flags| flags.has(Reason::InstrumentInertia)).collect(),
            origin,
        };
        Self { measured: Arc::new(measured), kept }
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

/// Positions of readings with known motion, time increasing.
fn usable(points: &Points) -> Vec<usize> {
    let mut origin = Vec::with_capacity(points.len());
    let mut last = f64::NEG_INFINITY;
    for i in 0..points.len() {
        let known = [points.time_s[i], points.strain[i], points.rate_per_s[i]].iter().all(|v| v.is_finite());
        if known && points.time_s[i] > last && !NO_MOTION.iter().any(|reason| points.flags[i].has(*reason)) {
            origin.push(i);
            last = points.time_s[i];
        }
    }
    origin
}

/// The values at these places, which increase, in the room of all.
fn picked<T: Copy>(values: &mut Vec<T>, places: &[usize]) -> Vec<T> {
    let mut values = std::mem::take(values);
    places.iter().enumerate().for_each(|(to, from)| values[to] = values[*from]);
    values.truncate(places.len());
    values
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
    use crate::clean::result::Flags;

    /// Tests make traces by hand.
    impl std::ops::DerefMut for Trace {
        fn deref_mut(&mut self) -> &mut Measured {
            Arc::get_mut(&mut self.measured).unwrap()
        }
    }

    #[test]
    fn readings_without_motion_are_left_out_and_flagged_ones_keep_theirs() {
        let n = 5;
        let mut flags = vec![Flags::default(); n];
        flags[1].add(Reason::Spike);
        flags[3].add(Reason::Clock);
        let mut points = Points {
            row: (1..=5).collect(),
            step: vec![1; n],
            time_s: vec![0.0, 1.0, 2.0, 1.5, 3.0],
            strain: vec![0.0, 1.0, f64::NAN, 2.0, 3.0],
            rate_per_s: vec![1.0; n],
            torque_n_m: vec![1.0; n],
            sample_torque_n_m: vec![1.0; n],
            inertia_torque_n_m: vec![0.0; n],
            stress_pa: vec![1.0; n],
            flags,
            ..Points::default()
        };
        let trace = Trace::new(&mut points);
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

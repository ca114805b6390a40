//! The trace after a reversal in bins of strain: what every estimator works on.

use crate::numerics::float::{exp, ln};

/// Mean of the readings in one bin of strain since the turning point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bin {
    /// Mean strain since the turning point.
    pub(super) strain: f64,
    /// Viscosity over that before the reversal.
    pub(super) ratio: f64,
    /// Number of readings.
    pub(super) readings: f64,
}

/// One reading after the turning point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reading {
    /// Strain since the turning point.
    pub(super) strain: f64,
    /// |stress|, Pa, signed so that the sense of motion is positive.
    pub(super) stress: f64,
    /// |rate|, 1/s, signed in the same way.
    pub(super) rate: f64,
    /// Derivative of the torque with respect to ln of the inertia, as stress, Pa; 0 where not known.
    pub(super) inertia_stress: f64,
}

/// Edges of the bins: 0.0015, 0.003, then every 0.004 to 0.03, then 36 geometric ones from 0.035 to 4 and as dense
/// beyond; `width` widens or narrows them all. Fine where drive and release end, even in ln strain where contacts
/// return.
fn edges(width: f64, largest: f64) -> Vec<f64> {
    let mut edges = vec![0.0];
    let push = |edges: &mut Vec<f64>, stop: f64, step: f64| {
        let from = edges[edges.len() - 1];
        let parts = ((stop - from) / (step * width)).round().max(1.0);
        (1..=parts as usize).for_each(|k| edges.push(from + (stop - from) * k as f64 / parts));
    };
    push(&mut edges, 0.003, 0.0015);
    push(&mut edges, 0.031, 0.004);
    push(&mut edges, 0.035, 0.004);
    let step = ln(4.0 / 0.035) / 35.0 * width;
    let mut k = 1.0;
    while edges[edges.len() - 1] < largest {
        edges.push(0.035 * exp(step * k));
        k += 1.0;
    }
    edges
}

/// Readings from `first` on, in bins; empty ones are left out. `reference` is the viscosity before, Pa s.
///
/// A bin's viscosity is mean stress over mean rate: the mean of the ratios would be biased by the noise of the rate.
pub(super) fn bins(readings: &[Reading], first: f64, reference: f64, width: f64) -> Vec<Bin> {
    let used = || readings.iter().filter(|r| r.strain >= first);
    let edges = edges(width, used().map(|r| r.strain).fold(0.0, f64::max));
    let mut sums = vec![[0.0; 4]; edges.len()];
    for r in used() {
        let k = edges.partition_point(|e| *e <= r.strain);
        for (sum, v) in sums[k.min(edges.len() - 1)].iter_mut().zip([r.strain, r.stress, r.rate, 1.0]) {
            *sum += v;
        }
    }
    let bin =
        |[strain, stress, rate, n]: [f64; 4]| Bin { strain: strain / n, ratio: stress / rate / reference, readings: n };
    sums.into_iter().filter(|s| s[3] > 0.0 && s[2] > 0.0).map(bin).collect()
}

/// Running mean of the ratio over five bins, fewer at the ends.
pub(super) fn smoothed(bins: &[Bin]) -> Vec<f64> {
    let mean = |part: &[Bin]| part.iter().map(|b| b.ratio).sum::<f64>() / part.len() as f64;
    (0..bins.len()).map(|k| mean(&bins[k.saturating_sub(2)..bins.len().min(k + 3)])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(strain: f64, stress: f64) -> Reading {
        Reading { strain, stress, rate: 2.0, inertia_stress: 0.0 }
    }

    #[test]
    fn edges_are_those_of_the_recipe_and_as_dense_beyond() {
        let edges = edges(1.0, 6.0);
        let expected = [0.0, 0.0015, 0.003, 0.007, 0.011, 0.015, 0.019, 0.023, 0.027, 0.031, 0.035];
        for (e, x) in edges.iter().zip(expected) {
            assert!((e - x).abs() < 1e-12, "{e} for {x}");
        }
        assert!(edges.iter().any(|e| (e - 4.0).abs() < 1e-9));
        assert_eq!(edges.iter().filter(|e| (0.0349..=4.0001).contains(*e)).count(), 36);
        let ratios: Vec<f64> = edges[10..].windows(2).map(|w| w[1] / w[0]).collect();
        assert!(ratios.iter().all(|r| (r - ratios[0]).abs() < 1e-9));
        assert!(edges.last().is_some_and(|e| *e >= 6.0));
    }

    #[test]
    fn half_the_width_makes_twice_the_bins() {
        let (one, half) = (edges(1.0, 4.0).len() as f64, edges(0.5, 4.0).len() as f64);
        assert!((half / one - 2.0).abs() < 0.1, "{one} {half}");
    }

    #[test]
    fn bins_count_average_and_ignore_the_order_inside() {
        let mut readings =
            vec![reading(0.004, 3.0), reading(0.005, 5.0), reading(0.006, 4.0), reading(0.5, 8.0), reading(0.001, 9.0)];
        let found = bins(&readings, 0.002, 2.0, 1.0);
        assert_eq!(found.len(), 2);
        assert_eq!((found[0].readings, found[0].ratio), (3.0, 1.0));
        assert!((found[0].strain - 0.005).abs() < 1e-15);
        readings.swap(0, 2);
        assert_eq!(bins(&readings, 0.002, 2.0, 1.0).len(), 2);
        assert!((bins(&readings, 0.002, 2.0, 1.0)[0].ratio - 1.0).abs() < 1e-15);
    }

    #[test]
    fn nothing_gives_no_bins() {
        assert_eq!(bins(&[], 0.0, 1.0, 1.0), vec![]);
        assert_eq!(bins(&[reading(0.1, 1.0)], 0.2, 1.0, 1.0), vec![]);
    }
}

//! One trace with its window before, ready to be fitted under any settings and small changes: what reading, choices
//! and responses share. It opens no points.

use super::before::Steady;
use super::bins::{Bin, Reading, bins};
use super::headline::{Minimum, Problem, averaged, fit, refit};
use super::params::Fit;
use super::result::{Estimate, Noise};

/// Everything that a fit of one trace needs.
#[derive(Debug, Clone)]
pub(super) struct Estimator<'a> {
    pub(super) readings: Vec<Reading>,
    pub(super) first: f64,
    pub(super) steady: &'a Steady,
    pub(super) noise: &'a Noise,
    pub(super) newtonian: bool,
}

/// A change under which a trace is read once more.
#[derive(Debug, Clone, Copy)]
pub(super) struct Change {
    /// Factor on the first usable strain.
    pub(super) first: f64,
    /// Added to every strain.
    pub(super) strain: f64,
    /// Part of the inertia torque taken off once more.
    pub(super) inertia: f64,
}

impl Default for Change {
    fn default() -> Self {
        Self { first: 1.0, strain: 0.0, inertia: 0.0 }
    }
}

/// Bins and the minima that were found for them; at least one.
#[derive(Debug, Clone)]
pub(super) struct Fitted {
    pub(super) bins: Vec<Bin>,
    pub(super) minima: Vec<Minimum>,
}

impl Fitted {
    pub(super) fn share(&self, estimator: &Estimator<'_>) -> Estimate {
        let u_before = estimator.steady.u_relative(estimator.noise);
        averaged(&self.minima, |m| m.share(u_before))
    }
}

impl Estimator<'_> {
    /// Fits from all starts, or again from the minima of `base`.
    pub(super) fn run(&self, settings: &Fit, change: &Change, base: Option<&Fitted>) -> Option<Fitted> {
        let first = self.first * change.first;
        let moved = |r: &Reading| Reading {
            strain: r.strain + change.strain,
            stress: r.stress - change.inertia * r.inertia_stress,
            ..*r
        };
        let used: Vec<Reading> = self.readings.iter().filter(|r| r.strain >= first).map(moved).collect();
        let bins = bins(&used, 0.0, self.steady.viscosity(), settings.bin_width);
        let problem = Problem {
            bins: &bins,
            noise: self.noise,
            u_before: self.steady.u_relative(self.noise),
            fit: settings,
            newtonian: self.newtonian,
        };
        let minima = match base {
            None => fit(&problem),
            Some(base) => refit(&problem, &base.minima),
        };
        (!minima.is_empty()).then_some(Fitted { bins, minima })
    }
}

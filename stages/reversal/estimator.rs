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
    /// Factor by which the noise was widened, because no form fits the trace within it; 1 where one does.
    pub(super) widening: f64,
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
        let fitted = |widening: f64, from: Option<&[Minimum]>| {
            let noise = widened(self.noise, widening);
            let u_before = self.steady.u_relative(self.noise);
            let problem = Problem { bins: &bins, noise: &noise, u_before, fit: settings, newtonian: self.newtonian };
            from.map_or_else(|| fit(&problem), |minima| refit(&problem, minima))
        };
        let (widening, minima) = match base {
            Some(base) => (base.widening, fitted(base.widening, Some(&base.minima))),
            None => {
                let minima = fitted(1.0, None);
                let widening = misfit(&minima, bins.len());
                (widening, if widening > 1.0 { fitted(widening, Some(&minima)) } else { minima })
            }
        };
        (!minima.is_empty()).then_some(Fitted { bins, minima, widening })
    }
}

/// Noise with both parts larger by a factor.
fn widened(noise: &Noise, factor: f64) -> Noise {
    Noise { white: noise.white * factor, correlated: noise.correlated * factor, ..*noise }
}

/// √(Σr²/ν) of the best form where that is above 1, else 1 (R. T. Birge, Phys. Rev. 40 (1932) 207): what the noise
/// before the reversal does not explain is either noise after it or a form that is not quite that of the sample, and
/// neither may leave the error as small as the noise alone.
fn misfit(minima: &[Minimum], bins: usize) -> f64 {
    let freedom = |m: &Minimum| (bins as f64 - m.form.active().len() as f64).max(1.0);
    minima.first().map_or(1.0, |m| (m.squares / freedom(m)).sqrt().max(1.0))
}

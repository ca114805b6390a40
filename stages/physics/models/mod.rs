//! Models of the relative viscosity: one file each, all behind [`Model`]. No data, no fit.
//!
//! Every model gives ln η_r, because viscosities scatter by ratios; derivatives are analytic.

pub mod krieger_dougherty;
pub mod maron_pierce;
pub mod wyart_cates;

/// Where a relative viscosity is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Solid volume fraction φ.
    pub volume_fraction: f64,
    /// Stress, Pa; laws against the solid fraction alone do not look at it.
    pub stress_pa: f64,
}

/// A parameter of a model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameter {
    /// Its name in tables.
    pub name: &'static str,
    /// Its unit; empty where dimensionless.
    pub unit: &'static str,
    /// Smallest value that makes sense.
    pub low: f64,
    /// Largest value that makes sense.
    pub high: f64,
    /// A scale, known by ratios and never ≤ 0, and not a place.
    pub scale: bool,
}

/// A model of the relative viscosity.
pub trait Model {
    /// Its name in tables.
    fn name(&self) -> &'static str;

    /// Its parameters in the order in which `p` holds them.
    fn parameters(&self) -> &'static [Parameter];

    /// ln η_r at `point`; infinite or NaN where the model says jammed.
    fn ln_relative_viscosity(&self, p: &[f64], point: Point) -> f64;

    /// Writes ∂ ln η_r/∂p into `out` and gives ∂ ln η_r/∂φ.
    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64;

    /// Starting values from data (point, ln η_r), the most likely first; empty without data.
    fn starts(&self, data: &[(Point, f64)]) -> Vec<Vec<f64>>;
}

/// Largest solid fraction of the data.
fn largest_fraction(data: &[(Point, f64)]) -> f64 {
    data.iter().map(|(p, _)| p.volume_fraction).fold(0.0, f64::max)
}

/// The packing at which (1 − φ/φ_max)⁻² is the η_r seen: a guess that never lies below the data.
fn packing_guess(data: &[(Point, f64)]) -> f64 {
    use crate::numerics::{float, interval::median};
    let of = |(point, ln): &(Point, f64)| point.volume_fraction / (1.0 - float::exp(-0.5 * ln.max(0.1)));
    median(&data.iter().map(of).collect::<Vec<f64>>()).max(1.02 * largest_fraction(data))
}

#[cfg(test)]
mod check {
    use super::{Model, Point};

    /// Central differences against the analytic derivatives; their own error is about 10⁻⁹ at this step.
    pub(super) fn derivatives(model: &dyn Model, p: &[f64], point: Point) {
        let mut analytic = vec![0.0; p.len()];
        let by_fraction = model.derivatives(p, point, &mut analytic);
        let value = |p: &[f64], point| model.ln_relative_viscosity(p, point);
        for k in 0..p.len() {
            let step = 1e-6 * p[k].abs();
            let (mut above, mut below) = (p.to_vec(), p.to_vec());
            above[k] += step;
            below[k] -= step;
            let numeric = (value(&above, point) - value(&below, point)) / (2.0 * step);
            let name = model.parameters()[k].name;
            assert!((analytic[k] - numeric).abs() < 1e-6 * (1.0 + numeric.abs()), "{name}: {} {numeric}", analytic[k]);
        }
        let moved = |by: f64| Point { volume_fraction: point.volume_fraction + by, ..point };
        let numeric = (value(p, moved(1e-7)) - value(p, moved(-1e-7))) / 2e-7;
        assert!((by_fraction - numeric).abs() < 1e-6 * (1.0 + numeric.abs()), "phi: {by_fraction} {numeric}");
    }

    #[test]
    fn names_are_unique_and_limits_in_order() {
        let all: [&dyn Model; 3] = [
            &super::wyart_cates::WyartCates,
            &super::maron_pierce::MaronPierce,
            &super::krieger_dougherty::KriegerDougherty,
        ];
        for model in all {
            let mut names: Vec<&str> = model.parameters().iter().map(|p| p.name).collect();
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), model.parameters().len(), "{}", model.name());
            assert!(model.parameters().iter().all(|p| p.low < p.high && (!p.scale || p.low > 0.0)));
        }
    }
}

//! Flow curve between two plateaus: η = η_∞ + (η_0 − η_∞)/[1 + (λγ̇)^m].
//!
//! η_0, η_∞: viscosities at rest and at high rate. λ: time whose inverse is the rate in the middle. m: steepness.
//! With η_∞ > η_0 the curve thickens.
//!
//! # Source
//! Cross 1965. From memory, as everywhere in the field.

use super::{Description, Label, Model, Parameter, Point, Subject, ends_of_curve, line_of_logs};
use crate::numerics::float;

/// The model; parameters η_0, η_∞, λ, m.
#[derive(Debug, Clone, Copy)]
pub struct Cross;

const PARAMETERS: [Parameter; 4] = [
    Label::new("viscosity_zero", "η_0", "viscosity at rest", "Pa.s").scale(1e-9, 1e9),
    Label::new("viscosity_infinite", "η_∞", "viscosity at high rate", "Pa.s").scale(1e-9, 1e9),
    Label::new("time", "λ", "time", "s").scale(1e-9, 1e9),
    Label::new("steepness", "m", "steepness", "").scale(0.05, 10.0),
];

const DESCRIPTION: Description = Description {
    name: "cross",
    title: "Cross",
    formula: "η = η_∞ + (η_0 − η_∞)/[1 + (λ·γ\u{307})^m]",
    sources: &["cross-1965"],
    subject: Subject::FlowCurve,
    parameters: &PARAMETERS,
    follows: &[],
};

/// (λγ̇)^m and η.
fn parts(p: &[f64], point: Point) -> (f64, f64) {
    let x = float::pow(p[2] * point.rate_per_s, p[3]);
    (x, p[1] + (p[0] - p[1]) / (1.0 + x))
}

impl Model for Cross {
    fn description(&self) -> &'static Description {
        &DESCRIPTION
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        float::ln(parts(p, point).1)
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        let (x, eta) = parts(p, point);
        let rest = 1.0 / (1.0 + x);
        // ∂η/∂x = −(η_0 − η_∞)/(1 + x)².
        let by_x = -(p[0] - p[1]) * rest * rest / eta;
        out[0] = rest / eta;
        out[1] = (1.0 - rest) / eta;
        out[2] = by_x * x * p[3] / p[2];
        out[3] = by_x * x * float::ln(p[2] * point.rate_per_s);
        0.0
    }

    fn slope(&self, p: &[f64], point: Point) -> f64 {
        let (x, eta) = parts(p, point);
        -(p[0] - p[1]) * p[3] * x / ((1.0 + x) * (1.0 + x) * eta)
    }

    fn plateaus(&self) -> bool {
        true
    }

    /// The ends of the data as plateaus, the middle of the rates as λ and a factor of 10 beside it.
    fn starts(&self, data: &[(Point, f64)]) -> Vec<Vec<f64>> {
        if data.is_empty() {
            return Vec::new();
        }
        let (low, high, rate) = ends_of_curve(data);
        let (zero, infinite) = if line_of_logs(data).1 > 0.0 { (low, high) } else { (high, low) };
        [1.0, 0.1, 10.0].map(|by| vec![zero, infinite, by / rate, 1.0]).into()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_is_half_way() {
        let eta = |rate| Cross.ln_viscosity(&[20.0, 2.0, 0.5, 0.8], Point::at_rate(rate)).exp();
        assert!((eta(2.0) - 11.0).abs() < 1e-13);
        assert!((eta(1e-12) - 20.0).abs() < 1e-6 && (eta(1e12) - 2.0).abs() < 1e-6);
    }

    #[test]
    fn derivatives_are_right() {
        super::super::check::derivatives(&Cross, &[20.0, 1.5, 0.4, 0.8], Point::at_rate(3.0));
    }
}

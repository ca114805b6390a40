//! Flow curve between two plateaus with a power law: η = η_∞ + (η_0 − η_∞)[1 + (λγ̇)²]^((n − 1)/2).
//!
//! η_0, η_∞: viscosities at rest and at high rate. λ: time whose inverse is the rate of the turn. n: flow index of
//! the power law beyond it, below 1.
//!
//! # Source
//! Carreau 1972. From memory, as everywhere in the field.

use super::{Description, Label, Model, Parameter, Point, Subject, ends_of_curve, line_of_logs};
use crate::numerics::float;

/// The model; parameters η_0, η_∞, λ, n.
#[derive(Debug, Clone, Copy)]
pub struct Carreau;

const PARAMETERS: [Parameter; 4] = [
    Label::new("viscosity_zero", "η_0", "viscosity at rest", "Pa.s").scale(1e-9, 1e9),
    Label::new("viscosity_infinite", "η_∞", "viscosity at high rate", "Pa.s").scale(1e-9, 1e9),
    Label::new("time", "λ", "time", "s").scale(1e-9, 1e9),
    Label::new("flow_index", "n", "flow index", "").within(-1.0, 1.0),
];

const DESCRIPTION: Description = Description {
    name: "carreau",
    title: "Carreau",
    formula: "η = η_∞ + (η_0 − η_∞)·[1 + (λ·γ\u{307})^2]^(½·(n − 1))",
    sources: &["carreau-1972"],
    subject: Subject::FlowCurve,
    parameters: &PARAMETERS,
    follows: &[],
};

/// 1 + (λγ̇)², that to (n − 1)/2, and η.
fn parts(p: &[f64], point: Point) -> (f64, f64, f64) {
    let x = p[2] * point.rate_per_s;
    let base = 1.0 + x * x;
    let part = float::pow(base, 0.5 * (p[3] - 1.0));
    (base, part, p[1] + (p[0] - p[1]) * part)
}

impl Model for Carreau {
    fn description(&self) -> &'static Description {
        &DESCRIPTION
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        float::ln(parts(p, point).2)
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        let (base, part, eta) = parts(p, point);
        let span = (p[0] - p[1]) * part / eta;
        out[0] = part / eta;
        out[1] = (1.0 - part) / eta;
        out[2] = span * (p[3] - 1.0) * (base - 1.0) / (base * p[2]);
        out[3] = span * 0.5 * float::ln(base);
        0.0
    }

    fn slope(&self, p: &[f64], point: Point) -> f64 {
        let (base, part, eta) = parts(p, point);
        (p[0] - p[1]) * part / eta * (p[3] - 1.0) * (base - 1.0) / base
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
        [1.0, 10.0, 0.1].map(|by| vec![zero, infinite, by / rate, 0.3]).into()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    #[test]
    fn by_hand() {
        // λγ̇ = √3, n = 0: 2 + 18/√4 = 11.
        let eta = Carreau.ln_viscosity(&[20.0, 2.0, 3f64.sqrt(), 0.0], Point::at_rate(1.0)).exp();
        assert!((eta - 11.0).abs() < 1e-13);
    }

    #[test]
    fn derivatives_are_right() {
        super::super::check::derivatives(&Carreau, &[20.0, 1.5, 0.4, 0.3], Point::at_rate(3.0));
    }
}

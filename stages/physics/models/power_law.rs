//! Flow curve without a scale: σ = K γ̇ⁿ, so η = K γ̇ⁿ⁻¹.
//!
//! K: consistency, the stress at 1 1/s in Pa (its unit is Pa sⁿ). n: 1 for a Newtonian liquid, below it thins, above
//! it thickens.
//!
//! # Source
//! Ostwald 1925. From memory, as everywhere in the field.

use super::{Description, Label, Model, Parameter, Point, Subject, line_of_logs};
use crate::numerics::float;

/// The model; parameters K, n.
#[derive(Debug, Clone, Copy)]
pub struct PowerLaw;

const PARAMETERS: [Parameter; 2] = [
    Label::new("consistency", "K", "consistency", "Pa.s^n").scale(1e-9, 1e9),
    Label::new("flow_index", "n", "flow index", "").within(0.0, 10.0),
];

const DESCRIPTION: Description = Description {
    name: "power-law",
    title: "power law",
    formula: "σ = K·γ\u{307}^n",
    sources: &["ostwald-1925"],
    subject: Subject::FlowCurve,
    parameters: &PARAMETERS,
    follows: &[],
};

impl Model for PowerLaw {
    fn description(&self) -> &'static Description {
        &DESCRIPTION
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        float::ln(p[0]) + (p[1] - 1.0) * float::ln(point.rate_per_s)
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        out[0] = 1.0 / p[0];
        out[1] = float::ln(point.rate_per_s);
        0.0
    }

    fn slope(&self, p: &[f64], _point: Point) -> f64 {
        p[1] - 1.0
    }

    /// The line through the logarithms is the answer.
    fn starts(&self, data: &[(Point, f64)]) -> Vec<Vec<f64>> {
        if data.is_empty() {
            return Vec::new();
        }
        let (level, slope) = line_of_logs(data);
        vec![vec![float::exp(level), 1.0 + slope]]
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    #[test]
    fn stress_by_hand() {
        // 2.5 · 4^0.5 = 5 Pa at 4 1/s: 1.25 Pa s.
        assert!((PowerLaw.ln_viscosity(&[2.5, 0.5], Point::at_rate(4.0)).exp() - 1.25).abs() < 1e-14);
    }

    #[test]
    fn derivatives_are_right() {
        super::super::check::derivatives(&PowerLaw, &[2.5, 0.6], Point::at_rate(4.0));
    }

    #[test]
    fn the_start_is_the_answer() {
        let data: Vec<_> =
            [0.1, 1.0, 30.0].map(Point::at_rate).map(|x| (x, PowerLaw.ln_viscosity(&[3.0, 1.4], x))).into();
        let start = &PowerLaw.starts(&data)[0];
        assert!((start[0] - 3.0).abs() < 1e-12 && (start[1] - 1.4).abs() < 1e-12, "{start:?}");
    }
}

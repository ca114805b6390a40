//! Flow curve with a yield stress: σ = σ_y + K γ̇ⁿ, so η = σ_y/γ̇ + K γ̇ⁿ⁻¹.
//!
//! σ_y: stress below which nothing flows, 0 where all flows. K: consistency (Pa sⁿ). n: flow index.
//!
//! # Source
//! Herschel & Bulkley 1926. From memory, as everywhere in the field.

use super::{Description, Label, Model, Parameter, Point, Subject, line_of_logs};
use crate::numerics::float;

/// The model; parameters σ_y, K, n.
#[derive(Debug, Clone, Copy)]
pub struct HerschelBulkley;

const PARAMETERS: [Parameter; 3] = [
    Label::new("yield_stress", "σ_y", "yield stress", "Pa").within(0.0, 1e6),
    Label::new("consistency", "K", "consistency", "Pa.s^n").scale(1e-9, 1e9),
    Label::new("flow_index", "n", "flow index", "").within(0.0, 10.0),
];

const DESCRIPTION: Description = Description {
    name: "herschel-bulkley",
    title: "Herschel–Bulkley",
    formula: "σ = σ_y + K·γ\u{307}^n",
    sources: &["herschel-1926"],
    subject: Subject::FlowCurve,
    parameters: &PARAMETERS,
    follows: &[],
};

impl Model for HerschelBulkley {
    fn description(&self) -> &'static Description {
        &DESCRIPTION
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        float::ln(p[0] + p[1] * float::pow(point.rate_per_s, p[2])) - float::ln(point.rate_per_s)
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        let power = float::pow(point.rate_per_s, p[2]);
        let stress = p[0] + p[1] * power;
        out[0] = 1.0 / stress;
        out[1] = power / stress;
        out[2] = p[1] * power * float::ln(point.rate_per_s) / stress;
        0.0
    }

    fn slope(&self, p: &[f64], point: Point) -> f64 {
        let flowing = p[1] * float::pow(point.rate_per_s, p[2]);
        p[2] * flowing / (p[0] + flowing) - 1.0
    }

    /// The power law without a yield stress; and with half and nine tenths of the smallest stress for it, the power
    /// law through what is left.
    fn starts(&self, data: &[(Point, f64)]) -> Vec<Vec<f64>> {
        let stress = |(x, ln): &(Point, f64)| x.rate_per_s * float::exp(*ln);
        let smallest = data.iter().map(stress).fold(f64::INFINITY, f64::min);
        if data.is_empty() {
            return Vec::new();
        }
        let start = |part: f64| {
            let less = |d: &(Point, f64)| (d.0, float::ln((stress(d) - part * smallest) / d.0.rate_per_s));
            let (level, slope) = line_of_logs(&data.iter().map(less).collect::<Vec<_>>());
            vec![part * smallest, float::exp(level), 1.0 + slope]
        };
        [0.5, 0.9, 0.0].map(start).into()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    #[test]
    fn stress_by_hand() {
        // 3 + 2.5 · 4^0.5 = 8 Pa at 4 1/s: 2 Pa s.
        assert!((HerschelBulkley.ln_viscosity(&[3.0, 2.5, 0.5], Point::at_rate(4.0)).exp() - 2.0).abs() < 1e-14);
    }

    #[test]
    fn derivatives_are_right() {
        super::super::check::derivatives(&HerschelBulkley, &[3.0, 2.5, 0.6], Point::at_rate(4.0));
    }
}

//! Relative viscosity against the solid fraction with one parameter: η_r = [1 + (5/4)φ/(1 − φ/φ_max)]².
//!
//! φ_max: packing at which the viscosity diverges. 5/4 is half of Einstein's 5/2, so that η_r → 1 + (5/2)φ when
//! dilute.
//!
//! # Source
//! Eilers 1941. From memory, as everywhere in the field.

use super::{Description, Label, Model, Parameter, Point, Subject, packing_guess};
use crate::numerics::float;

/// The model.
#[derive(Debug, Clone, Copy)]
pub struct Eilers;

/// Half of the intrinsic viscosity of spheres.
const HALF: f64 = 1.25;

const PARAMETERS: [Parameter; 1] =
    [Label::new("phi_max", "φ_max", "solid fraction of divergence", "").within(0.0, 1.0)];

const DESCRIPTION: Description = Description {
    name: "eilers",
    title: "Eilers",
    formula: "η_r = [1 + 1.25·φ/(1 − φ/φ_max)]^2",
    sources: &["eilers-1941"],
    subject: Subject::Packing,
    parameters: &PARAMETERS,
    follows: &[],
};

/// 1 + (5/4)φ/(1 − φ/φ_max), negative beyond the packing.
fn root(p: &[f64], phi: f64) -> f64 {
    1.0 + HALF * phi / (1.0 - phi / p[0])
}

impl Model for Eilers {
    fn description(&self) -> &'static Description {
        &DESCRIPTION
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        if point.volume_fraction >= p[0] {
            return f64::NAN;
        }
        2.0 * float::ln(root(p, point.volume_fraction))
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        let (phi, root) = (point.volume_fraction, root(p, point.volume_fraction));
        // With g = 1 − φ/φ_max: ∂root/∂φ = (5/4)/g², ∂root/∂φ_max = −(5/4)(φ/φ_max)²/g².
        let by = 2.0 * HALF / (root * (1.0 - phi / p[0]) * (1.0 - phi / p[0]));
        out[0] = -by * phi * phi / (p[0] * p[0]);
        by
    }

    /// The packing of Maron and Pierce lies near enough.
    fn starts(&self, data: &[(Point, f64)]) -> Vec<Vec<f64>> {
        if data.is_empty() { Vec::new() } else { vec![vec![packing_guess(data)]] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_table_of_laws() {
        super::super::krieger_dougherty::tests::against_table(&Eilers, &[0.64], "eilers_2.5_0.64");
    }

    #[test]
    fn derivatives_are_right() {
        super::super::check::derivatives(&Eilers, &[0.62], Point::at_fraction(0.5));
    }

    #[test]
    fn dense_beyond_the_packing_is_jammed() {
        assert!(!Eilers.ln_viscosity(&[0.6], Point::at_fraction(0.61)).is_finite());
    }
}

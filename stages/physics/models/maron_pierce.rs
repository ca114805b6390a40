//! Relative viscosity against the solid fraction with one parameter: η_r = (1 − φ/φ_max)⁻².
//!
//! φ_max: packing at which the viscosity diverges; at low stress that without friction, at high stress with it.
//!
//! # Source
//! Maron & Pierce 1956; Quemada 1977. From memory, as everywhere in the field.

use super::{Description, Label, Model, Parameter, Point, Subject, packing_guess};
use crate::numerics::float;

/// The model.
#[derive(Debug, Clone, Copy)]
pub struct MaronPierce;

const PARAMETERS: [Parameter; 1] =
    [Label::new("phi_max", "φ_max", "solid fraction of divergence", "").within(0.0, 1.0)];

const DESCRIPTION: Description = Description {
    name: "maron-pierce",
    title: "Maron–Pierce",
    formula: "η_r = (1 − φ/φ_max)^(−2)",
    sources: &["maron-1956", "quemada-1977"],
    subject: Subject::Packing,
    parameters: &PARAMETERS,
    follows: &[],
};

impl Model for MaronPierce {
    fn description(&self) -> &'static Description {
        &DESCRIPTION
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        -2.0 * float::ln1p(-point.volume_fraction / p[0])
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        let (phi, gap) = (point.volume_fraction, p[0] - point.volume_fraction);
        out[0] = -2.0 * phi / (p[0] * gap);
        2.0 / gap
    }

    fn starts(&self, data: &[(Point, f64)]) -> Vec<Vec<f64>> {
        if data.is_empty() { Vec::new() } else { vec![vec![packing_guess(data)]] }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_table_of_laws() {
        super::super::krieger_dougherty::tests::against_table(&MaronPierce, &[0.64], "maron_pierce_0.64");
        super::super::krieger_dougherty::tests::against_table(&MaronPierce, &[0.585], "maron_pierce_0.585");
    }

    #[test]
    fn derivatives_are_right() {
        super::super::check::derivatives(&MaronPierce, &[0.6], Point::at_fraction(0.5));
    }

    #[test]
    fn one_datum_gives_its_own_packing_back() {
        let point = Point::at_fraction(0.5);
        let ln = MaronPierce.ln_viscosity(&[0.61], point);
        assert!((MaronPierce.starts(&[(point, ln)])[0][0] - 0.61).abs() < 1e-12);
    }
}

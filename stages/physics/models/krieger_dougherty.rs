//! Relative viscosity against the solid fraction: η_r = (1 − φ/φ_max)^(−[η]φ_max).
//!
//! φ_max: packing at which the viscosity diverges. [η]: intrinsic viscosity, 2.5 for spheres (Einstein 1906, 1911),
//! so that η_r → 1 + [η]φ when dilute.
//!
//! # Source
//! Krieger & Dougherty 1959. From memory, as everywhere in the field.

use super::{Description, Label, Model, Parameter, Point, Subject, packing_guess};
use crate::numerics::float;

/// The model.
#[derive(Debug, Clone, Copy)]
pub struct KriegerDougherty;

const PARAMETERS: [Parameter; 2] = [
    Label::new("phi_max", "φ_max", "solid fraction of divergence", "").within(0.0, 1.0),
    Label::new("intrinsic_viscosity", "[η]", "intrinsic viscosity", "").scale(0.5, 20.0),
];

const DESCRIPTION: Description = Description {
    name: "krieger-dougherty",
    title: "Krieger–Dougherty",
    formula: "η_r = (1 − φ/φ_max)^(−p) with p = [η]·φ_max",
    sources: &["krieger-1959"],
    subject: Subject::Packing,
    parameters: &PARAMETERS,
    follows: &[],
};

impl Model for KriegerDougherty {
    fn description(&self) -> &'static Description {
        &DESCRIPTION
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        -p[1] * p[0] * float::ln1p(-point.volume_fraction / p[0])
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        let (phi, gap) = (point.volume_fraction, p[0] - point.volume_fraction);
        let ln = float::ln1p(-phi / p[0]);
        out[0] = -p[1] * (ln + phi / gap);
        out[1] = -p[0] * ln;
        p[1] * p[0] / gap
    }

    /// With [η]φ_max = 2 the law is that of Maron and Pierce; from there, and from [η] = 2.5.
    fn starts(&self, data: &[(Point, f64)]) -> Vec<Vec<f64>> {
        if data.is_empty() {
            return Vec::new();
        }
        let packing = packing_guess(data);
        vec![vec![packing, 2.0 / packing], vec![packing, 2.5]]
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
pub(super) mod tests {
    use super::*;

    const LAWS: &str = include_str!("reference/relative_viscosity_laws.csv");

    /// Holds a law against a column of the table, wherever the table has a number.
    pub(in super::super) fn against_table(model: &dyn Model, p: &[f64], column: &str) {
        let mut lines = LAWS.lines().filter(|l| !l.starts_with('#'));
        let at = lines.next().unwrap().split(',').position(|h| h == column).unwrap();
        let mut checked = 0;
        for cells in lines.map(|l| l.split(',').collect::<Vec<_>>()) {
            let (phi, Ok(want)) = (cells[0].parse().unwrap(), cells[at].parse::<f64>()) else { continue };
            if !want.is_finite() {
                continue;
            }
            let got = model.ln_viscosity(p, Point::at_fraction(phi)).exp();
            // The table has twelve digits.
            assert!((got / want - 1.0).abs() < 1e-10, "{column} at {phi}: {got} {want}");
            checked += 1;
        }
        assert!(checked > 5, "{column}: {checked}");
    }

    #[test]
    fn agrees_with_the_table_of_laws() {
        against_table(&KriegerDougherty, &[0.64, 2.5], "krieger_dougherty_2.5_0.64");
        against_table(&KriegerDougherty, &[0.62, 2.7], "krieger_dougherty_2.7_0.62");
    }

    #[test]
    fn dilute_is_einsteins_law() {
        let point = Point::at_fraction(1e-6);
        assert!((KriegerDougherty.ln_viscosity(&[0.6, 2.5], point) / 2.5e-6 - 1.0).abs() < 1e-5);
    }

    #[test]
    fn derivatives_are_right() {
        super::super::check::derivatives(&KriegerDougherty, &[0.6, 2.6], Point::at_fraction(0.5));
    }
}

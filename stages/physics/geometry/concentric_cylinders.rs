//! Concentric cylinders: representative stress and rate, the means of inner and outer wall.
//!
//! With δ = R_o/R_i: σ = (1 + δ²)/(2δ²) · M/(2πL R_i² c_L), γ̇ = Ω(1 + δ²)/(δ² − 1); ISO 3219:1993, annex B
//! (now ISO 3219-2:2021), and DIN 53019-1, where c_L is the end-effect factor of the torque (1.10 for the standard geometry).

use super::{Caution, Constants, Term};
use crate::physics::quantity::Quantity;
use std::f64::consts::PI;

/// Constants from inner radius, radius of the cup and length in m.
pub(super) fn constants(inner: f64, outer: f64, length: f64, end_effect: f64) -> Constants {
    let square = (outer / inner) * (outer / inner);
    Constants {
        stress_per_torque: (1.0 + square) / (2.0 * square) / (2.0 * PI * length * inner * inner * end_effect),
        rate_per_speed: (1.0 + square) / (square - 1.0),
        normal_stress_per_force: None,
        inertial_force: None,
        widest_gap_m: outer - inner,
        rim_gap_m: None,
        narrowest_gap_m: Some(outer - inner),
    }
}

/// Largest δ for which representative values are meant (ISO 3219:1993, annex B).
pub const WIDEST_RATIO: f64 = 1.2;
/// Shortest cylinder, in inner radii, for which the end-effect factor was found (same source).
pub const SHORTEST: f64 = 3.0;

/// What runs in these cylinders ask to be minded. Stress falls from wall to wall as r⁻², so by δ² in all.
pub(super) fn cautions(inner: f64, outer: f64, length: f64) -> Vec<Caution> {
    let ratio = outer / inner;
    let mut found = vec![Caution::MeansOfWalls(ratio * ratio - 1.0)];
    if ratio > WIDEST_RATIO {
        found.push(Caution::WideGap(ratio));
    }
    // The last digits of a length that was typed do not count.
    if length < SHORTEST * inner * (1.0 - 1e-9) {
        found.push(Caution::ShortCylinder(length / inner));
    }
    found
}

/// η ∝ (R_i⁻² − R_o⁻²)/L.
pub(super) fn viscosity_terms(inner: Quantity, outer: Quantity, length: Quantity) -> Vec<Term> {
    let square = (outer.value / inner.value) * (outer.value / inner.value);
    vec![
        ("inner_radius", -2.0 * square / (square - 1.0), inner.relative()),
        ("outer_radius", 2.0 / (square - 1.0), outer.relative()),
        ("length", -1.0, length.relative()),
    ]
}

/// γ̇ ∝ (δ² + 1)/(δ² − 1).
pub(super) fn rate_terms(inner: Quantity, outer: Quantity, length: Quantity) -> Vec<Term> {
    let square = (outer.value / inner.value) * (outer.value / inner.value);
    let per_ratio = 4.0 * square / (square * square - 1.0);
    vec![
        ("inner_radius", per_ratio, inner.relative()),
        ("outer_radius", -per_ratio, outer.relative()),
        ("length", 0.0, length.relative()),
    ]
}

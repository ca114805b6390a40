//! Cone and plate: uniform stress and rate for small angles.
//!
//! σ = 3M/(2πR³), γ̇ = Ω/tan α, N₁ = 2F/(πR²); C. W. Macosko, *Rheology: Principles, Measurements and
//! Applications* (VCH, 1994), ch. 5; K. Walters, *Rheometry* (Chapman & Hall, 1975). tan α instead of α
//! changes the rate by α²/3: 10⁻⁴ at 1°, 1.6·10⁻³ at 4°. Inertia of the sample pulls the plates together with
//! (3π/40)ρΩ²R⁴, which takes 0.15ρΩ²R² off N₁ (Walters, as above).

use super::{Constants, Term};
use crate::numerics::float::{sin, tan};
use crate::physics::quantity::Quantity;
use std::f64::consts::PI;

/// Constants from radius in m, angle in rad, truncation in m.
pub(super) fn constants(radius: f64, angle: f64, truncation: Option<f64>) -> Constants {
    Constants {
        stress_per_torque: 3.0 / (2.0 * PI * radius * radius * radius),
        rate_per_speed: 1.0 / tan(angle),
        normal_stress_per_force: Some(2.0 / (PI * radius * radius)),
        inertial_force: Some(3.0 * PI / 40.0 * radius * radius * radius * radius),
        widest_gap_m: radius * tan(angle),
        rim_gap_m: Some(radius * tan(angle)),
        narrowest_gap_m: truncation,
    }
}

/// η ∝ tan α/R³, and d ln tan α/d ln α = 2α/sin 2α.
pub(super) fn viscosity_terms(radius: Quantity, angle: Quantity) -> Vec<Term> {
    let per_angle = 2.0 * angle.value / sin(2.0 * angle.value);
    vec![("radius", -3.0, radius.relative()), ("angle", per_angle, angle.relative())]
}

/// γ̇ ∝ 1/tan α.
pub(super) fn rate_terms(radius: Quantity, angle: Quantity) -> Vec<Term> {
    let per_angle = 2.0 * angle.value / sin(2.0 * angle.value);
    vec![("radius", 0.0, radius.relative()), ("angle", -per_angle, angle.relative())]
}

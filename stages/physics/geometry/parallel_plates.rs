//! Two parallel plates: the rate grows from the axis to the rim, so torque weighs the rim most.
//!
//! Rate at the rim γ̇_R = ΩR/h and *apparent* stress 2M/(πR³), which is the stress at the rim only where torque is
//! proportional to speed. Else σ_R = M/(2πR³)·(3 + d ln M/d ln γ̇_R), the correction of Weissenberg, Rabinowitsch and
//! Mooney; C. W. Macosko, *Rheology: Principles, Measurements and Applications* (VCH, 1994), ch. 5. The slope needs a
//! steady flow curve and is not defined during a transient.

use super::{Constants, Term};
use crate::physics::quantity::Quantity;
use std::f64::consts::PI;

/// Stress at the rim over the apparent one, from d ln M/d ln γ̇_R.
pub(super) fn weissenberg_rabinowitsch_factor(slope: f64) -> f64 {
    (3.0 + slope) / 4.0
}

/// Constants from radius and gap in m.
pub(super) fn constants(radius: f64, gap: f64) -> Constants {
    Constants {
        stress_per_torque: 2.0 / (PI * radius * radius * radius),
        rate_per_speed: radius / gap,
        // Plates give N₁ − N₂ at the rim, and only with the slope of the force.
        normal_stress_per_force: None,
        inertial_force: None,
        widest_gap_m: gap,
        rim_gap_m: Some(gap),
        narrowest_gap_m: Some(gap),
    }
}

/// η ∝ h/R⁴.
pub(super) fn viscosity_terms(radius: Quantity, gap: Quantity) -> Vec<Term> {
    vec![("radius", -4.0, radius.relative()), ("gap", 1.0, gap.relative())]
}

/// γ̇ ∝ R/h.
pub(super) fn rate_terms(radius: Quantity, gap: Quantity) -> Vec<Term> {
    vec![("radius", 1.0, radius.relative()), ("gap", -1.0, gap.relative())]
}

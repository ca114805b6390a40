//! Liquids, particles and samples as meant: names resolved, everything in SI.

use super::liquids::Composition;
use super::quantity::Quantity;
use serde::{Deserialize, Serialize};

/// A suspending liquid, or the Newtonian liquid of a control.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Liquid {
    /// Name in the study file.
    pub name: String,
    /// Viscosity, Pa s.
    pub viscosity: Option<Quantity>,
    /// Density, kg/m³.
    pub density: Option<Quantity>,
    /// What it is made of, where its viscosity follows from that.
    #[serde(default)]
    pub composition: Option<Composition>,
}

/// The solid particles.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Particles {
    /// Name in the study file.
    pub name: String,
    /// Density, kg/m³.
    pub density: Option<Quantity>,
    /// Diameter, m.
    pub diameter: Option<Quantity>,
}

/// What is sheared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sample {
    /// Name in the study file; free text.
    pub name: String,
    /// Its liquid.
    pub liquid: Liquid,
    /// Its particles; none for a control.
    pub particles: Option<Particles>,
    /// Solid volume fraction, given or from the masses; none for a control.
    pub volume_fraction: Option<Quantity>,
    /// A Newtonian liquid under the same protocol, which measures the instrument.
    pub control: bool,
}

/// φ = (m_p/ρ_p) / (m_p/ρ_p + m_l/ρ_l) with first-order uncertainty (JCGM 100, 5.1.2).
///
/// Masses in kg, densities in kg/m³.
pub fn volume_fraction(
    particle_mass: Quantity,
    particle_density: Quantity,
    liquid_mass: Quantity,
    liquid_density: Quantity,
) -> Quantity {
    let solid = particle_mass.value / particle_density.value;
    let liquid = liquid_mass.value / liquid_density.value;
    let phi = solid / (solid + liquid);
    let terms = [particle_mass, particle_density, liquid_mass, liquid_density].map(|q| q.relative() * q.relative());
    // d ln φ/d ln(solid volume) = 1 − φ, and the same with the other sign for the liquid volume.
    let u = phi * (1.0 - phi) * terms.iter().sum::<f64>().sqrt();
    Quantity { value: phi, u }
}

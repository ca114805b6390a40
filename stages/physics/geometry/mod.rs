//! Measuring geometries: each turns torque, speed and axial force into stress, rate and normal stress.
//! One file each, with formula and source.

pub mod concentric_cylinders;
mod cone_plate;
mod parallel_plates;

use super::quantity::Quantity;
use serde::{Deserialize, Serialize};

/// A measuring geometry as meant, in SI.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Geometry {
    /// Name in the study file.
    pub name: String,
    /// Shape and dimensions.
    pub shape: Shape,
    /// Moment of inertia, N m s².
    pub inertia: Option<Quantity>,
}

/// What a shape asks to be minded of all that is measured in it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Caution {
    /// Parallel plates: the rate is that at the rim, the contact share a mean over the radius weighted by torque.
    WeightedByTorque,
    /// Concentric cylinders: stress and rate are means of both walls, between which the stress differs by this part.
    MeansOfWalls(f64),
    /// Concentric cylinders: outer over inner radius, above [`concentric_cylinders::WIDEST_RATIO`].
    WideGap(f64),
    /// Concentric cylinders: length in inner radii, below [`concentric_cylinders::SHORTEST`].
    ShortCylinder(f64),
}

/// Shape and dimensions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// Cone and plate.
    ConePlate {
        /// Radius, m.
        radius: Quantity,
        /// Angle between cone and plate, rad.
        angle: Quantity,
        /// Truncation, m.
        truncation: Option<Quantity>,
    },
    /// Two parallel plates.
    ParallelPlates {
        /// Radius, m.
        radius: Quantity,
        /// Gap, m.
        gap: Quantity,
    },
    /// Concentric cylinders.
    ConcentricCylinders {
        /// Radius of the inner cylinder, m.
        inner_radius: Quantity,
        /// Radius of the cup, m.
        outer_radius: Quantity,
        /// Length of the inner cylinder, m.
        length: Quantity,
        /// End-effect factor of the torque.
        end_effect: f64,
    },
}

/// Linear constants of a geometry.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constants {
    /// Stress per torque, Pa/(N m).
    pub stress_per_torque: f64,
    /// Rate per speed, and so strain per angle.
    pub rate_per_speed: f64,
    /// First normal-stress difference per axial force, Pa/N; none where the geometry gives none.
    pub normal_stress_per_force: Option<f64>,
    /// Axial force that inertia of the sample takes off per density and squared speed, N/(kg/m³ · rad²/s²); none
    /// where the geometry gives no normal stress.
    pub inertial_force: Option<f64>,
    /// Widest gap, m, over which momentum must diffuse.
    pub widest_gap_m: f64,
    /// Gap at the free rim, m; none where no rim is sheared.
    pub rim_gap_m: Option<f64>,
    /// Narrowest gap, m, that a particle must pass.
    pub narrowest_gap_m: Option<f64>,
}

/// What the viscosity (or the rate) owes to one dimension: its key in the study file, d ln η/d ln dimension, and the
/// dimension's relative standard uncertainty.
pub type Term = (&'static str, f64, f64);

impl Geometry {
    /// The linear constants of this shape.
    pub fn constants(&self) -> Constants {
        match &self.shape {
            Shape::ConePlate { radius, angle, truncation } => {
                cone_plate::constants(radius.value, angle.value, truncation.map(|t| t.value))
            }
            Shape::ParallelPlates { radius, gap } => parallel_plates::constants(radius.value, gap.value),
            Shape::ConcentricCylinders { inner_radius, outer_radius, length, end_effect } => {
                concentric_cylinders::constants(inner_radius.value, outer_radius.value, length.value, *end_effect)
            }
        }
    }

    /// How the viscosity depends on each dimension, for budgets; its relative standard uncertainty from the
    /// geometry is √Σ(sensitivity·u)².
    pub fn viscosity_terms(&self) -> Vec<Term> {
        match &self.shape {
            Shape::ConePlate { radius, angle, .. } => cone_plate::viscosity_terms(*radius, *angle),
            Shape::ParallelPlates { radius, gap } => parallel_plates::viscosity_terms(*radius, *gap),
            Shape::ConcentricCylinders { inner_radius, outer_radius, length, .. } => {
                concentric_cylinders::viscosity_terms(*inner_radius, *outer_radius, *length)
            }
        }
    }

    /// How the rate depends on each dimension, in the same order; the stress is viscosity times rate.
    pub fn rate_terms(&self) -> Vec<Term> {
        match &self.shape {
            Shape::ConePlate { radius, angle, .. } => cone_plate::rate_terms(*radius, *angle),
            Shape::ParallelPlates { radius, gap } => parallel_plates::rate_terms(*radius, *gap),
            Shape::ConcentricCylinders { inner_radius, outer_radius, length, .. } => {
                concentric_cylinders::rate_terms(*inner_radius, *outer_radius, *length)
            }
        }
    }

    /// What every run in this shape asks to be minded.
    pub fn cautions(&self) -> Vec<Caution> {
        match &self.shape {
            Shape::ConePlate { .. } => Vec::new(),
            Shape::ParallelPlates { .. } => vec![Caution::WeightedByTorque],
            Shape::ConcentricCylinders { inner_radius, outer_radius, length, .. } => {
                concentric_cylinders::cautions(inner_radius.value, outer_radius.value, length.value)
            }
        }
    }

    /// Stress at the rim over the apparent one, from d ln M/d ln γ̇ of the steady flow curve; none for shapes whose
    /// stress is one.
    pub fn weissenberg_rabinowitsch_factor(&self, slope: f64) -> Option<f64> {
        matches!(self.shape, Shape::ParallelPlates { .. })
            .then(|| parallel_plates::weissenberg_rabinowitsch_factor(slope))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

//! The rheometer as meant: its inertia, torque limits and calibration, in SI.

use super::quantity::Quantity;
use serde::{Deserialize, Serialize};

/// A rheometer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Instrument {
    /// Name in the study file.
    pub name: String,
    /// Moment of inertia of its moving part without the geometry, N m s².
    pub inertia: Option<Quantity>,
    /// Smallest torque that it resolves, N m.
    pub torque_floor: Option<f64>,
    /// Largest torque that it reads, N m.
    pub torque_ceiling: Option<f64>,
    /// Relative standard uncertainty of the torque calibration.
    pub torque_calibration: Option<f64>,
    /// Torsional compliance, rad/(N m).
    pub compliance: Option<Quantity>,
}

/// The instrument's inertia plus the geometry's, N m s²; none where neither is known.
pub fn total_inertia(instrument: Option<Quantity>, geometry: Option<Quantity>) -> Option<Quantity> {
    match (instrument, geometry) {
        (None, None) => None,
        (a, b) => {
            let (a, b) = (a.unwrap_or(Quantity::exact(0.0)), b.unwrap_or(Quantity::exact(0.0)));
            Some(Quantity { value: a.value + b.value, u: (a.u * a.u + b.u * b.u).sqrt() })
        }
    }
}

//! Settings of clean: one rule per reason, named by it with `_`. The rules themselves are in `rules.rs`.

use crate::settings::Rule;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Settings of clean.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// Readings in the local quadratic that gives speed and acceleration (Savitzky & Golay 1964).
    #[schemars(range(min = 3, max = 51))]
    pub derivative_readings: usize,
    /// Largest relative difference between exported stress and torque times the geometry's constant.
    #[schemars(range(min = 0.0001, max = 1.0))]
    pub stress_agreement: f64,
    /// Flag readings without torque, time or motion.
    pub missing: bool,
    /// Flag readings whose time goes back.
    pub clock: bool,
    /// Flag readings that repeat the time of the one before.
    pub duplicate: bool,
    /// Flag single readings of the torque that stand out from their neighbours (Hampel 1974).
    pub spike: Rule<Spike>,
    /// Flag steps whose torque is too small to be read.
    pub below_torque_floor: Rule<TorqueFloor>,
    /// Flag steps whose torque is too large to be read.
    pub above_torque_ceiling: Rule<TorqueCeiling>,
    /// Flag readings whose torque is spent on turning the rotor's own mass.
    pub instrument_inertia: Rule<InstrumentInertia>,
    /// Remark on gaps that are narrow against the particles.
    pub gap_too_narrow: Rule<GapTooNarrow>,
    /// Flag the rest of a step from an irreversible fall of the viscosity on.
    pub edge_fracture: Rule<EdgeFracture>,
}

impl Default for Params {
    fn default() -> Self {
        Self {
            derivative_readings: 5,
            stress_agreement: 0.02,
            missing: true,
            clock: true,
            duplicate: true,
            spike: Rule::default(),
            below_torque_floor: Rule::default(),
            above_torque_ceiling: Rule::default(),
            instrument_inertia: Rule::default(),
            gap_too_narrow: Rule::default(),
            edge_fracture: Rule::default(),
        }
    }
}

/// Hampel's filter on the sample torque.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Spike {
    /// Readings on each side that a reading is compared with.
    #[schemars(range(min = 2, max = 50))]
    pub window: usize,
    /// Distance from the neighbours' median in robust standard deviations.
    #[schemars(range(min = 2.0, max = 50.0))]
    pub threshold: f64,
    /// Smallest relative distance from the neighbours' median that can be a spike.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub least: f64,
    /// The same for the quick transient just after a change of speed or sense.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub least_in_transient: f64,
    /// Strain after a change of speed or sense that counts as its quick transient.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub transient_strain: f64,
}

impl Default for Spike {
    fn default() -> Self {
        // Empirical: at 5 robust standard deviations normal noise raises one false alarm in 10⁵ readings or so.
        Self { window: 5, threshold: 5.0, least: 0.1, least_in_transient: 0.5, transient_strain: 0.1 }
    }
}

/// When a step's torque is too small.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct TorqueFloor {
    /// Median |torque| of the steady part, in units of the instrument's floor, below which a step is flagged.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub factor: f64,
}

impl Default for TorqueFloor {
    fn default() -> Self {
        Self { factor: 5.0 }
    }
}

/// When a step's torque is too large.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct TorqueCeiling {
    /// Median |torque| of the steady part, in units of the instrument's ceiling, above which a step is flagged.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub factor: f64,
}

impl Default for TorqueCeiling {
    fn default() -> Self {
        Self { factor: 1.0 }
    }
}

/// When a reading belongs to the drive and not to the sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct InstrumentInertia {
    /// Inertia torque in units of the sample torque above which a reading inside a change of speed is flagged.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub share: f64,
    /// Readings inside a change of speed below which its acceleration is not known, and all of them are flagged.
    #[schemars(range(min = 0, max = 100))]
    pub ramp_readings: usize,
}

impl Default for InstrumentInertia {
    fn default() -> Self {
        Self { share: 0.05, ramp_readings: 5 }
    }
}

/// When a gap is narrow.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct GapTooNarrow {
    /// Narrowest gap, in particle diameters, below which the run carries a remark.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub diameters: f64,
}

impl Default for GapTooNarrow {
    fn default() -> Self {
        // Common practice.
        Self { diameters: 10.0 }
    }
}

/// When a fall of the viscosity is irreversible.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct EdgeFracture {
    /// Fall from the highest level reached in the step, as a part of it, that must last to the step's end.
    #[schemars(range(min = 0.05, max = 1.0))]
    pub fall: f64,
    /// Strain after a change of speed or sense that is left out, because the sample's own transients fall too.
    #[schemars(range(min = 0.0, max = 100.0))]
    pub transient_strain: f64,
}

impl Default for EdgeFracture {
    fn default() -> Self {
        // Empirical: larger than the fall after a start-up overshoot, smaller than what a lost rim takes away.
        Self { fall: 0.3, transient_strain: 1.0 }
    }
}

/// A stretch of the run that somebody set aside by hand; without step and times the whole run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetAside {
    /// Step as numbered in the export.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<i64>,
    /// First time that is set aside, s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("x-unit" = "s"))]
    pub from_s: Option<f64>,
    /// Last time that is set aside, s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("x-unit" = "s"))]
    pub to_s: Option<f64>,
    /// The reason, which the report prints.
    pub because: String,
}

//! What clean has to say of a run, as data; the words are those of the reports.

use crate::physics::geometry::Caution;
use serde::{Deserialize, Serialize};

/// A remark on a run as a whole, gravest first. Checks of validity that do not hold stand in the notes beside these.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Remark {
    /// The torque falls for good from a reading on: an edge that fractured, or sample that was lost.
    TorqueFalls {
        /// Step.
        step: i64,
        /// Line in the export of the first reading behind the fall.
        row: u32,
    },
    /// Back at one set-point, the viscosity is not what it was.
    Drifted {
        /// Step of the later visit.
        step: i64,
        /// Step of the first visit.
        first_step: i64,
        /// Relative change.
        change: f64,
        /// Its standard uncertainty.
        u: f64,
        /// Whether the later visit is excluded.
        excluded: bool,
    },
    /// At turning points the exported torque contradicts what the layout states about inertia.
    InertiaNotAsStated {
        /// What the layout states: the torque holds the inertia torque.
        stated: bool,
        /// Part of the inertia torque that was found in the exported one; 1 or 0 are expected.
        found: f64,
    },
    /// Changes of speed are left out, because no moment of inertia is known to correct them by.
    InertiaUnknown,
    /// Torque and motion have opposite signs in the export; the torque was turned round.
    TorqueTurnedRound,
    /// The time starts anew; each step was counted from the end of the one before.
    TimeStartsAnew {
        /// How often.
        times: u64,
    },
    /// Nothing was there to be excluded by hand.
    NothingToExclude {
        /// The reason that the study gives.
        because: String,
    },
    /// Parallel plates: the stress of the whole run is the apparent one.
    ApparentStress {
        /// Why.
        why: NoSlope,
    },
    /// Parallel plates: the stress stays the apparent one in these steps, where the flow curve falls or jumps.
    ApparentStressIn {
        /// The steps.
        steps: Vec<i64>,
    },
    /// Rates were not brought to one temperature.
    RatesAsMeasured {
        /// Why.
        why: NoTemperature,
    },
    /// Rates stay as measured in these steps, of which no usable temperature is known.
    RatesAsMeasuredIn {
        /// The steps.
        steps: Vec<i64>,
    },
    /// Rates were brought to one temperature.
    RatesAtOneTemperature {
        /// That temperature, °C.
        reference_c: f64,
        /// Smallest factor on a rate.
        low: f64,
        /// Largest factor.
        high: f64,
    },
    /// What the geometry itself asks to be minded.
    Geometry {
        /// What that is.
        caution: Caution,
    },
}

/// Why the stress between plates has no correction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoSlope {
    /// The study asks for the apparent stress.
    AsAsked,
    /// Too few different steady rates: how many.
    FewRates(usize),
    /// Different torques at one rate.
    Folded,
}

/// Why rates were not brought to one temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoTemperature {
    /// The liquid is of no known composition and `per_kelvin` is not stated.
    NoCoefficient,
    /// The liquid is of no known composition and `reference` is not stated.
    NoReference,
    /// The export has no temperature.
    NotExported,
}

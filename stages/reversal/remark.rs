//! What the stage has to say of a reversal, a run or a control, as data; the words are those of the reports.

use super::result::Estimate;
use serde::{Deserialize, Serialize};

/// A remark on a reversal, the gravest first: what makes it unusable (F), what puts it in doubt (C), what keeps its
/// contact share from being resolved, what is minded (B), and how it was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Remark {
    /// No steady stretch before could be read.
    NoSteadyStretch,
    /// The record ends early after the reversal.
    Aborted {
        /// Strain at its end.
        strain: f64,
    },
    /// The torque of a stretch is too small.
    FewTorqueFloors {
        /// Torque in torque floors.
        floors: f64,
        /// The least.
        least: f64,
    },
    /// The speed after is not that before; unusable or minded by how much.
    SpeedAfter {
        /// Relative difference.
        difference: f64,
    },
    /// Excluded by hand.
    SetAside {
        /// The reason that the study gives.
        because: String,
    },
    /// No contact share could be read.
    NoContactShare,
    /// The control comes back later than the readings that were used.
    ControlTooLate,
    /// The viscosity before is not steady.
    NotSteady,
    /// The drift of the viscosity before is known too badly to tell.
    SteadinessNotShown,
    /// The control of the same instrument and geometry failed.
    ControlFailed,
    /// A restart in the old sense shows a change that none may.
    RestartFailed,
    /// The torque fell for good around the reversal.
    TorqueFell,
    /// Not resolved: the first usable strain is too large.
    LateFirstStrain {
        /// The strain.
        strain: f64,
        /// The largest.
        most: f64,
    },
    /// Not resolved: the standard uncertainty of the contact share is too large.
    LargeUncertainty {
        /// The standard uncertainty.
        u: f64,
        /// The largest.
        most: f64,
    },
    /// Not resolved: the contact share is out of range.
    OutOfRange {
        /// The contact share.
        share: f64,
    },
    /// Not resolved: what is left of the viscosity is not above its uncertainty.
    NothingLeft {
        /// Part of the viscosity that is left.
        part: f64,
    },
    /// Not resolved: too few bins of early strain.
    FewEarlyBins {
        /// How many.
        bins: u32,
    },
    /// The interval holds zero: its upper end is the limit of a drop.
    NoDrop,
    /// The standard uncertainty of the contact share is minded.
    Uncertainty {
        /// The standard uncertainty.
        u: f64,
    },
    /// The first usable strain is minded.
    FirstStrain {
        /// The strain.
        strain: f64,
    },
    /// Little was recorded after.
    ShortAfter {
        /// Strain on record.
        strain: f64,
    },
    /// Little was recorded since the last change before.
    ShortBefore {
        /// Strain on record.
        strain: f64,
    },
    /// The curve does not describe the bins within their noise.
    Misfit {
        /// Sum of squares per bin.
        squares: f64,
    },
    /// Parallel plates: the contact share is weighted by torque.
    WeightedByTorque,
    /// The forms of the transient differ.
    FormsDiffer,
    /// Too few readings to know the noise.
    NoiseUnknown,
    /// Too few readings behind the first usable strain to fit.
    FewReadings,
    /// Read from a later strain on, because the control comes back late.
    ReadLater,
    /// The sample stood still between the two senses; strain counts from the leaving.
    StoodStill,
}

impl Remark {
    /// Whether it tells how a reversal was read, and not what is wrong with it.
    pub fn tells_how(&self) -> bool {
        matches!(self, Self::ReadLater | Self::NoiseUnknown | Self::StoodStill)
    }
}

/// A remark on a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum RunRemark {
    /// No reversal was found in the motion.
    NoReversal,
    /// Restarts in the old sense, where contacts do not open.
    Restarts {
        /// All of them.
        all: u32,
        /// Those that could be read.
        read: u32,
        /// Those that show a change.
        failed: u32,
        /// The largest change: line in the export, and 1 − η/η_before; among those that failed, where some did.
        largest: Option<(u32, Estimate)>,
    },
    /// So many reversals were read from a later strain on, because the control comes back late.
    ReadLater {
        /// How many.
        reversals: u32,
        /// Of how many.
        all: u32,
    },
    /// The density is not given: momentum diffusion was reckoned with that of water.
    DensityNotGiven,
    /// The preamble lacks an entry that the study chose.
    NoPreambleEntry {
        /// Its key.
        key: String,
    },
}

/// A remark on the controls of one instrument and geometry, the gravest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum ControlRemark {
    /// They show a drop that a Newtonian liquid cannot have.
    Drop,
    /// The control runs hold no reversal.
    NoReversal,
    /// In so many reversals the torque was not seen to come back.
    TorqueNotBack {
        /// How many.
        reversals: u32,
        /// Of how many.
        all: u32,
    },
}

//! The verdict on a sample and the reason for it. A reason belongs to one verdict.

use super::choice::Choice;
use serde::{Deserialize, Serialize};

/// Share of the rise at which the verdict turns: what carries more than this carries most of it.
pub const MOST_OF_THE_RISE: f64 = 0.5;

/// Probability up to which a rise counts as shown: one-sided, as at the lower end of a 95 % interval.
pub const LEVEL_OF_A_RISE: f64 = 0.025;

/// Factor on the probability of a rise by the scatter of its own two ends, because the data chose them. Own rule: in
/// studies of three made-up samples without a rise, where loadings follow trends or the scatter grows with the
/// set-point, a rise is shown in at most 2.3 % with it and in 4.3 % without it, at a level of 2.5 % (2 to 10 loadings).
pub const ENDS_CHOSEN: f64 = 2.0;

/// The answer to the question of the study for one sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Verdict {
    /// Contacts carry more than [`MOST_OF_THE_RISE`].
    #[serde(rename = "contacts dominate")]
    ContactsDominate,
    /// Contacts carry less.
    #[serde(rename = "hydrodynamics dominate")]
    HydrodynamicsDominate,
    /// The interval of the share allows both, or whether there is a rise is open.
    #[serde(rename = "not decided")]
    NotDecided,
    /// The viscosity does not rise.
    #[serde(rename = "no thickening to explain")]
    NoThickening,
    /// The contact share of the rise is not known.
    #[serde(rename = "not resolved")]
    NotResolved,
}

impl Verdict {
    /// As it stands in tables and in print.
    pub const fn name(self) -> &'static str {
        match self {
            Self::ContactsDominate => "contacts dominate",
            Self::HydrodynamicsDominate => "hydrodynamics dominate",
            Self::NotDecided => "not decided",
            Self::NoThickening => "no thickening to explain",
            Self::NotResolved => "not resolved",
        }
    }
}

/// Why a verdict is given, in the order in which the rules are asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Reason {
    /// No loading has a contact share at both ends of a rise.
    NoPair,
    /// Only one of several loadings has one.
    OnePair,
    /// The sample has one loading only.
    OneLoading,
    /// Most of the rise of the steady viscosity lies between states of which one has no contact share.
    RiseUnread,
    /// The viscosity rises, and not between the ends that were set.
    RiseElsewhere,
    /// No state has a larger viscosity than one at a lower set-point.
    NoLargerViscosity,
    /// The viscosity rises by less than was asked for.
    SmallRise {
        /// Relative rise below which there is nothing to explain.
        smallest_rise: f64,
    },
    /// The interval of the rise reaches zero.
    RiseReachesZero,
    /// The rise is between two states that the data chose, and scatter between loadings would show one as large too often.
    RiseMayBeScatter {
        /// Probability of that, over all pairs of states and all samples.
        probability: f64,
    },
    /// The interval of the share is unbounded.
    Unbounded,
    /// The interval of the share lies above one half.
    AboveHalf,
    /// It lies below one half.
    BelowHalf,
    /// It covers one half.
    CoversHalf,
    /// Some choice that could be defended gives another verdict than the one in force.
    ChoiceDecides {
        /// Whether the interval in force lies above one half, not below.
        above_half: bool,
        /// The choices with their verdicts.
        against: Vec<OtherVerdict>,
    },
}

/// A choice and the verdict under it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OtherVerdict {
    /// The choice.
    pub choice: Choice,
    /// Its verdict.
    pub verdict: Verdict,
}

impl Reason {
    /// The verdict that it gives.
    pub fn verdict(&self) -> Verdict {
        match self {
            Self::NoPair | Self::OnePair | Self::RiseUnread | Self::RiseElsewhere => Verdict::NotResolved,
            Self::NoLargerViscosity | Self::SmallRise { .. } => Verdict::NoThickening,
            Self::AboveHalf => Verdict::ContactsDominate,
            Self::BelowHalf => Verdict::HydrodynamicsDominate,
            Self::OneLoading
            | Self::RiseReachesZero
            | Self::RiseMayBeScatter { .. }
            | Self::Unbounded
            | Self::CoversHalf
            | Self::ChoiceDecides { .. } => Verdict::NotDecided,
        }
    }
}

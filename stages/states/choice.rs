//! What an analyst could have chosen otherwise for as good reasons.

use super::params::LowestGrade;
use crate::reversal::result::OtherSetting;
use serde::{Deserialize, Serialize};

/// One choice other than those in force; all else stays as it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "choice", rename_all = "kebab-case")]
pub enum Choice {
    /// Another setting of the reading.
    Setting(OtherSetting),
    /// One form of the recovery alone, where the trace allows it.
    FormAlone {
        /// The form.
        form: String,
    },
    /// A straight line through the first strain, drawn back to zero.
    StraightLine,
    /// The early plateau instead of the value at zero strain.
    EarlyPlateau,
    /// The minimum instead of the value at zero strain.
    Minimum,
    /// Another lowest grade that enters a state.
    LowestGrade {
        /// The grade.
        grade: LowestGrade,
    },
}

impl Choice {
    /// Whether a verdict must stand under it. The plateau and the minimum are other quantities than the value at zero
    /// strain: the liquid's own share falls by then, so that both call a part of it contacts.
    pub fn decides(&self) -> bool {
        !matches!(self, Self::EarlyPlateau | Self::Minimum)
    }
}

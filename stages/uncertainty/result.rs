//! What the uncertainty stage hands on beside `States` with joined intervals: the budget, and what choices move.

use crate::states::result::{Choice, Interval, Verdict};
use serde::{Deserialize, Serialize};

pub use super::remark::Remark;

/// A headline quantity, named in tables as its column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HeadlineQuantity {
    /// Viscosity of a state, Pa s.
    ViscosityPaS,
    /// Its ratio to the viscosity of the liquid.
    RelativeViscosity,
    /// Contact share of a state.
    ContactShare,
    /// Contact share of the rise of a sample.
    ContactShareOfRise,
}

impl HeadlineQuantity {
    /// Its column in the published tables.
    pub const fn column(self) -> &'static str {
        match self {
            Self::ViscosityPaS => "viscosity_pa_s",
            Self::RelativeViscosity => "relative_viscosity",
            Self::ContactShare => "contact_share",
            Self::ContactShareOfRise => "contact_share_of_rise",
        }
    }
}

/// Where uncertainty comes from; in the order in which equal parts are listed.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum UncertaintySource {
    /// The place of a term of instrument or sample in the study file, for example `geometries.cone40.radius`.
    Term {
        /// The place.
        place: String,
    },
    /// The scatter between loadings.
    ScatterBetweenLoadings,
    /// The scatter within the only loading.
    ScatterWithinLoading,
    /// What all reversals of a state share.
    SharedByReversals,
}

/// What one source adds to the standard uncertainty of one headline quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudgetRow {
    /// The quantity.
    pub quantity: HeadlineQuantity,
    /// Sample.
    pub sample: String,
    /// Set-point; none for the share of the rise.
    pub set_point: Option<String>,
    /// The source.
    pub source: UncertaintySource,
    /// Its standard uncertainty, in the unit of the quantity.
    pub u: f64,
    /// Its part of the sum of squares, 0–1; the parts of a quantity add up to 1.
    pub share: f64,
}

/// The budget of the study.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Budget {
    /// Rows of the table `budget`, largest source first within a quantity.
    pub rows: Vec<BudgetRow>,
    /// Left out by the study file.
    pub skipped: bool,
    /// What is to be said of it.
    pub remarks: Vec<Remark>,
}

/// One headline quantity under one choice of settings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SensitivityRow {
    /// The quantity.
    pub quantity: HeadlineQuantity,
    /// Sample.
    pub sample: String,
    /// Set-point; none for the share of the rise.
    pub set_point: Option<String>,
    /// What was chosen; none for the settings in force.
    pub choice: Option<Choice>,
    /// What it gives; none where the choice leaves no value.
    pub interval: Option<Interval>,
    /// The verdict under this choice; none for a contact share.
    pub verdict: Option<Verdict>,
}

impl SensitivityRow {
    /// Whether it is the row of the settings in force.
    pub fn in_force(&self) -> bool {
        self.choice.is_none()
    }

    /// Whether a verdict must stand under it.
    pub fn decides(&self) -> bool {
        self.choice.as_ref().is_none_or(Choice::decides)
    }
}

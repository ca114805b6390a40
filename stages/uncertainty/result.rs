//! What the uncertainty stage hands on beside `States` with joined intervals: the budget, and what choices move.

use crate::states::result::{Interval, Verdict};
use serde::{Deserialize, Serialize};

pub use super::sensitivity::IN_FORCE;

/// What one source adds to the standard uncertainty of one headline quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BudgetRow {
    /// `viscosity_pa_s`, `relative_viscosity`, `contact_share` or `contact_share_of_rise`.
    pub quantity: String,
    /// Sample.
    pub sample: String,
    /// Set-point; none for the share of the rise.
    pub set_point: Option<String>,
    /// `scatter between loadings`, `scatter within the loading`, `shared by all reversals`, or the place of a term
    /// in the study file, for example `geometries.cone40.radius`.
    pub source: String,
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
    /// Words for the report.
    pub remarks: Vec<String>,
}

/// One headline quantity under one choice of settings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SensitivityRow {
    /// `contact_share` or `contact_share_of_rise`.
    pub quantity: String,
    /// Sample.
    pub sample: String,
    /// Set-point; none for the share of the rise.
    pub set_point: Option<String>,
    /// [`IN_FORCE`], or what was chosen instead, for example `first usable strain × 1.5`.
    pub choice: String,
    /// Whether a verdict must stand under it; not where it is another quantity that goes by the same name.
    pub decides: bool,
    /// What it gives; none where the choice leaves no value.
    pub interval: Option<Interval>,
    /// The verdict under this choice; none for a contact share.
    pub verdict: Option<Verdict>,
}

//! What the stage hands on: each old number beside the new one.

use serde::{Deserialize, Serialize};

/// Numbers further apart than this many standard uncertainties of their difference differ (common practice, about 95 %).
pub const DIFFERS_BEYOND: f64 = 2.0;

/// Where neither side has an uncertainty, numbers agree within this part of themselves (empirical: a table of three
/// digits).
pub const ROUNDED: f64 = 5e-3;

/// How an old number and a new one go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// They agree.
    Matched,
    /// They differ.
    Differs,
    /// The earlier table has it and the study gives no such row or no value.
    OnlyOld,
    /// The study gives it and the earlier table has no such row or no number.
    OnlyNew,
}

impl Outcome {
    /// As it stands in the table.
    pub fn name(self) -> &'static str {
        match self {
            Self::Matched => "matched",
            Self::Differs => "differs",
            Self::OnlyOld => "only in the earlier table",
            Self::OnlyNew => "only in the study",
        }
    }
}

/// All of one earlier table.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Held {
    /// Row by row, column by column.
    pub rows: Vec<EarlierRow>,
    /// Per column of numbers, how well old and new agree.
    pub agreements: Vec<Agreement>,
}

/// How well two ways to one number agree (Bland & Altman 1986).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Agreement {
    /// Our column.
    pub column: String,
    /// Numbers that both have.
    pub pairs: usize,
    /// Mean of old less new.
    pub bias: Option<f64>,
    /// Lower limit of agreement; none for fewer than three pairs.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
}

/// An old number beside the new one, both in the unit of our column.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EarlierRow {
    /// Name of the earlier table in the study file.
    pub name: String,
    /// The row, by what picks it.
    pub row: String,
    /// Our column.
    pub column: String,
    /// The old number.
    pub old: Option<f64>,
    /// Its standard uncertainty, where the earlier table has one.
    pub u_old: Option<f64>,
    /// What the raw exports give.
    pub new: Option<f64>,
    /// Its standard uncertainty.
    pub u_new: Option<f64>,
    /// Old less new.
    pub difference: Option<f64>,
    /// Its size in standard uncertainties of the difference, both sides added in quadrature.
    pub in_u: Option<f64>,
    /// How they go together.
    pub outcome: Outcome,
}

//! What the claims stage hands on.

use serde::{Deserialize, Serialize};

pub use super::remark::{Offer, Remark};

/// A claim and what the study gives for it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClaimRow {
    /// The sentence.
    pub says: String,
    /// The number claimed.
    pub value: f64,
    /// What the study gives; none where it gives no value or no such row.
    pub found: Option<f64>,
    /// Its standard uncertainty, where the table has one.
    pub u_found: Option<f64>,
    /// How far apart they may be.
    pub within: f64,
    /// Whether |found − value| ≤ within.
    pub holds: bool,
    /// Why not, or what speaks against it; none where there is nothing to say.
    pub remark: Option<Remark>,
}

//! What the claims stage hands on.

use serde::{Deserialize, Serialize};

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
    /// Why not, in words.
    pub remarks: String,
}

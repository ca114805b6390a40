//! What the stage remarks of a state, gravest first.

use serde::{Deserialize, Serialize};

/// A remark on a state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Remark {
    /// Too few reversals or loadings give a contact share.
    NotResolved {
        /// Reversals that give one.
        resolved: u32,
        /// Reversals that are usable.
        usable: u32,
        /// Loadings that the former come from.
        loadings: u32,
    },
    /// There is one loading, so that the scatter between loadings is unknown.
    OneLoading,
    /// Reversals of grade F.
    NotUsable {
        /// Their number.
        reversals: u32,
        /// All reversals of the state.
        found: u32,
    },
}

//! What the stage remarks of the joined uncertainty, gravest first.

use serde::{Deserialize, Serialize};

/// A remark on the joined uncertainty of the study.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Remark {
    /// The study file leaves the terms of instrument and sample out.
    TermsLeftOut,
    /// The ends of some intervals have not settled.
    NotSettled {
        /// Monte Carlo trials that were drawn.
        trials: u64,
    },
    /// The ends of all intervals have settled.
    Settled {
        /// Monte Carlo trials that were drawn.
        trials: u64,
    },
}

//! What the stage remarks of a claim, gravest first.

use serde::{Deserialize, Serialize};

/// Why a claim does not hold, or what speaks against one that does.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Remark {
    /// There is no such table.
    NoTable {
        /// As the claim names it.
        table: String,
        /// Tables that there are.
        known: Vec<String>,
    },
    /// The table has no such column.
    NoColumn {
        /// As the claim names it.
        column: String,
    },
    /// The column holds no numbers.
    NoNumbers {
        /// Its name.
        column: String,
    },
    /// The table has no rows in this study.
    EmptyTable {
        /// Its name.
        table: String,
    },
    /// No row fits.
    NoRow {
        /// What the columns hold that were to pick one.
        offers: Vec<Offer>,
    },
    /// More than one row fits.
    ManyRows {
        /// Their number.
        rows: u64,
    },
    /// The study gives no value there.
    NotResolved,
    /// The number differs by more than the claim allows.
    Differs,
    /// The claim holds, and would not under other choices of settings.
    MissesUnder {
        /// The choices, as they stand in the table `sensitivity`.
        choices: Vec<String>,
    },
}

/// The texts of a column, each once and sorted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Offer {
    /// The column.
    pub column: String,
    /// Its texts.
    pub texts: Vec<String>,
}

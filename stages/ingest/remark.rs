//! What reading an export has to say, as data; the words are those of the reports.

use serde::{Deserialize, Serialize};

/// A remark on an export, the gravest first.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Remark {
    /// Rows that could not be read, for one reason.
    RowsRefused {
        /// How many.
        rows: u64,
        /// Rows of data in the export.
        all: u64,
        /// Why, as it is counted.
        reason: String,
        /// Line of the first of them.
        line: u64,
    },
    /// The export's unit of a column is not understood; that of the layout is taken.
    UnitNotUnderstood {
        /// The column.
        column: String,
        /// Unit in the export.
        exported: String,
        /// Unit in the layout.
        stated: String,
    },
    /// The export leaves the radian out of a unit of speed; the layout decides.
    RadianLeftOut {
        /// The column.
        column: String,
        /// Unit in the export.
        exported: String,
    },
    /// Rows without a step number carry that of the row before.
    StepsCarried {
        /// How many.
        rows: u64,
    },
    /// Steps that begin their time anew were laid end to end.
    StepsLaidEndToEnd {
        /// How many.
        steps: u64,
    },
    /// The clock passes midnight; whole days were added.
    MidnightsPassed {
        /// How often.
        times: u64,
    },
    /// The angle starts anew; whole turns were added.
    AngleStartsAnew {
        /// How often.
        times: u64,
    },
}

//! What a table of results from before states, and how its columns are read.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A table of results from before, held row by row against what the raw exports give now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EarlierTable {
    /// Path of the file in the study: CSV, or a workbook (xlsx, xls, ods).
    pub file: String,
    /// Sheet of a workbook; default: the first.
    #[serde(default)]
    pub sheet: Option<String>,
    /// Sign between the columns of a CSV: `,`, `;` or `tab`.
    #[serde(default = "comma")]
    pub separator: String,
    /// Decimal sign of numbers in a CSV, and of those that are text in a workbook: `.` or `,`.
    #[serde(default = "point")]
    pub decimal: String,
    /// The published table that it is held against.
    pub table: String,
    /// Our columns that pick a row, and where the earlier table has them.
    pub rows: BTreeMap<String, Key>,
    /// Our columns of numbers, and where the earlier table has them.
    pub numbers: BTreeMap<String, Number>,
}

fn comma() -> String {
    ",".to_owned()
}

fn point() -> String {
    ".".to_owned()
}

/// A column of the earlier table that picks a row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Key {
    /// Its name in the head of the earlier table.
    pub column: String,
    /// Unit of a set-point that stands there as a bare number.
    #[serde(default)]
    pub unit: Option<String>,
    /// Names that were other than ours: old name to ours.
    #[serde(default)]
    pub names: BTreeMap<String, String>,
}

/// A column of numbers of the earlier table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Number {
    /// Its name in the head of the earlier table.
    pub column: String,
    /// Its unit; `1` or `%` for what has none.
    pub unit: String,
    /// Column with its standard uncertainty, in the same unit.
    #[serde(default)]
    pub u: Option<String>,
}

//! A column of a published table: its entry in the dictionary and how its value is taken from a row, in one place,
//! so that neither can be there without the other.

use stages::table::{ColumnSpec, Table};

/// How the value of a row is taken; the variant is the type of the column, also where there are no rows.
pub enum Get<R> {
    /// A number.
    Float(fn(&R) -> Option<f64>),
    /// A whole number.
    Int(fn(&R) -> Option<i64>),
    /// Text.
    Text(fn(&R) -> Option<String>),
    /// A truth value.
    Bool(fn(&R) -> Option<bool>),
}

/// A column over rows of type `R`.
pub struct Column<R> {
    /// Its entry in the dictionary.
    pub spec: ColumnSpec,
    /// How its values are taken.
    pub get: Get<R>,
}

impl<R> Column<R> {
    /// A column of numbers.
    pub const fn float(
        name: &'static str,
        unit: &'static str,
        meaning: &'static str,
        get: fn(&R) -> Option<f64>,
    ) -> Self {
        Self { spec: ColumnSpec { name, unit, meaning }, get: Get::Float(get) }
    }

    /// A column of whole numbers.
    pub const fn int(name: &'static str, meaning: &'static str, get: fn(&R) -> Option<i64>) -> Self {
        Self { spec: ColumnSpec { name, unit: "", meaning }, get: Get::Int(get) }
    }

    /// A column of text.
    pub const fn text(name: &'static str, meaning: &'static str, get: fn(&R) -> Option<String>) -> Self {
        Self { spec: ColumnSpec { name, unit: "", meaning }, get: Get::Text(get) }
    }

    /// A column of truth values.
    pub const fn truth(name: &'static str, meaning: &'static str, get: fn(&R) -> Option<bool>) -> Self {
        Self { spec: ColumnSpec { name, unit: "", meaning }, get: Get::Bool(get) }
    }
}

/// `x` and `u_x` from an [`stages::reversal::result::Estimate`].
macro_rules! estimate {
    ($name:literal, $unit:literal, $meaning:literal, $get:expr) => {
        [
            $crate::tables::column::Column::float($name, $unit, $meaning, |r| ($get)(r).map(|e| e.value)),
            $crate::tables::column::Column::float(
                concat!("u_", $name),
                $unit,
                concat!("Standard uncertainty of ", $name),
                |r| ($get)(r).map(|e| e.u),
            ),
        ]
    };
}

/// `x`, `u_x`, `x_low` and `x_high` from an [`stages::states::result::Interval`].
macro_rules! interval {
    ($name:literal, $unit:literal, $meaning:literal, $get:expr) => {
        [
            $crate::tables::column::Column::float($name, $unit, $meaning, |r| ($get)(r).map(|i| i.value)),
            $crate::tables::column::Column::float(
                concat!("u_", $name),
                $unit,
                concat!("Standard uncertainty of ", $name),
                |r| ($get)(r).map(|i| i.u),
            ),
            $crate::tables::column::Column::float(
                concat!($name, "_low"),
                $unit,
                concat!("Lower end of the 95 % interval of ", $name),
                |r| ($get)(r).and_then(|i| i.low),
            ),
            $crate::tables::column::Column::float(
                concat!($name, "_high"),
                $unit,
                concat!("Upper end of the 95 % interval of ", $name),
                |r| ($get)(r).and_then(|i| i.high),
            ),
        ]
    };
}

pub(crate) use {estimate, interval};

/// The dictionary entries of columns.
pub fn specs<R>(columns: &[Column<R>]) -> Vec<ColumnSpec> {
    columns.iter().map(|c| c.spec).collect()
}

/// The table of rows; with its head and its types also where there are none.
pub fn table<R>(columns: &[Column<R>], rows: &[R]) -> Table {
    columns.iter().fold(Table::new(), |table, column| {
        let name = column.spec.name;
        match column.get {
            Get::Float(get) => table.float(name, rows.iter().map(get)),
            Get::Int(get) => table.int(name, rows.iter().map(get)),
            Get::Text(get) => table.text(name, rows.iter().map(get)),
            Get::Bool(get) => table.bool(name, rows.iter().map(get)),
        }
    })
}

/// Remarks as they stand in a cell: joined by `; `, null for none.
pub fn joined(remarks: &[String]) -> Option<String> {
    (!remarks.is_empty()).then(|| remarks.join("; "))
}

/// Typed remarks in their words, as [`joined`].
pub fn said<R>(remarks: &[R], words: fn(&R) -> String) -> Option<String> {
    joined(&remarks.iter().map(words).collect::<Vec<_>>())
}

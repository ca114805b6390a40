//! Results from before: a table that somebody once made, held row by row against what the raw exports give now.
//!
//! In: the file as it is, how its columns are mapped, and the published table. Out: a row per old and new number.
//! Both rest on the same exports, so they should agree far better than their uncertainties say; a difference of more
//! than two of them is called one.

mod compute;
mod file;
pub mod params;
pub mod result;

use crate::earlier_results::params::EarlierTable;
use crate::earlier_results::result::Held;
use crate::table::Table;
use pipeline::diagnostic::{Diagnostic, Place};
use pipeline::stage::{Context, Output, Produced};

/// What the task gives.
pub const OUTPUTS: [Output; 1] = [Output { name: "held", bulky: false }];

/// Settings `old` (the mapping), `name`, `units` (unit of each of our columns); inputs `raw` (the old file) and
/// `table` (Parquet).
///
/// # Errors
/// If the old file cannot be read, or has no such columns.
pub fn work(cx: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let old: EarlierTable = cx.settings("old")?;
    let name: String = cx.settings("name")?;
    let units = cx.settings("units")?;
    let table = Table::from_parquet(&cx.input("table")?)?;
    let wrong = |message: String| vec![Diagnostic::new(message).at(Place::file("raw"))];
    let sheet = file::read(&cx.input("raw")?, &old).map_err(wrong)?;
    let rows = compute::hold(&name, &old, &sheet, &table, &units).map_err(wrong)?;
    let agreements = old.numbers.keys().map(|column| compute::agreement(column, &rows)).collect();
    Produced::default().with_json("held", &Held { rows, agreements })
}

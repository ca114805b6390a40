//! Earlier results: a table that somebody once made, held row by row against what the raw exports give now.
//!
//! Most studies begin with a spreadsheet of results. Both it and this analysis rest on the same exports, so the numbers
//! should agree; where they do not, one of the two is wrong or means another quantity, and somebody should know which
//! before the paper is printed.
//!
//! In: the file as it is (CSV or a workbook, `file`), how its columns are mapped, and the published table. Out: a
//! [`result::EarlierRow`] for every number of either side, and per column how well both agree.
//!
//! Rows are picked by mapped keys: names word by word or through a list of other names, set-points by number and unit.
//! A row that fits several of ours, or comes twice, is an error, since nobody can say which was meant. Numbers are
//! converted into our unit, with their uncertainty. Two numbers differ where they are more than
//! [`result::DIFFERS_BEYOND`] standard uncertainties of their difference apart, both sides in quadrature; where neither has
//! one, where they differ by more than rounding ([`result::ROUNDED`]). Adding in quadrature counts errors twice that both
//! share, as those of the torque: real differences are understated, never invented.
//!
//! The agreement of a column is given as bias and limits of agreement (Bland & Altman 1986, Lancet 327, 307–310).

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

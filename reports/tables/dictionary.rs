//! `dictionary.csv`: a row per published table and column with its unit and meaning; nothing else.

use super::published;
use stages::table::Table;

/// The dictionary of all published tables.
pub fn table() -> Table {
    let rows: Vec<_> = published().into_iter().flat_map(|t| t.columns.into_iter().map(move |c| (t.name, c))).collect();
    let column = |get: fn(&(&'static str, stages::table::ColumnSpec)) -> &'static str| {
        rows.iter().map(|r| Some(get(r).to_owned())).collect::<Vec<_>>()
    };
    Table::new()
        .text("table", column(|r| r.0))
        .text("column", column(|r| r.1.name))
        .text("unit", column(|r| r.1.unit))
        .text("meaning", column(|r| r.1.meaning))
}

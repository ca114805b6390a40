//! Rows of `dictionary`: every published table and column with its unit and meaning; nothing else.

use super::column::Column;
use super::published::published;
use super::runs::preamble_columns;

/// A column of a published table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Name of the table.
    pub table: &'static str,
    /// Name of the column.
    pub column: String,
    /// Unit as it is printed; empty for none.
    pub unit: &'static str,
    /// What it means.
    pub meaning: String,
}

/// Columns of `dictionary`.
pub fn columns() -> Vec<Column<Entry>> {
    vec![
        Column::text("table", "Name of the table", |e: &Entry| Some(e.table.to_owned())),
        Column::text("column", "Name of the column", |e| Some(e.column.clone())),
        Column::text("unit", "Unit; empty for text, counts and dimensionless numbers", |e| Some(e.unit.to_owned())),
        Column::text("meaning", "What the column holds", |e| Some(e.meaning.clone())),
    ]
}

/// The entries of all published tables; `runs` has a column for each of these entries of preambles.
pub fn entries(chosen: &[String]) -> Vec<Entry> {
    let mut entries = Vec::new();
    for table in published() {
        let entry = |column: String, unit, meaning| Entry { table: table.name, column, unit, meaning };
        entries.extend(table.columns.iter().map(|c| entry(c.name.to_owned(), c.unit, c.meaning.to_owned())));
        if table.name == "runs" {
            entries.extend(preamble_columns(chosen.iter().map(String::as_str)).into_iter().map(|(key, column)| {
                let meaning = format!("Entry `{key}` of the export's preamble, as written; null where it has none");
                entry(column, "", meaning)
            }));
        }
    }
    entries
}

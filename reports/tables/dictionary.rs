//! `dictionary.csv`: a row per published table and column with its unit and meaning; nothing else.

use super::published;
use super::runs::preamble_columns;
use stages::table::Table;

/// The dictionary of all published tables; `runs` has a column for each of these entries of preambles.
pub fn table(chosen: &[String]) -> Table {
    let mut rows: Vec<[String; 4]> = Vec::new();
    for table in published() {
        rows.extend(table.columns.iter().map(|c| [table.name, c.name, c.unit, c.meaning].map(str::to_owned)));
        if table.name == "runs" {
            rows.extend(preamble_columns(chosen.iter().map(String::as_str)).into_iter().map(|(key, column)| {
                let meaning = format!("Entry `{key}` of the export's preamble, as written; null where it has none");
                [table.name.to_owned(), column, String::new(), meaning]
            }));
        }
    }
    let column = |at: usize| rows.iter().map(move |row| Some(row[at].clone()));
    Table::new().text("table", column(0)).text("column", column(1)).text("unit", column(2)).text("meaning", column(3))
}

//! Rows of a CSV table by column name.

use std::collections::BTreeMap;
use std::path::Path;

/// One row: text by column; empty text is null.
pub struct Row(BTreeMap<String, String>);

impl Row {
    /// The text of a column.
    pub fn text(&self, column: &str) -> &str {
        self.0.get(column).unwrap_or_else(|| panic!("no column {column} among {:?}", self.0.keys()))
    }

    /// A number, none where it is null.
    pub fn number(&self, column: &str) -> Option<f64> {
        let text = self.text(column);
        (!text.is_empty()).then(|| text.parse().unwrap_or_else(|e| panic!("{column} = {text}: {e}")))
    }

    /// Whether it says true.
    pub fn yes(&self, column: &str) -> bool {
        self.text(column) == "true"
    }
}

/// All rows of a CSV file.
pub fn read(path: &Path) -> Vec<Row> {
    let mut reader = csv::Reader::from_path(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let head: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows = reader.records().map(|record| {
        let record = record.unwrap();
        Row(head.iter().cloned().zip(record.iter().map(str::to_owned)).collect())
    });
    rows.collect()
}

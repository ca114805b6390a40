//! A published table of `results/` by its name, for `show`.

use super::published::{TableSource, published};
use pipeline::diagnostic::{Diagnostic, Place};
use serde_json::{Map, Value};
use stages::near_miss::nearest;
use stages::table::{Table, Values};
use std::path::Path;

/// Reads the table called `name` from `results`.
///
/// # Errors
/// If there is no such table, or the study was not run yet.
pub fn find(name: &str, results: &Path) -> Result<Table, Diagnostic> {
    let in_one_file = published().into_iter().filter(|table| table.source != TableSource::Readings);
    let names: Vec<&str> = in_one_file.map(|table| table.name).collect();
    let wanted = name.strip_prefix("points/").map_or(name, |_| "points");
    if wanted == name && !names.contains(&name) {
        let help = match nearest(name, names.iter().copied()) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("there are {}, and the readings of a run as points/RUN", names.join(", ")),
        };
        return Err(Diagnostic::new(format!("there is no table `{name}`")).help(help));
    }
    let path = results.join("tables").join(format!("{name}.parquet"));
    let place = || Place::file(format!("results/tables/{name}.parquet"));
    let bytes = std::fs::read(path).map_err(|e| {
        Diagnostic::new(format!("the table cannot be read: {e}")).at(place()).help("`shearback run` makes it")
    })?;
    Table::from_parquet(&bytes).map_err(|e| {
        Diagnostic::new(e.to_string()).at(place()).help("`shearback run` moves what it did not write out of the way")
    })
}

/// The table as JSON: a list of rows.
pub fn json(table: &Table) -> String {
    let cell = |values: &Values, row: usize| match values {
        Values::Float(v) => Value::from(v[row]),
        Values::Int(v) => Value::from(v[row]),
        Values::Text(v) => Value::from(v[row].clone()),
        Values::Bool(v) => Value::from(v[row]),
    };
    let rows = (0..table.height()).map(|row| {
        let cells = table.columns().iter().map(|(name, values)| (name.clone(), cell(values, row)));
        Value::Object(Map::from_iter(cells))
    });
    let rows: Vec<Value> = rows.collect();
    serde_json::to_string_pretty(&rows).unwrap_or_default()
}

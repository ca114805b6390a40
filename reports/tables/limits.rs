//! Columns and rows of `limits`: the numbers by which the flow of each run is judged, as clean made them.

use super::column::{Column, float, int, table, text, truth};
use stages::clean::result::Limit;
use stages::reversal::result::JudgedRun;
use stages::table::Table;

/// A number of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Path of the run.
    pub run: String,
    /// The number.
    pub limit: Limit,
}

/// Columns of `limits`.
pub fn limits() -> Vec<Column<Row>> {
    vec![
        text("run", "Path of the raw export in the study", |r: &Row| Some(r.run.clone())),
        text("limit", "What is judged", |r| Some(r.limit.limit.clone())),
        int("step", "Step where it is worst; null where it is of the whole run", |r| r.limit.step),
        float("value", "", "The number there, in the unit of the row", |r| Some(r.limit.value)),
        text("unit", "Unit of value and bound; empty for none", |r| Some(r.limit.unit.clone())),
        float("bound", "", "What it is held against; null where it is only said", |r| r.limit.bound),
        truth("holds", "Whether it is on the good side of its bound; null without a bound", |r| r.limit.holds),
        text("remarks", "How it was made, and what follows where it does not hold", |r| Some(r.limit.remark.clone())),
    ]
}

/// Rows of `limits`, run by run.
pub fn rows(judged: &[JudgedRun]) -> Vec<Row> {
    let of = |run: &JudgedRun| {
        let name = run.identity.run.clone();
        run.limits.iter().map(move |limit| Row { run: name.clone(), limit: limit.clone() }).collect::<Vec<_>>()
    };
    judged.iter().flat_map(of).collect()
}

/// The table `limits`.
pub fn limits_table(judged: &[JudgedRun]) -> Table {
    table(&limits(), &rows(judged))
}

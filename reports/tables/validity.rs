//! Columns and rows of `limits`: the numbers by which the flow of each run is judged, as clean made them.

use super::column::{Column, float, int, table, text, truth};
use stages::clean::result::ValidityCheck;
use stages::reversal::result::GradedRun;
use stages::table::Table;

/// A number of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Path of the run.
    pub run: String,
    /// The number.
    pub check: ValidityCheck,
}

/// Columns of `limits`.
pub fn validity() -> Vec<Column<Row>> {
    vec![
        text("run", "Path of the raw export in the study", |r: &Row| Some(r.run.clone())),
        text("check", "What is judged", |r| Some(r.check.check.clone())),
        int("step", "Step where it is worst; null where it is of the whole run", |r| r.check.step),
        float("value", "", "The number there, in the unit of the row", |r| Some(r.check.value)),
        text("unit", "Unit of value and bound; empty for none", |r| Some(r.check.unit.clone())),
        float("bound", "", "What it is held against; null where it is only said", |r| r.check.bound),
        truth("holds", "Whether it is on the good side of its bound; null without a bound", |r| r.check.holds),
        text("remarks", "How it was made, and what follows where it does not hold", |r| Some(r.check.remark.clone())),
    ]
}

/// Rows of `limits`, run by run.
pub fn rows(graded: &[GradedRun]) -> Vec<Row> {
    let of = |run: &GradedRun| {
        let name = run.identity.run.clone();
        run.validity.iter().map(move |limit| Row { run: name.clone(), check: limit.clone() }).collect::<Vec<_>>()
    };
    graded.iter().flat_map(of).collect()
}

/// The table `limits`.
pub fn validity_table(graded: &[GradedRun]) -> Table {
    table(&validity(), &rows(graded))
}

//! Columns and rows of `validity`: the checks of the flow of each run, as clean made them.

use super::column::Column;
use crate::text::remarks::clean;
use stages::clean::result::ValidityCheck;
use stages::reversal::result::GradedRun;

/// A number of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Path of the run.
    pub run: String,
    /// The number.
    pub check: ValidityCheck,
}

/// Columns of `validity`.
pub fn validity() -> Vec<Column<Row>> {
    vec![
        Column::text("run", "Path of the raw export in the study", |r: &Row| Some(r.run.clone())),
        Column::text("check", "What is checked", |r| Some(r.check.check.name().to_owned())),
        Column::int("step", "Step where it is worst; null where it is of the whole run", |r| r.check.step),
        Column::float("value", "", "The number there, in the unit of the row", |r| Some(r.check.value)),
        Column::text("unit", "Unit of value and bound; empty for none", |r| Some(r.check.check.unit().to_owned())),
        Column::float("bound", "", "What it is held against; null where it is only said", |r| r.check.bound),
        Column::truth("holds", "Whether it is on the good side of its bound; null without a bound", |r| r.check.holds),
        Column::text("remarks", "How it was made, and what follows where it does not hold", |r| {
            Some(clean::note(r.check.check))
        }),
    ]
}

/// Rows of `validity`, run by run.
pub fn rows(graded: &[GradedRun]) -> Vec<Row> {
    let of = |run: &GradedRun| {
        let name = run.identity.run.clone();
        run.validity.iter().map(move |check| Row { run: name.clone(), check: *check }).collect::<Vec<_>>()
    };
    graded.iter().flat_map(of).collect()
}

//! Columns and rows of `controls`: what the Newtonian liquid shows on each instrument and geometry.

use super::column::Column;
use stages::reversal::result::{Control, GradedRun};

/// A control with what it was measured on.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Instrument.
    pub instrument: String,
    /// Geometry.
    pub geometry: String,
    /// What it says.
    pub control: Control,
}

/// Columns of `controls`.
pub fn controls() -> Vec<Column<Row>> {
    vec![
        Column::text("instrument", "Instrument", |r: &Row| Some(r.instrument.clone())),
        Column::text("geometry", "Measuring geometry", |r| Some(r.geometry.clone())),
        Column::text("runs", "Control runs, with ; between", |r| Some(r.control.runs.join(";"))),
        Column::int("reversals", "Reversals in them", |r| Some(i64::from(r.control.reversals))),
        Column::float("contact_share", "", "Mean apparent contact share, which must be zero", |r| {
            r.control.contact_share.map(|x| x.value)
        }),
        Column::float("u_contact_share", "", "Standard uncertainty of contact_share", |r| {
            r.control.contact_share.map(|x| x.u)
        }),
        Column::float("dead_time_s", "s", "Time after a reversal that is not used", |r| r.control.dead_time_s),
        Column::truth("failed", "Whether the apparent contact share is beyond its error", |r| Some(r.control.failed)),
    ]
}

/// What controls are shown from: each stands with the instrument and geometry of its runs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ControlResults {
    /// The controls.
    pub controls: Vec<Control>,
    /// All graded runs of the study.
    pub graded: Vec<GradedRun>,
}

/// Rows of `controls`.
pub fn rows(results: ControlResults) -> Vec<Row> {
    let ControlResults { controls, graded } = results;
    let row = |control: Control| {
        let run = graded.iter().find(|run| control.runs.contains(&run.identity.run))?;
        let identity = &run.identity;
        Some(Row { instrument: identity.instrument.clone(), geometry: identity.geometry.clone(), control })
    };
    controls.into_iter().filter_map(row).collect()
}

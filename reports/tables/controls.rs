//! Columns and rows of `controls`: what the Newtonian liquid shows on each instrument and geometry.

use super::column::{Column, float, int, table, text, truth};
use stages::reversal::result::{Control, GradedRun};
use stages::table::Table;

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
        text("instrument", "Instrument", |r: &Row| Some(r.instrument.clone())),
        text("geometry", "Measuring geometry", |r| Some(r.geometry.clone())),
        text("runs", "Control runs, with ; between", |r| Some(r.control.runs.join(";"))),
        int("reversals", "Reversals in them", |r| Some(i64::from(r.control.reversals))),
        float("contact_share", "", "Mean apparent contact share, which must be zero", |r| {
            r.control.contact_share.map(|x| x.value)
        }),
        float("u_contact_share", "", "Standard uncertainty of contact_share", |r| r.control.contact_share.map(|x| x.u)),
        float("dead_time_s", "s", "Time after a reversal that is not used", |r| r.control.dead_time_s),
        truth("failed", "Whether the apparent contact share is beyond its error", |r| Some(r.control.failed)),
    ]
}

/// The table `controls`; each control stands with the instrument and geometry of its runs.
pub fn controls_table(all: &[Control], graded: &[GradedRun]) -> Table {
    let row = |control: &Control| {
        let run = graded.iter().find(|run| control.runs.contains(&run.identity.run))?;
        let identity = &run.identity;
        let (instrument, geometry) = (identity.instrument.clone(), identity.geometry.clone());
        Some(Row { instrument, geometry, control: control.clone() })
    };
    table(&controls(), &all.iter().filter_map(row).collect::<Vec<_>>())
}

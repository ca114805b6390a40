//! Rows of `runs` and `exclusions` from the graded runs, and the columns of `points`, which the reversal stage writes.

use super::column::{Column, joined, table};
use crate::text::remarks;
use stages::reversal::result::GradedRun;
use stages::table::{ColumnSpec, Table};
use std::collections::BTreeSet;

/// Columns of `runs`.
pub fn runs() -> Vec<Column<GradedRun>> {
    vec![
        Column::text("run", "Path of the raw export in the study", |r: &GradedRun| Some(r.identity.run.clone())),
        Column::text("blake3", "BLAKE3 hash of the raw export", |r| Some(r.identity.blake3.clone())),
        Column::int(
            "rows",
            "Rows of data in the raw export: kept and all that exclusions.counted holds of the run",
            |r| i64::try_from(r.identity.rows).ok(),
        ),
        Column::int("kept", "Readings that may enter a value", |r| i64::try_from(r.account.kept).ok()),
        Column::text("sample", "Sample", |r| Some(r.identity.sample.clone())),
        Column::float("volume_fraction", "", "Solid volume fraction; null for controls", |r| {
            r.identity.volume_fraction
        }),
        Column::float("u_volume_fraction", "", "Standard uncertainty of volume_fraction", |r| {
            r.identity.u_volume_fraction
        }),
        Column::text("geometry", "Measuring geometry", |r| Some(r.identity.geometry.clone())),
        Column::text("instrument", "Instrument", |r| Some(r.identity.instrument.clone())),
        Column::text("loading", "Filling of the gap", |r| Some(r.identity.loading.clone())),
        Column::text("repeat", "Repeat within the loading; null where not told", |r| r.identity.repeat.clone()),
        Column::text("started", "Start of the run (ISO 8601); null where the export does not tell", |r| {
            r.identity.started.clone()
        }),
        Column::text("remarks", "What was seen of the run as a whole", |r| joined(&remarks::of_run(r))),
    ]
}

/// The table `runs`, with a column for each entry of the preambles that the study chose.
pub fn runs_table(graded: &[GradedRun]) -> Table {
    let chosen = graded.iter().flat_map(|run| run.identity.preamble.keys());
    preamble_columns(chosen.map(String::as_str)).into_iter().fold(table(&runs(), graded), |table, (key, column)| {
        table.text(&column, graded.iter().map(|run| run.identity.preamble.get(key).cloned().flatten()))
    })
}

/// The columns of chosen entries of the preambles, by key: `preamble_` and the key in small letters, `_` for all that is
/// neither letter nor digit, and a number where two keys would have one name.
pub fn preamble_columns<'a>(keys: impl Iterator<Item = &'a str>) -> Vec<(&'a str, String)> {
    let mut columns: Vec<(&str, String)> = Vec::new();
    for key in keys.collect::<BTreeSet<_>>() {
        let plain = key.trim().to_lowercase().replace(|c: char| !c.is_alphanumeric(), "_");
        let mut name = format!("preamble_{plain}");
        for number in 2.. {
            if !columns.iter().any(|(_, taken)| *taken == name) {
                break;
            }
            name = format!("preamble_{plain}_{number}");
        }
        columns.push((key, name));
    }
    columns
}

/// A reason for which rows of a run are excluded, and how many.
#[derive(Debug, Clone, PartialEq)]
pub struct Exclusion {
    /// Path of the run.
    pub run: String,
    /// The reason, as in `points.excluded`.
    pub reason: String,
    /// Readings with this reason.
    pub points: u64,
    /// Those of them that are counted here and nowhere else.
    pub counted: u64,
    /// Part of all rows of the export; none where it has no rows.
    pub share: Option<f64>,
}

/// Columns of `exclusions`.
pub fn exclusions() -> Vec<Column<Exclusion>> {
    vec![
        Column::text("run", "Path of the raw export in the study", |e: &Exclusion| Some(e.run.clone())),
        Column::text("reason", "Why readings are excluded; a reading may have several reasons", |e| {
            Some(e.reason.clone())
        }),
        Column::int("points", "Readings with this reason", |e| i64::try_from(e.points).ok()),
        Column::int("counted", "Of them, readings counted under this reason alone, their primary one", |e| {
            i64::try_from(e.counted).ok()
        }),
        Column::float("share", "", "Part of the rows of the export, 0 to 1", |e| e.share),
    ]
}

/// Rows of `exclusions`: run by run, reasons sorted, reasons without readings left out. A row of the export that could
/// not be read has one reason, `refused: …`.
pub fn exclusion_rows(graded: &[GradedRun]) -> Vec<Exclusion> {
    graded.iter().flat_map(exclusions_of).collect()
}

/// How a reason is named for which rows of the export could not be read.
pub fn refused(reason: &str) -> String {
    format!("refused: {reason}")
}

fn exclusions_of(run: &GradedRun) -> Vec<Exclusion> {
    let share = |points: u64| (run.identity.rows > 0).then(|| points as f64 / run.identity.rows as f64);
    let row = |reason: String, points: u64, counted: u64| Exclusion {
        run: run.identity.run.clone(),
        reason,
        points,
        counted,
        share: share(points),
    };
    let excluded = run.excluded.iter().map(|(reason, points)| {
        let counted = run.account.excluded.get(reason).copied().unwrap_or(0);
        row(reason.name().to_owned(), *points, counted)
    });
    let unread = run.account.refused.iter().map(|(reason, rows)| row(refused(reason), *rows, *rows));
    let mut rows: Vec<Exclusion> = excluded.chain(unread).filter(|row| row.points > 0).collect();
    rows.sort_by(|a, b| a.reason.cmp(&b.reason));
    rows
}

const fn point(name: &'static str, unit: &'static str, meaning: &'static str) -> ColumnSpec {
    ColumnSpec { name, unit, meaning }
}

/// Columns of `points`, a file per run.
pub const POINTS: [ColumnSpec; 16] = [
    point("run", "", "Path of the raw export in the study"),
    point("row", "", "Line in the raw export, from 1"),
    point("step", "", "Step of the run"),
    point("time_s", "s", "Time since the start of the run"),
    point("torque_n_m", "N m", "Torque as exported"),
    point("sample_torque_n_m", "N m", "Torque on the sample, inertia taken off where it is known"),
    point("speed_rad_per_s", "rad/s", "Speed of the moving part"),
    point("stress_pa", "Pa", "Shear stress on the sample, signed"),
    point("rate_per_s", "1/s", "Shear rate from the motion, signed"),
    point("strain", "", "Strain position, which turns back at a reversal"),
    point("viscosity_pa_s", "Pa s", "Stress over rate"),
    point("normal_force_n", "N", "Axial force"),
    point("temperature_c", "°C", "Temperature"),
    point("reversal", "", "Reversal that the reading follows; null before the first"),
    point("strain_since_reversal", "", "Strain since the turning point of that reversal"),
    point("excluded", "", "Reasons for which the reading is excluded, sorted, with ; between; null for kept"),
];

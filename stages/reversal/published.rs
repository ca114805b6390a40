//! The published table of readings: points with stress, rate and viscosity, the reversal that each belongs to, and
//! why a reading was not used.

use super::read::Outcome;
use crate::table::{ColumnSpec, Columns, Long, TableError, long_to_parquet};

const fn column(name: &'static str, unit: &'static str, meaning: &'static str) -> ColumnSpec {
    ColumnSpec { name, unit, meaning }
}

/// What the columns of `points/RUN` hold, in their order.
pub const COLUMNS: [ColumnSpec; 16] = [
    column("run", "", "Path of the raw export in the study"),
    column("row", "", "Line in the raw export"),
    column("step", "", "Step as numbered in the export, or counted"),
    column("time_s", "s", "Time"),
    column("torque_n_m", "N m", "Torque as exported, signed like the motion"),
    column("sample_torque_n_m", "N m", "Torque on the sample: inertia torque taken off where it is known"),
    column("speed_rad_per_s", "rad/s", "Angular speed from the motion"),
    column("stress_pa", "Pa", "Shear stress on the sample, signed"),
    column("rate_per_s", "1/s", "Shear rate from the motion, signed"),
    column("strain", "", "Strain position, which turns back at a reversal"),
    column("viscosity_pa_s", "Pa s", "Stress over rate"),
    column("normal_force_n", "N", "Axial force"),
    column("temperature_c", "°C", "Temperature"),
    column("reversal", "", "Number within the run of the reversal that the reading follows"),
    column("strain_since_reversal", "", "Strain since the turning point of that reversal"),
    column("excluded", "", "Reasons why the reading enters no value, sorted; empty: kept"),
];

/// The table as Parquet, a row per reading; what the points hold is handed on as it is.
///
/// # Errors
/// If the points are damaged, or not of one length.
pub(super) fn parquet(points: &[u8], outcome: &Outcome) -> Result<Vec<u8>, TableError> {
    let points = Columns::open(points)?;
    let run = |_: usize| Some(outcome.read.run.clone());
    let number = |row: usize| Some(i64::from(outcome.number[row])).filter(|number| *number > 0);
    let excluded = |row: usize| outcome.flags[row].to_cell();
    let column = |name: &'static str| match name {
        "run" => Long::TextAt(&run),
        "reversal" => Long::IntAt(&number),
        "strain_since_reversal" => Long::Float(&outcome.strain),
        "excluded" => Long::TextAt(&excluded),
        _ => Long::Of(&points, name),
    };
    let named: Vec<_> = COLUMNS.iter().map(|spec| (spec.name, column(spec.name))).collect();
    long_to_parquet(outcome.flags.len(), &named)
}

//! The published table of readings: points with stress, rate and viscosity, the reversal that each belongs to, and
//! why a reading was not used.

use super::read::Outcome;
use crate::clean::result::{Fate, Points};
use crate::table::{ColumnSpec, Long, TableError, long_to_parquet};

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

/// Adds to the fates what the readings of reversals say.
pub(super) fn fates(points: &Points, outcome: &Outcome) -> Vec<Fate> {
    let mut fates = points.fate.clone();
    for mark in &outcome.marks {
        mark.reasons.iter().for_each(|reason| fates[mark.origin].add(reason));
    }
    fates
}

/// The table as Parquet, a row per reading.
///
/// # Errors
/// If the points are not of one length.
pub(super) fn parquet(points: &Points, outcome: &Outcome, fates: &[Fate]) -> Result<Vec<u8>, TableError> {
    let (mut number, mut strain) = (vec![None; points.len()], vec![f64::NAN; points.len()]);
    for mark in &outcome.marks {
        number[mark.origin] = Some(mark.number);
        strain[mark.origin] = mark.strain;
    }
    let run = |_: usize| Some(outcome.read.run.clone());
    let number = |row: usize| number[row].map(i64::from);
    let excluded = |row: usize| fates[row].text();
    let values = [
        Long::TextAt(&run),
        Long::Line(&points.row),
        Long::Int(&points.step),
        Long::Float(&points.time_s),
        Long::Float(&points.torque_n_m),
        Long::Float(&points.sample_torque_n_m),
        Long::Float(&points.speed_rad_per_s),
        Long::Float(&points.stress_pa),
        Long::Float(&points.rate_per_s),
        Long::Float(&points.strain),
        Long::Float(&points.viscosity_pa_s),
        Long::Float(&points.normal_force_n),
        Long::Float(&points.temperature_c),
        Long::IntAt(&number),
        Long::Float(&strain),
        Long::TextAt(&excluded),
    ];
    let named: Vec<_> = COLUMNS.iter().map(|column| column.name).zip(values).collect();
    long_to_parquet(points.len(), &named)
}

//! The published table of readings: points with stress, rate and viscosity, the reversal that each belongs to, and
//! why a reading was not used.

use super::read::Outcome;
use crate::clean::result::{Fate, Points};
use crate::table::{ColumnSpec, Table};

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

/// The table, a row per reading.
pub(super) fn table(points: &Points, outcome: &Outcome, fates: &[Fate]) -> Table {
    let n = points.len();
    let (mut number, mut strain) = (vec![None; n], vec![None; n]);
    for mark in &outcome.marks {
        number[mark.origin] = Some(i64::from(mark.number));
        strain[mark.origin] = Some(mark.strain);
    }
    let table = Table::new()
        .text("run", std::iter::repeat_n(Some(outcome.read.run.clone()), n))
        .int("row", points.row.iter().map(|r| Some(i64::from(*r))))
        .int("step", points.step.iter().map(|s| Some(*s)));
    let floats = [
        &points.time_s,
        &points.torque_n_m,
        &points.sample_torque_n_m,
        &points.speed_rad_per_s,
        &points.stress_pa,
        &points.rate_per_s,
        &points.strain,
        &points.viscosity_pa_s,
        &points.normal_force_n,
        &points.temperature_c,
    ];
    let named = COLUMNS[3..13].iter().zip(floats);
    let table = named.fold(table, |t, (spec, values)| t.float(spec.name, values.iter().map(|v| Some(*v))));
    table.int("reversal", number).float("strain_since_reversal", strain).text("excluded", fates.iter().map(Fate::text))
}

//! Rows of `reversals`: every reversal of the study, with null wherever its data cannot carry a value.

use super::column::{Column, estimate};
use crate::text::remarks::reversal as remarks;
use stages::reversal::result::{After, Before, Estimate};
use stages::states::result::StudyReversal;

/// How the headline value is found, as it stands in `estimator`.
pub const ESTIMATOR: &str = "zero-strain extrapolation";

fn before(r: &StudyReversal) -> Option<&Before> {
    r.graded.read.before.as_ref()
}

fn after(r: &StudyReversal) -> Option<&After> {
    r.graded.read.after.as_ref()
}

/// The contact share where the reversal is resolved.
pub fn contact_share(r: &StudyReversal) -> Option<Estimate> {
    r.graded.contact_share.filter(|_| r.graded.resolved)
}

/// Contact share that the minimum would give, 1 − η_min/η_before.
pub fn share_at_minimum(r: &StudyReversal) -> Option<f64> {
    Some(1.0 - after(r)?.minimum_pa_s / before(r)?.viscosity_pa_s.value)
}

/// Why one reversal has none: states have theirs, from the scatter between loadings.
const NO_FREEDOM: &str = "Always null: the interval of one reversal is that of a normal error (1.96 u), whose u has no \
                          count of freedom: noise of the window, allowed deviation from the form, spread of forms and \
                          priors are joined; those of states have one";

/// Columns of `reversals`.
pub fn reversals() -> Vec<Column<StudyReversal>> {
    let mut columns = identity();
    columns.extend(estimate!("stress_before_pa", "Pa", "Steady stress before the reversal", |r: &StudyReversal| {
        before(r).map(|b| b.stress_pa)
    }));
    columns.extend(estimate!("rate_before_per_s", "1/s", "Steady rate before the reversal", |r: &StudyReversal| {
        before(r).map(|b| b.rate_per_s)
    }));
    columns.extend(estimate!(
        "viscosity_before_pa_s",
        "Pa s",
        "Steady viscosity before the reversal",
        |r: &StudyReversal| before(r).map(|b| b.viscosity_pa_s)
    ));
    columns.extend(estimate!(
        "viscosity_after_pa_s",
        "Pa s",
        "Viscosity at zero strain after the reversal; null where not resolved",
        |r: &StudyReversal| after(r).filter(|_| r.graded.resolved).map(|a| a.viscosity_pa_s)
    ));
    columns.extend(estimate!(
        "contact_share",
        "",
        "Part of the viscosity that vanishes at the reversal; null where not resolved",
        contact_share
    ));
    columns.extend(interval_and_kin());
    columns.extend(verdict());
    columns
}

fn identity() -> Vec<Column<StudyReversal>> {
    vec![
        Column::text("reversal", "Name of the reversal, in order of run and row", |r: &StudyReversal| {
            Some(r.reversal.clone())
        }),
        Column::text("run", "Path of the raw export in the study", |r| Some(r.identity.run.clone())),
        Column::int("row", "Line in the export of the first reading after the turning point", |r| {
            Some(i64::from(r.graded.read.row))
        }),
        Column::int("step", "Step that begins with the reversal", |r| Some(r.graded.read.step)),
        Column::float("time_s", "s", "Time of the turning point", |r| Some(r.graded.read.time_s)),
        Column::text("sample", "Sample", |r| Some(r.identity.sample.clone())),
        Column::float("volume_fraction", "", "Solid volume fraction; null for controls", |r| {
            r.identity.volume_fraction
        }),
        Column::float("u_volume_fraction", "", "Standard uncertainty of volume_fraction", |r| {
            r.identity.u_volume_fraction
        }),
        Column::text("loading", "Filling of the gap", |r| Some(r.identity.loading.clone())),
        Column::text("repeat", "Repeat within the loading; null where not told", |r| r.identity.repeat.clone()),
        Column::text(
            "set_point",
            "Set-point with its unit; null for controls and where nothing steady precedes",
            |r| r.set_point.clone(),
        ),
        Column::text("controlled", "Quantity that was held: rate or stress", |r| {
            Some(r.graded.read.controlled.name().to_owned())
        }),
        Column::truth("control", "Whether the run is a control", |r| Some(r.identity.control)),
    ]
}

fn interval_and_kin() -> Vec<Column<StudyReversal>> {
    vec![
        Column::float("contact_share_low", "", "Lower end of the 95 % interval; where not resolved, the bound", |r| {
            r.graded.contact_share_low
        }),
        Column::float("contact_share_high", "", "Upper end of the 95 % interval; null where not resolved", |r| {
            r.graded.contact_share_high.filter(|_| r.graded.resolved)
        }),
        Column::float("degrees_of_freedom", "", NO_FREEDOM, |_| None),
        Column::text(
            "estimator",
            "How viscosity_after_pa_s and contact_share were found; null where there is nothing",
            |r| after(r).map(|_| ESTIMATOR.to_owned()),
        ),
        Column::float(
            "viscosity_plateau_pa_s",
            "Pa s",
            "Mean over the early flat stretch; null where there is none",
            |r| after(r)?.plateau.map(|p| p.0),
        ),
        Column::float("contact_share_plateau", "", "Share that the early plateau would give", |r| {
            after(r)?.plateau.map(|p| p.1)
        }),
        Column::float("viscosity_minimum_pa_s", "Pa s", "Minimum of the fitted curve after the reversal", |r| {
            after(r).map(|a| a.minimum_pa_s)
        }),
        Column::float("contact_share_minimum", "", "Share that the minimum would give", share_at_minimum),
        Column::float("strain_at_minimum", "", "Strain since the turning point at the minimum", |r| {
            after(r).map(|a| a.strain_at_minimum)
        }),
        Column::float("recovery_strain", "", "Strain to 63.2 % of the way from the minimum back", |r| {
            after(r)?.recovery_strain
        }),
        Column::float("recovery_strain_90", "", "Strain to 90 % of the way from the minimum back", |r| {
            after(r)?.recovery_strain_90
        }),
        Column::float("contact_recovery_strain", "", "Strain in which the contacts themselves return to 63.2 %", |r| {
            after(r)?.contact_recovery_strain
        }),
        Column::float(
            "normal_stress_before_pa",
            "Pa",
            "First normal-stress difference over the window before; null without an axial force",
            |r| before(r)?.normal_stress_pa,
        ),
        Column::float(
            "normal_stress_after_pa",
            "Pa",
            "The same, mean over strain 0.02 to 0.3 after the turning point",
            |r| r.graded.read.normal_stress_after_pa,
        ),
    ]
}

fn verdict() -> Vec<Column<StudyReversal>> {
    vec![
        Column::float("dead_strain", "", "First usable strain after the turning point", |r| {
            Some(r.graded.read.dead.first_usable())
        }),
        Column::truth("steady", "Whether the stretch before was steady", |r| Some(before(r).is_some_and(|b| b.steady))),
        Column::truth("resolved", "Whether contact_share can be used as a value", |r| Some(r.graded.resolved)),
        Column::text("grade", "A, B (both enter states), C (shown only) or F (not usable)", |r| {
            Some(r.graded.grade.name().to_owned())
        }),
        Column::text("remarks", "Why this grade, and what else was seen", |r| remarks::joined(&r.graded.remarks)),
    ]
}

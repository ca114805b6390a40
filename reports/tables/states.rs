//! Rows of `states` and `thickening`, with null and a bound wherever a state is not resolved.

use super::column::{Column, float, int, interval, joined, table, text};
use crate::text::remarks::states as words;
use stages::states::result::{State, Thickening};
use stages::table::Table;

/// Columns of `states`.
pub fn states() -> Vec<Column<State>> {
    let mut columns = vec![
        text("sample", "Sample", |s: &State| Some(s.sample.clone())),
        float("volume_fraction", "", "Solid volume fraction", |s| s.volume_fraction),
        float("u_volume_fraction", "", "Standard uncertainty of volume_fraction", |s| s.u_volume_fraction),
        text("set_point", "Set-point with its unit", |s| Some(s.set_point.clone())),
        text("controlled", "Quantity that was held: rate or stress", |s| Some(s.controlled.name().to_owned())),
    ];
    columns.extend(interval!("stress_pa", "Pa", "Steady shear stress", |s: &State| s.stress_pa));
    columns.extend(interval!("rate_per_s", "1/s", "Steady shear rate", |s: &State| s.rate_per_s));
    columns.extend(interval!("viscosity_pa_s", "Pa s", "Steady viscosity", |s: &State| s.viscosity_pa_s));
    columns.extend(interval!(
        "hydrodynamic_viscosity_pa_s",
        "Pa s",
        "Part of the viscosity that stays at reversal",
        |s: &State| s.hydrodynamic_viscosity_pa_s
    ));
    columns.extend(interval!(
        "contact_viscosity_pa_s",
        "Pa s",
        "Part of the viscosity that vanishes at reversal",
        |s: &State| s.contact_viscosity_pa_s
    ));
    columns.extend(interval!(
        "relative_viscosity",
        "",
        "Steady viscosity over the viscosity of the liquid",
        |s: &State| s.relative_viscosity
    ));
    columns.extend(contact_share());
    columns.extend([
        float("degrees_of_freedom", "", "Loadings less one; null for one loading", |s: &State| s.degrees_of_freedom),
        int("loadings", "Loadings that enter contact_share", |s| Some(i64::from(s.loadings))),
        int("reversals", "Reversals that enter contact_share", |s| Some(i64::from(s.reversals))),
        int("reversals_found", "All reversals of the state", |s| Some(i64::from(s.reversals_found))),
        text("remarks", "What else was seen", |s| joined(&s.remarks.iter().map(words::words).collect::<Vec<_>>())),
    ]);
    columns
}

fn contact_share() -> [Column<State>; 4] {
    [
        float("contact_share", "", "Part of the viscosity that vanishes at reversal; null where not resolved", |s| {
            s.contact_share.map(|i| i.value)
        }),
        float("u_contact_share", "", "Standard uncertainty of contact_share", |s| s.contact_share.map(|i| i.u)),
        float("contact_share_low", "", "Lower end of the 95 % interval; where not resolved, the bound", |s| {
            s.contact_share.map_or(s.contact_share_bound, |i| i.low)
        }),
        float("contact_share_high", "", "Upper end of the 95 % interval; null where not resolved", |s| {
            s.contact_share.and_then(|i| i.high)
        }),
    ]
}

/// The table `states`.
pub fn states_table(rows: &[State]) -> Table {
    table(&states(), rows)
}

/// Columns of `thickening`.
pub fn thickening() -> Vec<Column<Thickening>> {
    let mut columns = vec![
        text("sample", "Sample", |t: &Thickening| Some(t.sample.clone())),
        float("volume_fraction", "", "Solid volume fraction", |t| t.volume_fraction),
        text("set_point_low", "Set-point of the low end", |t| t.set_point_low.clone()),
        text("set_point_high", "Set-point of the high end", |t| t.set_point_high.clone()),
        float("stress_low_pa", "Pa", "Steady stress at the low end", |t| t.stress_low_pa),
        float("stress_high_pa", "Pa", "Steady stress at the high end", |t| t.stress_high_pa),
        int("states_without_value", "States above the high end without a value", |t| {
            Some(i64::from(t.states_without_value))
        }),
        float("viscosity_rise_pa_s", "Pa s", "Viscosity at the high end less that at the low end", |t| {
            t.viscosity_rise_pa_s
        }),
    ];
    columns.extend(contact_share_of_rise());
    columns.extend([
        float("degrees_of_freedom", "", "Loadings less one; null for one loading", |t: &Thickening| {
            t.degrees_of_freedom
        }),
        int("loadings", "Loadings that have both ends", |t| Some(i64::from(t.loadings))),
        text("verdict", "The answer for the sample", |t| Some(t.verdict().name().to_owned())),
        text("reason", "Why this verdict", |t| Some(words::reason(&t.reason))),
        text("remarks", "What speaks against it or limits it", words::read_up_to),
    ]);
    columns
}

fn contact_share_of_rise() -> [Column<Thickening>; 4] {
    [
        float("contact_share_of_rise", "", "Part of the rise of the viscosity that contacts carry", |t| {
            t.contact_share_of_rise.map(|i| i.value)
        }),
        float("u_contact_share_of_rise", "", "Standard uncertainty of contact_share_of_rise", |t| {
            t.contact_share_of_rise.map(|i| i.u)
        }),
        float(
            "contact_share_of_rise_low",
            "",
            "Lower end of the 95 % interval; where there is no value, the bound",
            |t| t.contact_share_of_rise.map_or(t.contact_share_of_rise_bound, |i| i.low),
        ),
        float("contact_share_of_rise_high", "", "Upper end of the 95 % interval; null where there is no value", |t| {
            t.contact_share_of_rise.and_then(|i| i.high)
        }),
    ]
}

/// The table `thickening`.
pub fn thickening_table(rows: &[Thickening]) -> Table {
    table(&thickening(), rows)
}

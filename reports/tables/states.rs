//! Rows of `states` and `thickening`, with null and a bound wherever a state is not resolved.

use super::column::{Column, interval, said};
use crate::text::remarks::states as words;
use stages::states::result::{State, Thickening};

/// Columns of `states`.
pub fn states() -> Vec<Column<State>> {
    let mut columns = vec![
        Column::text("sample", "Sample", |s: &State| Some(s.sample.clone())),
        Column::float("volume_fraction", "", "Solid volume fraction", |s| s.volume_fraction),
        Column::float("u_volume_fraction", "", "Standard uncertainty of volume_fraction", |s| s.u_volume_fraction),
        Column::text("set_point", "Set-point with its unit", |s| Some(s.set_point.clone())),
        Column::text("controlled", "Quantity that was held: rate or stress", |s| Some(s.controlled.name().to_owned())),
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
        Column::float("degrees_of_freedom", "", "Loadings less one; null for one loading", |s: &State| {
            s.degrees_of_freedom
        }),
        Column::int("loadings", "Loadings that enter contact_share", |s| Some(i64::from(s.loadings))),
        Column::int("reversals", "Reversals that enter contact_share", |s| Some(i64::from(s.reversals))),
        Column::int("reversals_found", "All reversals of the state", |s| Some(i64::from(s.reversals_found))),
        Column::text("remarks", "What else was seen", |s| said(&s.remarks, words::words)),
    ]);
    columns
}

fn contact_share() -> [Column<State>; 4] {
    [
        Column::float(
            "contact_share",
            "",
            "Part of the viscosity that vanishes at reversal; null where not resolved",
            |s| s.contact_share.map(|i| i.value),
        ),
        Column::float("u_contact_share", "", "Standard uncertainty of contact_share", |s| s.contact_share.map(|i| i.u)),
        Column::float("contact_share_low", "", "Lower end of the 95 % interval; where not resolved, the bound", |s| {
            s.contact_share.map_or(s.contact_share_bound, |i| i.low)
        }),
        Column::float("contact_share_high", "", "Upper end of the 95 % interval; null where not resolved", |s| {
            s.contact_share.and_then(|i| i.high)
        }),
    ]
}

/// Columns of `thickening`.
pub fn thickening() -> Vec<Column<Thickening>> {
    let mut columns = vec![
        Column::text("sample", "Sample", |t: &Thickening| Some(t.sample.clone())),
        Column::float("volume_fraction", "", "Solid volume fraction", |t| t.volume_fraction),
        Column::text("set_point_low", "Set-point of the low end", |t| t.set_point_low.clone()),
        Column::text("set_point_high", "Set-point of the high end", |t| t.set_point_high.clone()),
        Column::float("stress_low_pa", "Pa", "Steady stress at the low end", |t| t.stress_low_pa),
        Column::float("stress_high_pa", "Pa", "Steady stress at the high end", |t| t.stress_high_pa),
        Column::int("states_without_value", "States above the high end without a value", |t| {
            Some(i64::from(t.states_without_value))
        }),
        Column::float("viscosity_rise_pa_s", "Pa s", "Viscosity at the high end less that at the low end", |t| {
            t.viscosity_rise_pa_s
        }),
    ];
    columns.extend(contact_share_of_rise());
    columns.extend([
        Column::float("degrees_of_freedom", "", "Loadings less one; null for one loading", |t: &Thickening| {
            t.degrees_of_freedom
        }),
        Column::int("loadings", "Loadings that have both ends", |t| Some(i64::from(t.loadings))),
        Column::text("verdict", "The answer for the sample", |t| Some(t.verdict().name().to_owned())),
        Column::text("reason", "Why this verdict", |t| Some(words::reason(&t.reason))),
        Column::text("remarks", "What speaks against it or limits it", words::read_up_to),
    ]);
    columns
}

fn contact_share_of_rise() -> [Column<Thickening>; 4] {
    [
        Column::float("contact_share_of_rise", "", "Part of the rise of the viscosity that contacts carry", |t| {
            t.contact_share_of_rise.map(|i| i.value)
        }),
        Column::float("u_contact_share_of_rise", "", "Standard uncertainty of contact_share_of_rise", |t| {
            t.contact_share_of_rise.map(|i| i.u)
        }),
        Column::float(
            "contact_share_of_rise_low",
            "",
            "Lower end of the 95 % interval; where there is no value, the bound",
            |t| t.contact_share_of_rise.map_or(t.contact_share_of_rise_bound, |i| i.low),
        ),
        Column::float(
            "contact_share_of_rise_high",
            "",
            "Upper end of the 95 % interval; null where there is no value",
            |t| t.contact_share_of_rise.and_then(|i| i.high),
        ),
    ]
}

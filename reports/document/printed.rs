//! The tables as they are printed: chosen columns, rounded, as text. What is published in full is in `tables`.

use crate::tables::reversals::{contact_share, share_at_minimum};
use crate::text::models;
use crate::text::numbers::{self, MISSING};
use serde::Serialize;
use stages::claims::result::ClaimRow;
use stages::fit::result::FitRow;
use stages::physics::geometry::{Geometry, Shape};
use stages::physics::instrument::Instrument;
use stages::physics::materials::Sample;
use stages::physics::quantity::Quantity;
use stages::reversal::result::JudgedRun;
use stages::states::result::{Interval, State, StudyReversal, Thickening};

/// A printed table: headings with their alignment, rows of text.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Printed {
    /// Headings.
    pub head: Vec<String>,
    /// For each column `left` or `right`; `name` for text that may break where it is long, `wide` for such text that
    /// takes what is left of the width, `text` for sentences, `hash` for hashes, `symbol` for a symbol that may have
    /// an index behind `_`, and its meaning behind a comma.
    pub kind: Vec<&'static str>,
    /// Cells.
    pub rows: Vec<Vec<String>>,
}

pub(super) fn printed(columns: &[(&'static str, &'static str)], rows: Vec<Vec<String>>) -> Printed {
    Printed {
        head: columns.iter().map(|c| c.0.to_owned()).collect(),
        kind: columns.iter().map(|c| c.1).collect(),
        rows,
    }
}

pub(super) fn or_missing(text: Option<String>) -> String {
    text.filter(|t| !t.is_empty()).unwrap_or_else(|| MISSING.to_owned())
}

fn concise(i: Option<Interval>) -> String {
    or_missing(i.map(|i| numbers::concise(i.value, i.u)))
}

fn ends(i: Option<Interval>) -> String {
    or_missing(i.as_ref().map(numbers::interval))
}

fn quantity(q: Option<Quantity>, scale: f64, unit: &str) -> String {
    or_missing(q.map(|q| format!("{}{unit}", numbers::concise(q.value * scale, q.u * scale))))
}

/// The share of a state, or `≥` its bound.
pub fn share(state: &State) -> String {
    match (state.contact_share, state.contact_share_bound) {
        (Some(x), _) => numbers::concise(x.value, x.u),
        (None, Some(bound)) => format!("≥ {}", numbers::significant(bound, 2)),
        (None, None) => "not resolved".to_owned(),
    }
}

/// States.
pub fn states(states: &[State]) -> Printed {
    let columns = [
        ("sample", "name"),
        ("set-point", "left"),
        ("σ / Pa", "right"),
        ("γ\u{307} / s⁻¹", "right"),
        ("η / (Pa s)", "right"),
        ("hydrodynamic / (Pa s)", "right"),
        ("contact / (Pa s)", "right"),
        ("contact share", "right"),
        ("95 %", "left"),
        ("n", "right"),
    ];
    let row = |s: &State| {
        vec![
            s.sample.clone(),
            s.set_point.clone(),
            concise(s.stress_pa),
            concise(s.rate_per_s),
            concise(s.viscosity_pa_s),
            concise(s.hydrodynamic_viscosity_pa_s),
            concise(s.contact_viscosity_pa_s),
            share(s),
            ends(s.contact_share),
            format!("{} / {}", s.loadings, s.reversals),
        ]
    };
    printed(&columns, states.iter().map(row).collect())
}

/// Shares of the rise.
pub fn thickening(rows: &[Thickening]) -> Printed {
    let columns = [
        ("sample", "name"),
        ("φ", "right"),
        ("from", "left"),
        ("to", "left"),
        ("rise / (Pa s)", "right"),
        ("contact share of the rise", "right"),
        ("95 %", "left"),
        ("loadings", "right"),
        ("verdict", "left"),
    ];
    let row = |t: &Thickening| {
        vec![
            t.sample.clone(),
            or_missing(t.volume_fraction.map(|x| numbers::significant(x, 4))),
            or_missing(t.set_point_low.clone()),
            or_missing(t.set_point_high.clone()),
            or_missing(t.viscosity_rise_pa_s.map(numbers::plain)),
            concise(t.contact_share_of_rise),
            ends(t.contact_share_of_rise),
            t.loadings.to_string(),
            t.verdict.name().to_owned(),
        ]
    };
    printed(&columns, rows.iter().map(row).collect())
}

/// Claims.
pub fn claims(rows: &[ClaimRow]) -> Printed {
    let columns = [
        ("claim", "wide"),
        ("says", "right"),
        ("within", "right"),
        ("found", "right"),
        ("holds", "left"),
        ("", "wide"),
    ];
    let row = |c: &ClaimRow| {
        vec![
            c.says.clone(),
            numbers::setting(c.value),
            numbers::setting(c.within),
            or_missing(c.found.map(|f| numbers::plus_minus(f, c.u_found.unwrap_or(f64::NAN)))),
            if c.holds { "yes" } else { "no" }.to_owned(),
            c.remarks.clone(),
        ]
    };
    printed(&columns, rows.iter().map(row).collect())
}

/// Rows of one fit: a model and what it was fitted to.
fn same_fit(a: &FitRow, b: &FitRow) -> bool {
    (&a.model, &a.scope) == (&b.model, &b.scope)
}

/// What all rows of one fit say is said of the fit, once.
pub fn remarks_of_fits(rows: &[FitRow]) -> Vec<String> {
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    for rows in rows.chunk_by(same_fit) {
        let common = common_remarks(rows);
        let own = rows.iter().flat_map(|r| &r.remarks).filter(|r| !common.contains(r) && is_sentence(r));
        let text = common.iter().chain(own).cloned().collect::<Vec<_>>().join("; ");
        let name = format!("{} ({})", models::name(&rows[0].model), rows[0].scope);
        match said.iter_mut().find(|(earlier, _)| *earlier == text) {
            Some((_, names)) => names.push(name),
            None => said.push((text, vec![name])),
        }
    }
    let told = said.into_iter().filter(|(text, _)| !text.is_empty());
    told.map(|(text, names)| format!("{}: {text}", names.join(", "))).collect()
}

/// Whether a remark is too long for a cell of the table and stands in the list; 40 characters are about a column.
fn is_sentence(remark: &str) -> bool {
    remark.chars().count() > 40
}

/// Remarks of all parameters that were fitted; one that was held says nothing of the fit.
fn common_remarks(rows: &[FitRow]) -> Vec<String> {
    let fitted: Vec<&FitRow> = rows.iter().filter(|r| !r.remarks.iter().any(|remark| remark == "held")).collect();
    let in_all = |remark: &&String| fitted.iter().all(|r| r.remarks.contains(remark));
    fitted.first().map_or_else(Vec::new, |first| first.remarks.iter().filter(in_all).cloned().collect())
}

/// Fits that were made; what is said of the others, and sentences on one parameter, stand above the table.
pub fn fits(rows: &[FitRow]) -> Printed {
    let columns = [
        ("model", "left"),
        ("fitted to", "left"),
        ("parameter", "symbol"),
        ("value", "right"),
        ("unit", "left"),
        ("95 %", "left"),
        ("AICc", "right"),
    ];
    let row = |f: &FitRow, common: &[String]| {
        let own: Vec<&str> =
            f.remarks.iter().filter(|r| !common.contains(r) && !is_sentence(r)).map(String::as_str).collect();
        let own = if own.is_empty() { String::new() } else { format!(" ({})", own.join("; ")) };
        let u = f.u_value.unwrap_or(f64::NAN);
        let interval = f.value.map(|value| Interval { value, u, low: f.value_low, high: f.value_high });
        vec![
            models::name(&f.model).to_owned(),
            f.scope.clone(),
            models::parameter(&f.parameter).to_owned() + &own,
            or_missing(f.value.map(|v| numbers::plus_minus(v, u))),
            f.unit.clone(),
            ends(interval),
            or_missing(f.aicc.map(numbers::plain)),
        ]
    };
    let made = |rows: &&[FitRow]| rows.iter().any(|r| r.u_value.is_some());
    let of_fit = |rows: &[FitRow]| {
        let common = common_remarks(rows);
        rows.iter().map(|r| row(r, &common)).collect::<Vec<_>>()
    };
    printed(&columns, rows.chunk_by(same_fit).filter(made).flat_map(of_fit).collect())
}

/// Every reversal with the three measurands side by side.
pub fn reversals(rows: &[StudyReversal]) -> Printed {
    let columns = [
        ("reversal", "left"),
        ("run", "name"),
        ("step", "right"),
        ("set-point", "left"),
        ("η before / (Pa s)", "right"),
        ("zero strain", "right"),
        ("plateau", "right"),
        ("minimum", "right"),
        ("first strain", "right"),
        ("grade", "left"),
    ];
    let row = |r: &StudyReversal| {
        let read = &r.judged.read;
        let (before, after) = (read.before.as_ref(), read.after.as_ref());
        let zero = match (contact_share(r), r.judged.contact_share_low.filter(|_| !r.judged.resolved)) {
            (Some(x), _) => numbers::concise(x.value, x.u),
            (None, Some(bound)) => format!("≥ {}", numbers::significant(bound, 2)),
            (None, None) => MISSING.to_owned(),
        };
        vec![
            r.reversal.clone(),
            r.identity.run.clone(),
            read.step.to_string(),
            or_missing(r.set_point.clone()),
            or_missing(before.map(|b| numbers::concise(b.viscosity_pa_s.value, b.viscosity_pa_s.u))),
            zero,
            or_missing(after.and_then(|a| a.plateau).map(|p| numbers::significant(p.1, 2))),
            or_missing(share_at_minimum(r).map(|x| numbers::significant(x, 2))),
            or_missing(before.map(|_| numbers::significant(read.dead.first_usable(), 2))),
            r.judged.grade.name().to_owned(),
        ]
    };
    printed(&columns, rows.iter().map(row).collect())
}

/// Samples as declared.
pub fn samples(samples: &[Sample]) -> Printed {
    let columns = [
        ("sample", "name"),
        ("φ", "right"),
        ("particles", "name"),
        ("d / µm", "right"),
        ("ρ / (kg/m³)", "right"),
        ("liquid", "name"),
        ("ρ / (kg/m³)", "right"),
        ("η / (Pa s)", "right"),
    ];
    let row = |s: &Sample| {
        let name = if s.control { format!("{} (control)", s.name) } else { s.name.clone() };
        let particles = s.particles.as_ref();
        vec![
            name,
            quantity(s.volume_fraction, 1.0, ""),
            or_missing(particles.map(|p| p.name.clone())),
            quantity(particles.and_then(|p| p.diameter), 1e6, ""),
            quantity(particles.and_then(|p| p.density), 1.0, ""),
            s.liquid.name.clone(),
            quantity(s.liquid.density, 1.0, ""),
            quantity(s.liquid.viscosity, 1.0, ""),
        ]
    };
    printed(&columns, samples.iter().map(row).collect())
}

/// Geometries and instruments as declared, a line each.
pub fn apparatus(geometries: &[Geometry], instruments: &[Instrument]) -> Printed {
    let columns = [("name", "name"), ("what", "left"), ("dimensions and limits", "text")];
    let geometry = |g: &Geometry| vec![g.name.clone(), shape_name(&g.shape).to_owned(), shape(g)];
    let instrument = |i: &Instrument| vec![i.name.clone(), "instrument".to_owned(), limits(i)];
    let rows = geometries.iter().map(geometry).chain(instruments.iter().map(instrument));
    printed(&columns, rows.collect())
}

const fn shape_name(shape: &Shape) -> &'static str {
    match shape {
        Shape::ConePlate { .. } => "cone and plate",
        Shape::ParallelPlates { .. } => "parallel plates",
        Shape::ConcentricCylinders { .. } => "concentric cylinders",
    }
}

/// Degrees in a radian.
const DEGREES: f64 = 180.0 / std::f64::consts::PI;

fn shape(geometry: &Geometry) -> String {
    let mm = |name: &str, q: Quantity| format!("{name} {}", quantity(Some(q), 1e3, " mm"));
    let mut parts = match &geometry.shape {
        Shape::ConePlate { radius, angle, truncation } => {
            let mut parts = vec![mm("radius", *radius), format!("angle {}", quantity(Some(*angle), DEGREES, "°"))];
            parts.extend(truncation.map(|t| format!("truncation {}", quantity(Some(t), 1e6, " µm"))));
            parts
        }
        Shape::ParallelPlates { radius, gap } => vec![mm("radius", *radius), mm("gap", *gap)],
        Shape::ConcentricCylinders { inner_radius, outer_radius, length, end_effect } => vec![
            mm("inner radius", *inner_radius),
            mm("outer radius", *outer_radius),
            mm("length", *length),
            format!("end-effect factor {}", numbers::setting(*end_effect)),
        ],
    };
    parts.extend(geometry.inertia.map(|i| format!("inertia {}", quantity(Some(i), 1e6, " µN m s²"))));
    parts.join(", ")
}

/// A torque with the prefix that keeps it between 1 and 1000.
fn torque(value: f64) -> String {
    let prefixes = [(1.0, ""), (1e-3, "m"), (1e-6, "µ")];
    let (unit, prefix) = prefixes.into_iter().find(|p| value >= p.0).unwrap_or((1e-9, "n"));
    format!("{} {prefix}N m", numbers::plain(value / unit))
}

fn limits(instrument: &Instrument) -> String {
    let torque = |name: &str, value: Option<f64>| value.map(|v| format!("{name} {}", torque(v)));
    let parts = [
        instrument.inertia.map(|i| format!("inertia {}", quantity(Some(i), 1e6, " µN m s²"))),
        torque("smallest torque", instrument.torque_floor),
        torque("largest torque", instrument.torque_ceiling),
        instrument.torque_calibration.map(|c| format!("calibration {}", numbers::percent(c))),
        instrument.compliance.map(|c| format!("compliance {}", quantity(Some(c), 1.0, " rad/(N m)"))),
    ];
    or_missing(Some(parts.into_iter().flatten().collect::<Vec<_>>().join(", ")))
}

/// Raw exports with their hashes.
pub fn provenance(judged: &[JudgedRun]) -> Printed {
    let columns = [("raw export", "name"), ("rows", "right"), ("BLAKE3", "hash")];
    let row = |r: &JudgedRun| vec![r.identity.run.clone(), numbers::whole(r.identity.rows), r.identity.blake3.clone()];
    printed(&columns, judged.iter().map(row).collect())
}

//! The tables as they are printed: chosen columns, rounded, as text. What is published in full is in `tables`.

use crate::tables::reversals::{contact_share, share_at_minimum};
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
use stages::uncertainty::result::BudgetRow;

/// A printed table: headings with their alignment, rows of text.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Printed {
    /// Headings.
    pub head: Vec<&'static str>,
    /// For each column `left` or `right`; `wide` for text that may be long, `text` for sentences, `hash` for hashes.
    pub kind: Vec<&'static str>,
    /// Cells.
    pub rows: Vec<Vec<String>>,
}

fn printed(columns: &[(&'static str, &'static str)], rows: Vec<Vec<String>>) -> Printed {
    Printed { head: columns.iter().map(|c| c.0).collect(), kind: columns.iter().map(|c| c.1).collect(), rows }
}

fn or_missing(text: Option<String>) -> String {
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
        ("sample", "wide"),
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

/// What was measured: sample × set-point × loading, found and resolved.
pub fn design(states: &[State], reversals: &[StudyReversal]) -> Printed {
    let columns = [
        ("sample", "wide"),
        ("set-point", "left"),
        ("held", "left"),
        ("told by", "left"),
        ("loadings", "right"),
        ("reversals", "right"),
        ("in the value", "right"),
        ("by loading, resolved of found", "wide"),
    ];
    let row = |s: &State| {
        let by: Vec<String> =
            s.loading_means.iter().map(|m| format!("{}: {} of {}", m.loading, m.resolved, m.found)).collect();
        vec![
            s.sample.clone(),
            s.set_point.clone(),
            s.controlled.name().to_owned(),
            told_by(s, reversals),
            s.loading_means.len().to_string(),
            s.reversals_found.to_string(),
            s.reversals.to_string(),
            by.join("; "),
        ]
    };
    printed(&columns, states.iter().map(row).collect())
}

/// Whether the export told the set-point, or it was found from the motion.
fn told_by(state: &State, reversals: &[StudyReversal]) -> String {
    let mine = |r: &&StudyReversal| r.identity.sample == state.sample && r.set_point.as_ref() == Some(&state.set_point);
    let told = reversals.iter().filter(mine).filter(|r| r.judged.read.set_point_in_export.is_some()).count();
    let all = reversals.iter().filter(mine).count();
    match told {
        0 => "the motion",
        n if n == all => "the export",
        _ => "both",
    }
    .to_owned()
}

/// Shares of the rise.
pub fn thickening(rows: &[Thickening]) -> Printed {
    let columns = [
        ("sample", "wide"),
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

/// Exclusions by run and reason.
pub fn exclusions(judged: &[JudgedRun]) -> Printed {
    let columns = [("run", "wide"), ("reason", "left"), ("readings", "right"), ("of all", "right")];
    let rows = crate::tables::runs::exclusion_rows(judged);
    let row = |e: &crate::tables::runs::Exclusion| {
        vec![e.run.clone(), e.reason.clone(), numbers::whole(e.points), or_missing(e.share.map(numbers::percent))]
    };
    printed(&columns, rows.iter().map(row).collect())
}

/// Reversals that do not enter states, with the reason.
pub fn left_out(reversals: &[StudyReversal]) -> Printed {
    let columns = [
        ("reversal", "left"),
        ("run", "wide"),
        ("step", "right"),
        ("set-point", "left"),
        ("grade", "left"),
        ("why", "wide"),
    ];
    let out = reversals.iter().filter(|r| !r.identity.control && (!r.judged.resolved || r.judged.grade > ENTERS));
    let row = |r: &StudyReversal| {
        vec![
            r.reversal.clone(),
            r.identity.run.clone(),
            r.judged.read.step.to_string(),
            or_missing(r.set_point.clone()),
            r.judged.grade.name().to_owned(),
            or_missing(crate::tables::column::joined(&r.judged.remarks)),
        ]
    };
    printed(&columns, out.map(row).collect())
}

/// Lowest grade that enters states by the printed rules.
const ENTERS: stages::reversal::result::Grade = stages::reversal::result::Grade::B;

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

/// Fits.
pub fn fits(rows: &[FitRow]) -> Printed {
    let columns = [
        ("model", "left"),
        ("fitted to", "left"),
        ("parameter", "left"),
        ("value", "right"),
        ("unit", "left"),
        ("95 %", "left"),
        ("AICc", "right"),
        ("remarks", "wide"),
    ];
    let row = |f: &FitRow| {
        let u = f.u_value.unwrap_or(f64::NAN);
        let interval = f.value.map(|value| Interval { value, u, low: f.value_low, high: f.value_high });
        vec![
            f.model.clone(),
            f.scope.clone(),
            f.parameter.clone(),
            or_missing(f.value.map(|v| numbers::plus_minus(v, u))),
            f.unit.clone(),
            ends(interval),
            or_missing(f.aicc.map(numbers::plain)),
            f.remarks.join("; "),
        ]
    };
    printed(&columns, rows.iter().map(row).collect())
}

/// The budget: a row per quantity with its largest sources; all of them are in the published table.
pub fn budget(rows: &[BudgetRow]) -> Printed {
    let columns =
        [("quantity", "left"), ("sample", "wide"), ("set-point", "left"), ("u", "right"), ("largest sources", "text")];
    let same =
        |a: &BudgetRow, b: &BudgetRow| (&a.quantity, &a.sample, &a.set_point) == (&b.quantity, &b.sample, &b.set_point);
    let row = |rows: &[BudgetRow]| {
        let (first, squares) = (&rows[0], rows.iter().map(|b| b.u * b.u).sum::<f64>());
        vec![
            first.quantity.clone(),
            first.sample.clone(),
            or_missing(first.set_point.clone()),
            numbers::significant(squares.sqrt(), 2),
            largest_sources(rows),
        ]
    };
    printed(&columns, rows.chunk_by(same).map(row).collect())
}

/// At most four sources of at least 1 % of the variance, largest first.
fn largest_sources(rows: &[BudgetRow]) -> String {
    let mut sorted: Vec<&BudgetRow> = rows.iter().filter(|b| b.share >= 0.01).collect();
    sorted.sort_by(|a, b| b.share.total_cmp(&a.share));
    let source = |b: &&BudgetRow| format!("{} {}", b.source, numbers::percent(b.share));
    or_missing(Some(sorted.iter().take(4).map(source).collect::<Vec<_>>().join(", ")))
}

/// Every reversal with the three measurands side by side.
pub fn reversals(rows: &[StudyReversal]) -> Printed {
    let columns = [
        ("reversal", "left"),
        ("run", "wide"),
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
            numbers::significant(read.dead.first_usable(), 2),
            r.judged.grade.name().to_owned(),
        ]
    };
    printed(&columns, rows.iter().map(row).collect())
}

/// Samples as declared.
pub fn samples(samples: &[Sample]) -> Printed {
    let columns = [
        ("sample", "wide"),
        ("φ", "right"),
        ("liquid", "left"),
        ("η of the liquid / (mPa s)", "right"),
        ("particles", "left"),
        ("diameter / µm", "right"),
        ("density / (kg/m³)", "right"),
    ];
    let row = |s: &Sample| {
        let name = if s.control { format!("{} (control)", s.name) } else { s.name.clone() };
        let particles = s.particles.as_ref();
        vec![
            name,
            quantity(s.volume_fraction, 1.0, ""),
            s.liquid.name.clone(),
            quantity(s.liquid.viscosity, 1e3, ""),
            or_missing(particles.map(|p| p.name.clone())),
            quantity(particles.and_then(|p| p.diameter), 1e6, ""),
            quantity(particles.and_then(|p| p.density), 1.0, ""),
        ]
    };
    printed(&columns, samples.iter().map(row).collect())
}

/// Geometries and instruments as declared, a line each.
pub fn apparatus(geometries: &[Geometry], instruments: &[Instrument]) -> Printed {
    let columns = [("name", "wide"), ("what", "left"), ("dimensions and limits", "text")];
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
    let columns = [("raw export", "wide"), ("rows", "right"), ("BLAKE3", "hash")];
    let row = |r: &JudgedRun| vec![r.identity.run.clone(), numbers::whole(r.identity.rows), r.identity.blake3.clone()];
    printed(&columns, judged.iter().map(row).collect())
}

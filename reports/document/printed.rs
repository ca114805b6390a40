//! The tables as they are printed: chosen columns, rounded, as text. What is published in full is in `tables`.

use crate::text::methods::Given;
use crate::text::numbers::{self, MISSING};
use crate::text::remarks::claims::words;
use serde::Serialize;
use stages::claims::result::ClaimRow;
use stages::physics::geometry::{Geometry, Shape};
use stages::physics::instrument::Instrument;
use stages::physics::materials::Sample;
use stages::physics::quantity::Quantity;
use stages::reversal::result::GradedRun;
use stages::states::result::{Interval, State, Thickening};

/// A printed table: headings with their alignment, rows of text.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Printed {
    /// Headings.
    pub head: Vec<String>,
    /// For each column `left` or `right`; `name` for text that may break where it is long, `wide` for such text that
    /// takes what is left of the width, `text` for sentences, `hash` for hashes, `symbol` for a symbol that may have
    /// an index behind `_`, and its meaning behind a comma; `said` for a name with what is said of it on the lines
    /// below.
    pub kind: Vec<&'static str>,
    /// Cells. A row of one cell stands over the whole width, as a head of the rows below it.
    pub rows: Vec<Vec<String>>,
    /// Columns that tell a group: a thin line stands where one of them changes.
    pub groups: Vec<usize>,
}

impl Printed {
    /// The same with thin lines between groups, which these columns tell.
    pub(super) fn grouped(self, groups: &[usize]) -> Self {
        Self { groups: groups.to_vec(), ..self }
    }
}

pub(super) fn printed(columns: &[(&'static str, &'static str)], rows: Vec<Vec<String>>) -> Printed {
    Printed {
        head: columns.iter().map(|c| c.0.to_owned()).collect(),
        kind: columns.iter().map(|c| c.1).collect(),
        rows,
        groups: Vec::new(),
    }
}

/// The numbers in a formula of the methods text.
pub(super) fn given(given: &Given) -> Printed {
    let columns: Vec<(&'static str, &'static str)> = given.columns.iter().map(|name| (*name, "left")).collect();
    printed(&columns, given.rows.clone())
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

/// The share of a rise, or `≥` its bound.
fn share_of_rise(row: &Thickening) -> String {
    match row.contact_share_of_rise {
        Some(share) => concise(Some(share)),
        None => {
            or_missing(row.contact_share_of_rise_bound.map(|bound| format!("≥ {}", numbers::significant(bound, 2))))
        }
    }
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
    printed(&columns, states.iter().map(row).collect()).grouped(&[0])
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
            share_of_rise(t),
            ends(t.contact_share_of_rise),
            t.loadings.to_string(),
            t.verdict().name().to_owned(),
        ]
    };
    printed(&columns, rows.iter().map(row).collect())
}

/// Claims; what is wrong with one stands below its words.
pub fn claims(rows: &[ClaimRow]) -> Printed {
    let columns = [("claim", "said"), ("says", "right"), ("within", "right"), ("found", "right"), ("holds", "left")];
    let row = |c: &ClaimRow| {
        let remark = c.remark.as_ref().map_or_else(String::new, |remark| format!("\n{}", words(remark)));
        vec![
            // Words of the study keep to one line, so that a line break tells ours apart.
            c.says.replace(['\n', '\r'], " ") + &remark,
            numbers::setting(c.value),
            numbers::setting(c.within),
            or_missing(c.found.map(|f| numbers::plus_minus(f, c.u_found.unwrap_or(f64::NAN)))),
            if c.holds { "yes" } else { "no" }.to_owned(),
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
        ("particles ρ / (kg/m³)", "right"),
        ("liquid", "name"),
        ("liquid ρ / (kg/m³)", "right"),
        ("liquid η / (Pa s)", "right"),
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
pub fn provenance(graded: &[GradedRun]) -> Printed {
    let columns = [("raw export", "name"), ("rows", "right"), ("BLAKE3", "hash")];
    let row = |r: &GradedRun| vec![r.identity.run.clone(), numbers::whole(r.identity.rows), r.identity.blake3.clone()];
    printed(&columns, graded.iter().map(row).collect())
}

//! Geometries and instruments of the study file, in SI.

use crate::physics::geometry::{Geometry, Shape};
use crate::physics::instrument::Instrument;
use crate::physics::quantity::Quantity;
use crate::physics::units::Dimension;
use crate::setup::document::{self, Document, Kind};
use crate::setup::quantities::{Range, read};
use crate::setup::source::Problems;
use crate::setup::yaml::listed;
use std::collections::BTreeMap;

/// End-effect factor of the standard geometry (ISO 3219:1993, annex B).
const STANDARD_END_EFFECT: f64 = 1.10;

/// All geometries, by name.
pub(super) fn geometries(document: &Document, problems: &mut Problems<'_>) -> BTreeMap<String, Geometry> {
    let mut geometries = BTreeMap::new();
    for (name, typed) in &document.geometries {
        let path = format!("geometries.{name}");
        let inertia = typed.inertia.as_ref();
        let inertia = read(problems, &format!("{path}.inertia"), inertia, Dimension::INERTIA, Range::NotNegative);
        if let Some(shape) = shape(typed, &path, problems) {
            geometries.insert(name.clone(), Geometry { name: name.clone(), shape, inertia });
        }
    }
    geometries
}

impl Kind {
    /// Its dimensions, the needed ones first, and how many are needed.
    const fn dimensions(self) -> (&'static [&'static str], usize) {
        match self {
            Self::ConePlate => (&["radius", "angle", "truncation"], 2),
            Self::ParallelPlates => (&["radius", "gap"], 2),
            Self::ConcentricCylinders => (&["inner_radius", "outer_radius", "length", "end_effect"], 3),
        }
    }

    /// As written.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::ConePlate => "cone-plate",
            Self::ParallelPlates => "parallel-plates",
            Self::ConcentricCylinders => "concentric-cylinders",
        }
    }
}

/// Every dimension that some kind has: key, text, what it measures, range.
fn dimensions(typed: &document::Geometry) -> [(&'static str, Option<&String>, Dimension, Range); 8] {
    const RIGHT_ANGLE: Range = Range::Below(std::f64::consts::FRAC_PI_2, "90 deg");
    [
        ("radius", typed.radius.as_ref(), Dimension::LENGTH, Range::Positive),
        ("angle", typed.angle.as_ref(), Dimension::ANGLE, RIGHT_ANGLE),
        ("truncation", typed.truncation.as_ref(), Dimension::LENGTH, Range::NotNegative),
        ("gap", typed.gap.as_ref(), Dimension::LENGTH, Range::Positive),
        ("inner_radius", typed.inner_radius.as_ref(), Dimension::LENGTH, Range::Positive),
        ("outer_radius", typed.outer_radius.as_ref(), Dimension::LENGTH, Range::Positive),
        ("length", typed.length.as_ref(), Dimension::LENGTH, Range::Positive),
        ("end_effect", typed.end_effect.as_ref(), Dimension::NONE, Range::Positive),
    ]
}

fn shape(typed: &document::Geometry, path: &str, problems: &mut Problems<'_>) -> Option<Shape> {
    let (wanted, needed) = typed.kind.dimensions();
    let mut found: BTreeMap<&str, Quantity> = BTreeMap::new();
    for (key, text, dimension, range) in dimensions(typed) {
        let at = format!("{path}.{key}");
        if text.is_some() && !wanted.contains(&key) {
            let help = format!("it has {}", listed(wanted.iter().copied()));
            problems.add(&at, format!("{} has no `{key}`", typed.kind.name()), Some(help));
        } else if let Some(quantity) = read(problems, &at, text, dimension, range) {
            found.insert(key, quantity);
        } else if text.is_none() && wanted[..needed].contains(&key) {
            problems.add(
                path,
                format!("{} needs `{key}`", typed.kind.name()),
                Some(format!("add `{key}: …` with its unit")),
            );
        }
    }
    assemble(typed.kind, &found, path, problems)
}

fn assemble(kind: Kind, found: &BTreeMap<&str, Quantity>, path: &str, problems: &mut Problems<'_>) -> Option<Shape> {
    let get = |key: &str| found.get(key).copied();
    Some(match kind {
        Kind::ConePlate => {
            Shape::ConePlate { radius: get("radius")?, angle: get("angle")?, truncation: get("truncation") }
        }
        Kind::ParallelPlates => Shape::ParallelPlates { radius: get("radius")?, gap: get("gap")? },
        Kind::ConcentricCylinders => {
            let (inner_radius, outer_radius) = (get("inner_radius")?, get("outer_radius")?);
            if outer_radius.value <= inner_radius.value {
                problems.add(&format!("{path}.outer_radius"), "the cup must be wider than the inner cylinder", None);
            }
            let end_effect = get("end_effect").map_or(STANDARD_END_EFFECT, |q| q.value);
            Shape::ConcentricCylinders { inner_radius, outer_radius, length: get("length")?, end_effect }
        }
    })
}

/// All instruments, by name.
pub(super) fn instruments(document: &Document, problems: &mut Problems<'_>) -> BTreeMap<String, Instrument> {
    document.instruments.iter().map(|(name, typed)| (name.clone(), instrument(name, typed, problems))).collect()
}

fn instrument(name: &str, typed: &document::Instrument, problems: &mut Problems<'_>) -> Instrument {
    let mut get = |key: &str, text: &Option<String>, dimension, range| {
        read(problems, &format!("instruments.{name}.{key}"), text.as_ref(), dimension, range)
    };
    let torque = Dimension::TORQUE;
    let floor = get("torque_floor", &typed.torque_floor, torque, Range::NotNegative).map(|q| q.value);
    let ceiling = get("torque_ceiling", &typed.torque_ceiling, torque, Range::Positive).map(|q| q.value);
    let calibration = get("torque_calibration", &typed.torque_calibration, Dimension::NONE, Range::NotNegative);
    let instrument = Instrument {
        name: name.to_owned(),
        inertia: get("inertia", &typed.inertia, Dimension::INERTIA, Range::NotNegative),
        torque_floor: floor,
        torque_ceiling: ceiling,
        torque_calibration: calibration.map(|q| q.value),
        compliance: get("compliance", &typed.compliance, Dimension::COMPLIANCE, Range::NotNegative),
    };
    if let (Some(floor), Some(ceiling)) = (floor, ceiling)
        && ceiling <= floor
    {
        let path = format!("instruments.{name}.torque_ceiling");
        problems.add(&path, "the torque ceiling must be above the torque floor", None);
    }
    instrument
}

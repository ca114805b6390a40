//! Liquids, particles and samples of the study file, resolved and in SI.

use crate::physics::liquids::Composition;
use crate::physics::materials::{Liquid, Particles, Sample, volume_fraction};
use crate::physics::quantity::Quantity;
use crate::physics::units::Dimension;
use crate::setup::document::{self, Document};
use crate::setup::names::refer;
use crate::setup::quantities::{Range, read};
use crate::setup::source::Problems;
use std::collections::BTreeMap;

const FRACTION: Range = Range::Below(1.0, "1");

/// All samples, by name.
pub(super) fn samples(document: &Document, problems: &mut Problems<'_>) -> BTreeMap<String, Sample> {
    let liquids = each(&document.liquids, problems, liquid);
    let particles = each(&document.particles, problems, particles_of);
    let mut samples = BTreeMap::new();
    for (name, typed) in &document.samples {
        let path = format!("samples.{name}");
        if name.trim().is_empty() {
            problems.add(&path, "a sample has no name", None);
        }
        if let Some(sample) = sample(name, typed, &path, &liquids, &particles, problems) {
            samples.insert(name.clone(), sample);
        }
    }
    samples
}

type Resolve<T, U> = fn(&str, &T, &mut Problems<'_>) -> U;

fn each<T, U>(typed: &BTreeMap<String, T>, problems: &mut Problems<'_>, resolve: Resolve<T, U>) -> BTreeMap<String, U> {
    typed.iter().map(|(name, typed)| (name.clone(), resolve(name, typed, problems))).collect()
}

fn liquid(name: &str, typed: &document::Liquid, problems: &mut Problems<'_>) -> Liquid {
    let path = |key: &str| format!("liquids.{name}.{key}");
    let composition = composition(typed, &format!("liquids.{name}"), problems);
    if typed.composition.is_some() && typed.viscosity.is_some() {
        let help = "keep either the measured `viscosity` or the `composition`";
        problems.add(&path("viscosity"), "the viscosity is given twice", Some(help.to_owned()));
    }
    let viscosity = read(problems, &path("viscosity"), typed.viscosity.as_ref(), Dimension::VISCOSITY, Range::Positive);
    let density = read(problems, &path("density"), typed.density.as_ref(), Dimension::DENSITY, Range::Positive);
    Liquid {
        name: name.to_owned(),
        viscosity: viscosity.or(composition.map(|of| of.viscosity())),
        density: density.or(composition.map(|of| of.density())),
        composition,
    }
}

/// What the viscosity follows from, if the study says so.
fn composition(typed: &document::Liquid, path: &str, problems: &mut Problems<'_>) -> Option<Composition> {
    let at = |key: &str| format!("{path}.{key}");
    let temperature = typed.temperature.as_ref();
    let temperature = read(problems, &at("temperature"), temperature, Dimension::TEMPERATURE, Range::Liquid);
    let glycerol = read(problems, &at("glycerol"), typed.glycerol.as_ref(), Dimension::NONE, FRACTION);
    let needs = [
        ("temperature", typed.temperature.is_some(), typed.composition.is_some()),
        ("glycerol", typed.glycerol.is_some(), typed.composition == Some(document::Composition::WaterGlycerol)),
    ];
    for (key, there, needed) in needs.into_iter().filter(|(_, there, needed)| there != needed) {
        let (what, help) = match (there, needed) {
            (false, _) => (format!("`{key}` is missing: the viscosity follows from it"), format!("add `{key}: …`")),
            _ => (
                format!("nothing follows from `{key}` here"),
                format!("take `{key}` out, or give a `composition` that has it"),
            ),
        };
        problems.add(&if there { at(key) } else { path.to_owned() }, what, Some(help));
    }
    Some(match typed.composition? {
        document::Composition::Water => Composition::Water { temperature: temperature? },
        document::Composition::WaterGlycerol => {
            Composition::WaterGlycerol { temperature: temperature?, glycerol: glycerol? }
        }
    })
}

fn particles_of(name: &str, typed: &document::Particles, problems: &mut Problems<'_>) -> Particles {
    let path = |key: &str| format!("particles.{name}.{key}");
    Particles {
        name: name.to_owned(),
        density: read(problems, &path("density"), typed.density.as_ref(), Dimension::DENSITY, Range::Positive),
        diameter: read(problems, &path("diameter"), typed.diameter.as_ref(), Dimension::LENGTH, Range::Positive),
    }
}

fn sample(
    name: &str,
    typed: &document::Sample,
    path: &str,
    liquids: &BTreeMap<String, Liquid>,
    particles: &BTreeMap<String, Particles>,
    problems: &mut Problems<'_>,
) -> Option<Sample> {
    let liquid = refer(problems, &format!("{path}.liquid"), "liquid", &typed.liquid, liquids);
    let solid = typed.particles.as_ref();
    let solid = solid.map(|name| refer(problems, &format!("{path}.particles"), "particles", name, particles));
    if typed.control {
        refuse_solid(typed, path, problems);
    } else if typed.particles.is_none() {
        let help = "add `particles: …`, or `control: true` if this is a liquid without particles";
        problems.add(path, format!("sample `{name}` has no particles"), Some(help.to_owned()));
    }
    let volume_fraction = fraction(typed, path, liquid, solid.flatten(), problems);
    Some(Sample {
        name: name.to_owned(),
        liquid: liquid?.clone(),
        particles: solid.flatten().cloned(),
        volume_fraction: volume_fraction.filter(|_| !typed.control),
        control: typed.control,
    })
}

/// A control is a liquid and nothing else.
fn refuse_solid(typed: &document::Sample, path: &str, problems: &mut Problems<'_>) {
    let keys = [
        ("particles", &typed.particles),
        ("volume_fraction", &typed.volume_fraction),
        ("particle_mass", &typed.particle_mass),
        ("liquid_mass", &typed.liquid_mass),
    ];
    for (key, _) in keys.into_iter().filter(|(_, text)| text.is_some()) {
        let help = format!("take `{key}` out, or `control: true`");
        problems.add(&format!("{path}.{key}"), "a control is a Newtonian liquid without particles", Some(help));
    }
}

/// Given, or from masses and densities.
fn fraction(
    typed: &document::Sample,
    path: &str,
    liquid: Option<&Liquid>,
    solid: Option<&Particles>,
    problems: &mut Problems<'_>,
) -> Option<Quantity> {
    let at = |key: &str| format!("{path}.{key}");
    let mut mass =
        |key: &str, text: &Option<String>| read(problems, &at(key), text.as_ref(), Dimension::MASS, Range::Positive);
    let masses = (mass("particle_mass", &typed.particle_mass), mass("liquid_mass", &typed.liquid_mass));
    let given = read(problems, &at("volume_fraction"), typed.volume_fraction.as_ref(), Dimension::NONE, FRACTION);
    match (&typed.volume_fraction, &typed.particle_mass, &typed.liquid_mass) {
        (Some(_), None, None) => given,
        (None, Some(_), Some(_)) => {
            let densities = (
                density(solid.map(|s| (&s.name, s.density)), "particles", path, problems),
                density(liquid.map(|l| (&l.name, l.density)), "liquids", path, problems),
            );
            Some(volume_fraction(masses.0?, densities.0?, masses.1?, densities.1?))
        }
        (None, None, None) => None,
        (Some(_), _, _) => {
            let help = "keep either `volume_fraction` or the two masses";
            problems.add(&at("volume_fraction"), "the solid fraction is given twice", Some(help.to_owned()));
            None
        }
        (None, solid, _) => {
            let missing = if solid.is_some() { "liquid_mass" } else { "particle_mass" };
            problems.add(path, format!("`{missing}` is missing: the solid fraction needs both masses"), None);
            None
        }
    }
}

/// A density that the masses need.
fn density(
    of: Option<(&String, Option<Quantity>)>,
    section: &str,
    path: &str,
    problems: &mut Problems<'_>,
) -> Option<Quantity> {
    let (name, density) = of?;
    if density.is_none() && !problems.source().has(&format!("{section}.{name}.density")) {
        let help = format!("add `density: …` to {section}.{name}, or give `volume_fraction` instead of the masses");
        problems.add(path, format!("the solid fraction from masses needs the density of `{name}`"), Some(help));
    }
    density
}

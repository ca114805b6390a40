//! From the study as meant to the whole plan: the chains of the main line and of its variants, and what is shown of
//! them. It decides nothing about single tasks.

use crate::document::data;
use crate::document::find::find_typst;
use crate::plan::{self, ReportInputs, VariantStates};
use crate::tables::published::{PublishedTable, published};
use crate::text::methods::InForce;
use pipeline::command::Failure;
use pipeline::diagnostic::Diagnostic;
use pipeline::graph::select;
use pipeline::stage::{Plan, Tool};
use stages::ingest::layout::Layout;
use stages::physics::geometry::Shape;
use stages::physics::liquids::Composition;
use stages::physics::materials::Sample;
use stages::plan::Chain;
use stages::setup::listing::{self, SettingRow};
use stages::setup::stages::Stages;
use stages::setup::{Study, Tables};
use std::collections::BTreeMap;
use std::path::Path;

/// Reads and checks the study in this folder; claims are held against the published tables that there can be claims about.
///
/// # Errors
/// Every mistake of the study file.
pub fn load(folder: &Path) -> Result<Study, Failure> {
    with_tables(|tables| stages::setup::load(folder, tables))
}

/// The same with another text in place of the study file.
///
/// # Errors
/// As [`load`].
pub fn load_text(text: String, folder: &Path) -> Result<Study, Failure> {
    with_tables(|tables| stages::setup::load_text(text, folder, tables))
}

fn with_tables(load: impl FnOnce(&Tables<'_>) -> Result<Study, Vec<Diagnostic>>) -> Result<Study, Failure> {
    let claimable = published().into_iter().filter(PublishedTable::claimable);
    let tables = claimable.map(|t| (t.name, t.columns.iter().map(|c| c.name).collect())).collect();
    load(&tables).map_err(Failure::input)
}

/// Stages whose tasks stay where the plan is cut, if all that they read does.
pub const ALONG: [&str; 1] = ["table"];

/// The plan of the study in this folder, down to a stage if one is named.
///
/// # Errors
/// Every mistake of the study file, or a stage that there is not.
pub fn plan_of(folder: &Path, until: Option<&str>) -> Result<Plan, Failure> {
    let whole = plan(&load(folder)?, &typst());
    match until {
        None | Some("report") => Ok(whole),
        Some(stage) => select::until(whole, stage, &ALONG),
    }
}

/// The typesetter; without a path where there is none, so that what needs no page works all the same.
pub fn typst() -> Tool {
    find_typst().unwrap_or(Tool { name: "typst", version: String::new(), path: None })
}

/// A variant of the study with its settings and its tasks.
struct Variant<'a> {
    name: &'a str,
    stages: &'a Stages,
    chain: Chain,
}

/// The plan of a study, variants included.
pub fn plan(study: &Study, typst: &Tool) -> Plan {
    let mut plan = stages::plan::empty(study);
    let main = stages::plan::add(&mut plan, study, &study.stages, None);
    let mut variants = Vec::new();
    for (name, stages) in &study.variants {
        variants.push(Variant { name, stages, chain: stages::plan::add(&mut plan, study, stages, Some(name)) });
    }
    // The document of the main line shows what the variants move.
    let states = |v: &Variant<'_>| VariantStates { name: v.name.to_owned(), task: v.chain.uncertainty.clone() };
    let states = variants.iter().map(states).collect();
    plan::add(&mut plan, &ReportInputs { variants: states, ..inputs(study, &study.stages, None, &main, typst) });
    for Variant { name, stages, chain } in &variants {
        plan::add(&mut plan, &inputs(study, stages, Some(name), chain, typst));
    }
    plan
}

fn inputs(study: &Study, stages: &Stages, variant: Option<&str>, chain: &Chain, typst: &Tool) -> ReportInputs {
    ReportInputs {
        variant: variant.map(str::to_owned),
        study: front(study),
        samples: study.samples.values().cloned().collect(),
        geometries: study.geometries.values().cloned().collect(),
        instruments: study.instruments.values().cloned().collect(),
        in_force: in_force(study, stages),
        settings: listing::settings(study).iter().map(line).collect(),
        set_aside: study.set_aside.clone(),
        own: study.report.sections.clone(),
        study_file: study.as_read.clone(),
        chain: chain.clone(),
        variants: Vec::new(),
        claims: if variant.is_none() { study.claims.clone() } else { Vec::new() },
        earlier_results: if variant.is_none() { study.earlier_results.clone() } else { BTreeMap::new() },
        typst: typst.clone(),
    }
}

fn front(study: &Study) -> data::Study {
    data::Study {
        title: study.report.title.clone().unwrap_or_else(|| study.title.clone()),
        authors: study.authors.clone(),
        licence: study.licence.clone(),
        date: study.date.clone(),
        summary: study.r#abstract.clone(),
        keywords: study.keywords.clone(),
        protocol: study.protocol.clone(),
        subtitle: study.report.subtitle.clone(),
        paper: study.report.paper,
        form: study.report.form,
    }
}

fn in_force(study: &Study, stages: &Stages) -> InForce {
    let inertias = study.instruments.values().map(|i| i.inertia).chain(study.geometries.values().map(|g| g.inertia));
    InForce {
        ingest: stages.ingest.clone(),
        clean: stages.clean.clone(),
        reversal: stages.reversal.clone(),
        fit: stages.fit.clone(),
        uncertainty: stages.uncertainty.clone(),
        seed: study.seed,
        loading_per_export: study.runs.iter().any(|run| run.loading.is_none()),
        computed_liquids: study.samples.values().filter_map(computed).collect::<BTreeMap<_, _>>().into_iter().collect(),
        inertia_known: inertias.flatten().next().is_some(),
        plates: study.geometries.values().any(|g| matches!(g.shape, Shape::ParallelPlates { .. })),
        cones: study.geometries.values().any(|g| matches!(g.shape, Shape::ConePlate { .. })),
        cylinders: study.geometries.values().any(|g| matches!(g.shape, Shape::ConcentricCylinders { .. })),
        angles: study.layouts.values().any(|l| l.columns.angle.is_some()),
        positions: study.layouts.values().any(gives_position),
        rates: !study.layouts.values().all(gives_position),
        steps_by_set_point: study.layouts.values().any(steps_by_set_point),
        stress_exported: study.layouts.values().any(|l| l.columns.stress.is_some() && l.columns.torque.is_none()),
        weighed: weighed(&study.as_read),
        stress_and_torque: study.layouts.values().any(|l| l.columns.stress.is_some() && l.columns.torque.is_some()),
    }
}

/// Whether exports give where the moving part is; otherwise its speed or rate is integrated.
fn gives_position(layout: &Layout) -> bool {
    layout.columns.angle.is_some() || layout.columns.strain.is_some()
}

/// Whether any sample of the study file states the mass of its particles.
fn weighed(study_file: &serde_json::Value) -> bool {
    let samples = study_file.get("samples").and_then(serde_json::Value::as_object);
    samples.is_some_and(|samples| samples.values().any(|sample| sample.get("particle_mass").is_some()))
}

/// Nothing but a set-point tells the steps of such exports.
fn steps_by_set_point(layout: &Layout) -> bool {
    let columns = &layout.columns;
    let told = columns.step.is_some() || columns.label.is_some() || layout.step_starts.is_some();
    !told && (columns.set_stress.is_some() || columns.set_rate.is_some())
}

/// The liquid of a sample, where its viscosity follows from its composition.
fn computed(sample: &Sample) -> Option<(String, Composition)> {
    Some((sample.liquid.name.clone(), sample.liquid.composition?))
}

/// The line of the study file is left out: a comment above it must not make the document anew.
fn line(row: &SettingRow) -> data::SettingLine {
    let unit = row.unit.as_ref().filter(|_| !row.value.is_null());
    let unit = unit.map_or_else(String::new, |unit| format!(" {unit}"));
    let value = match &row.value {
        serde_json::Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    let meaning = row.meaning.clone();
    data::SettingLine { path: row.path.clone(), value: value + &unit, meaning, from_study: row.line.is_some() }
}

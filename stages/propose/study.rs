//! The first `study.yaml` of a study, as text: what was found, `TODO` for what only the person knows, and every setting
//! as a comment. What was found comes from the survey.

use super::apparatus;
use super::columns::TODO;
use super::names::{Entry, Named, is_control};
use super::survey::Survey;
use super::yaml::{self, scalar};
use crate::setup::listing::{SettingRow, defaults};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// Name of the schema's file, beside the study file.
pub(super) const SCHEMA_FILE: &str = "study.schema.json";

/// Writes the study file for what was found; for an empty survey a frame to fill.
pub(super) fn text(survey: &Survey, named: &Named) -> String {
    let mut out = format!(
        "# What was measured, on what, and how it is to be read. `{TODO}` stands for what only you know: `shearback run`\n\
         # names all that are left. Quantities carry their unit, and their standard uncertainty where it is known:\n\
         # `45.2(5) mPa.s`, `45.2 mPa.s ± 1 %`, `45.2 ± 1.0 mPa.s (k=2)`.\n\n\
         study: {TODO}\nauthors: [{{name: {TODO}}}]\n# licence: CC-BY-4.0\n# protocol: pre-shear, waits, mixing, in free words\n"
    );
    out += &samples(named);
    out += &apparatus::text(&named.geometries, &named.instruments);
    out += &layouts(survey);
    out += &raw(survey, named);
    out += "\n# What is excluded by hand stays in the tables, enters no result, and is named in the report.\n\
            # set_aside:\n#   - {run: raw/A/L1.txt, step: 5, because: bubble at the rim}\n";
    out += &stages();
    out += "\n# variants:          # the chain once more with other settings\n\
            #   strict: {clean: {spike: {threshold: 2.5}}}\n\
            # claims:            # numbers that are printed somewhere, held against what the study gives\n\
            #   - {says: …, table: states, where: {sample: A, set_point: 10 Pa}, column: contact_share, value: 0.8, within: 0.05}\n";
    out
}

fn samples(named: &Named) -> String {
    let names: BTreeSet<&str> = named.entries.iter().map(|entry| entry.sample.as_str()).collect();
    let control = |name: &str| {
        let own = |entry: &&Entry| entry.sample == name;
        is_control(name) || named.entries.iter().filter(own).all(|entry| is_control(&entry.files))
    };
    let controls: BTreeSet<&str> = names.iter().copied().filter(|name| control(name)).collect();
    let mut out = format!("\nliquids:\n  carrier: {{viscosity: {TODO} mPa.s, density: {TODO} kg/m3}}\n");
    if !controls.is_empty() {
        let _ = writeln!(out, "  control-liquid: {{viscosity: {TODO} mPa.s, density: {TODO} kg/m3}}     # Newtonian");
    }
    let _ = writeln!(out, "\nparticles:\n  solid: {{density: {TODO} kg/m3, diameter: {TODO} um}}\n");
    out += "# The solid fraction, or the masses that were weighed in: `particle_mass: 31.20(1) g, liquid_mass: 12.99(1) g`.\nsamples:\n";
    for name in &names {
        let _ = match controls.contains(name) {
            true => writeln!(out, "  {}: {{liquid: control-liquid, control: true}}", scalar(name)),
            false => {
                writeln!(out, "  {}: {{liquid: carrier, particles: solid, volume_fraction: {TODO}}}", scalar(name))
            }
        };
    }
    if names.is_empty() {
        let _ = writeln!(out, "  {TODO}: {{liquid: carrier, particles: solid, volume_fraction: {TODO}}}");
    }
    out
}

fn layouts(survey: &Survey) -> String {
    let mut out = "\n# How the exports are laid out; names as they stand in the header.\nlayouts:\n".to_owned();
    for (name, proposal) in &survey.layouts {
        for text in &proposal.unclear {
            let _ = writeln!(out, "  # To check: {}", yaml::comment(text));
        }
        out += &yaml::layout(name, &proposal.layout, proposal, 2);
    }
    if survey.layouts.is_empty() {
        let _ = writeln!(out, "  {TODO}: {{}}     # `shearback peek FILE` proposes one");
    }
    out
}

fn raw(survey: &Survey, named: &Named) -> String {
    let mut out =
        "\n# The exports and what each is of. Check the design that this gives: samples, loadings, repeats.\n"
            .to_owned();
    for text in named.how.iter().chain(&named.unclear).chain(&survey.copies) {
        let _ = writeln!(out, "# {}", yaml::comment(text));
    }
    for problem in &survey.refused {
        let _ = writeln!(out, "# left out: {}", yaml::comment(&problem.to_string()));
    }
    let keys: BTreeSet<&str> =
        survey.exports.iter().flat_map(|export| export.preamble.keys()).map(String::as_str).collect();
    if !keys.is_empty() {
        let some: Vec<String> = keys.into_iter().take(3).map(scalar).collect();
        let _ = writeln!(
            out,
            "# `preamble: [{}]` in an entry makes columns of the table `runs` of these.",
            some.join(", ")
        );
    }
    out += "raw:\n";
    for entry in &named.entries {
        let _ = writeln!(out, "  {}", entry.yaml());
    }
    if named.entries.is_empty() {
        let _ = writeln!(out, "  - {{files: {TODO}, sample: {TODO}}}");
    }
    out
}

/// Every stage with every default as a comment.
fn stages() -> String {
    let mut out =
        "\n# Every setting at its default, with its meaning; take the `# ` before a key away to change it.\nstages:\n"
            .to_owned();
    let mut by_stage: Vec<(String, Vec<SettingRow>)> = Vec::new();
    for row in defaults() {
        let stage = row.path.split('.').next().unwrap_or_default().to_owned();
        match by_stage.last_mut().filter(|(last, _)| *last == stage) {
            Some((_, rows)) => rows.push(row),
            None => by_stage.push((stage, vec![row])),
        }
    }
    for (stage, rows) in &by_stage {
        let _ = writeln!(out, "  {stage}:");
        out += &settings(rows);
    }
    out
}

/// Settings as nested keys behind `# `.
fn settings(rows: &[SettingRow]) -> String {
    let mut out = String::new();
    let mut open: Vec<&str> = Vec::new();
    let groups: BTreeMap<&str, bool> = rows.iter().map(|row| (row.path.as_str(), holds_others(row, rows))).collect();
    for row in rows {
        let parts: Vec<&str> = row.path.split('.').skip(1).collect();
        let Some((name, above)) = parts.split_last() else { continue };
        let shared = open.iter().zip(above).take_while(|(a, b)| a == b).count();
        for (depth, group) in above.iter().enumerate().skip(shared) {
            let _ = writeln!(out, "    # {:depth$}{group}:", "", depth = 2 * depth);
        }
        open = above.to_vec();
        let group = groups.get(row.path.as_str()).copied().unwrap_or(false);
        let value = if group { String::new() } else { format!(" {}", row.value) };
        let indent = 2 * above.len();
        let _ = writeln!(out, "    # {:indent$}{name}:{value}     # {}", "", meaning(row, group));
        if group {
            open.push(name);
        }
    }
    out
}

/// Whether a rule that is on has settings of its own below it.
fn holds_others(row: &SettingRow, rows: &[SettingRow]) -> bool {
    let prefix = format!("{}.", row.path);
    rows.iter().any(|other| other.path.starts_with(&prefix))
}

fn meaning(row: &SettingRow, rule: bool) -> String {
    let mut text = row.meaning.split_whitespace().collect::<Vec<_>>().join(" ");
    if let Some(unit) = &row.unit {
        let _ = write!(text, " [{unit}]");
    }
    if let Some(range) = row.range.as_ref().filter(|_| !rule) {
        let _ = write!(text, " ({range})");
    }
    if rule {
        text += " (`false` switches it off)";
    }
    text
}

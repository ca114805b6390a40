//! The audit itself: looks at what stands, computes everything again in a folder apart, and holds one against the other.

use super::artefacts::Sides;
use super::standing::Standing;
use super::surroundings::{list, surroundings};
use super::{Artefact, Audit, ClaimFound, OF_U, Outcome, Problem, RELATIVE, Surrounding, kept, without_raw};
use crate::study;
use crate::tables::cells::{cell, number_at};
use crate::text::numbers;
use pipeline::command::{Exit, Failure};
use pipeline::graph::Graph;
use pipeline::progress::Progress;
use pipeline::results::manifest::Manifest;
use pipeline::run::outcome::{Outcome as Became, Report};
use pipeline::run::{Request, cancel, made, run_in};
use pipeline::stage::Plan;
use pipeline::store::Store;
use pipeline::store::disk::SystemDisk;
use pipeline::store::files::{Files, MANIFEST};
use stages::table::{Table, Values};
use std::collections::{BTreeMap, BTreeSet};
use std::num::NonZeroUsize;
use std::path::Path;

/// Audits the study in this folder; `jobs` threads compute.
///
/// # Errors
/// Bad input, or surroundings that do not let us; what does not hold is no error.
pub fn audit(folder: &Path, jobs: Option<NonZeroUsize>) -> Result<Audit, Failure> {
    let files = Files::new(folder);
    let standing = Standing::look(&files)?;
    let until = standing.line.as_ref().and_then(|line| line.until.clone());
    let plan = match study::plan_of(folder, until.as_deref()) {
        Ok(plan) => plan,
        Err(failure) => return without_raw::audit(&files, &standing).ok_or(failure),
    };
    let scratch = tempfile::Builder::new().prefix("shearback-audit").tempdir();
    let scratch = scratch.map_err(|e| Failure::io("create a folder in", &std::env::temp_dir(), &e))?;
    let store = Store::apart(folder, scratch.path(), &SystemDisk);
    let report = recompute(&store, &plan, jobs)?;
    found(&files, standing, &plan, &store, &report)
}

fn recompute(store: &Store<'_>, plan: &Plan, jobs: Option<NonZeroUsize>) -> Result<Report, Failure> {
    let cores = || std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
    let request = Request {
        jobs: jobs.unwrap_or_else(cores).get(),
        until: None,
        cancel: &*cancel::on_signals()?,
        progress: &Progress::on_terminal(),
        disk: store.disk,
    };
    let report = run_in(store, plan, &request);
    match report.failure {
        Some(failure) if failure.exit != Exit::Unmet => Err(failure),
        _ => Ok(report),
    }
}

fn found(files: &Files, standing: Standing, plan: &Plan, again: &Store<'_>, report: &Report) -> Result<Audit, Failure> {
    let mut problems = standing.problems.clone();
    let graph = Graph::new(plan)?;
    let raw = standing.raw(files, &graph.raw()).unwrap_or_else(|problem| {
        problems.push(problem);
        Vec::new()
    });
    problems.extend(raw.iter().filter(|raw| !raw.holds()).map(|raw| Problem::new(&raw.path, raw_words(raw))));
    problems.extend(failed(report));
    let store = kept::faults(files);
    problems.extend(store.iter().flatten().cloned());
    let surroundings = standing.line.as_ref().map_or_else(Vec::new, |line| surroundings(&line.made, &made(plan)));
    let artefacts = artefacts(files, &standing, again, report.laid_out, &surroundings);
    let differing = artefacts.iter().filter(|artefact| !artefact.outcome.holds());
    let other_file = standing.problems.iter().any(|problem| problem.what == stages::setup::STUDY_FILE);
    problems.extend(differing.map(|a| Problem::new(format!("results/{}", a.path), file_words(a, other_file))));
    let gives = "the raw exports give";
    let claims = if report.laid_out { claims(&again.files.results(), gives) } else { Vec::new() };
    let missed = claims.iter().filter(|claim| !claim.holds);
    problems.extend(missed.map(|claim| Problem::new("claim", claim.words.clone())));
    Ok(Audit {
        study: plan.study.clone(),
        run: standing.line.as_ref().map(|line| line.run),
        when: standing.line.as_ref().map(|line| line.when.clone()),
        manifest: Some(standing.manifest_hash.to_string()),
        recomputed: true,
        with: list(&made(plan)),
        surroundings,
        store: store.map(|faults| faults.len()),
        raw,
        files: artefacts,
        claims,
        holds: problems.is_empty(),
        problems,
        tolerance: [RELATIVE, OF_U],
    })
}

fn raw_words(raw: &super::Raw) -> String {
    match (&raw.then, &raw.now) {
        (_, None) => "the raw export is not there, or cannot be read".to_owned(),
        (None, Some(_)) => "this raw export is new: the results do not know it".to_owned(),
        (Some(then), Some(now)) => {
            let short = |hash: &str| hash.chars().take(12).collect::<String>();
            let (then, now) = (short(then), short(now));
            format!("it is not the raw export that the results were made from (BLAKE3 {now}…, was {then}…)")
        }
    }
}

/// `other_file`: the study file is not that of the run any more, so that it may be what makes the difference.
fn file_words(artefact: &Artefact, other_file: bool) -> String {
    match artefact.outcome {
        Outcome::Different if other_file => {
            format!("it is not what the raw exports give with the study file as it is now: {}", artefact.words)
        }
        Outcome::Changed => format!("it was changed since it was written; {}", artefact.words),
        Outcome::Different => format!("it is not what the raw exports give: {}", artefact.words),
        _ => artefact.words.clone(),
    }
}

/// Tasks that failed, with their own words.
fn failed(report: &Report) -> Vec<Problem> {
    let failed = report.tasks.iter().filter(|entry| entry.finished.outcome == Became::Failed);
    failed
        .map(|entry| {
            let words: Vec<String> = entry.finished.diagnostics.iter().map(ToString::to_string).collect();
            Problem::new(entry.name.clone(), format!("it cannot be computed: {}", words.join("; ")))
        })
        .collect()
}

/// Every file that stands, is listed, or was computed again.
fn artefacts(
    files: &Files,
    standing: &Standing,
    again: &Store<'_>,
    laid_out: bool,
    surroundings: &[Surrounding],
) -> Vec<Artefact> {
    let computed = std::fs::read(again.files.result(MANIFEST)).ok().and_then(|bytes| Manifest::parse(&bytes));
    let computed = computed.unwrap_or_default();
    let hashes = |manifest: &Manifest| -> BTreeMap<String, _> {
        manifest.files.iter().map(|entry| (entry.path.clone(), entry.blake3)).collect()
    };
    let (listed, computed) = (hashes(&standing.manifest), hashes(&computed));
    let (stands, redone) = (files.results(), again.files.results());
    let other_versions = surroundings.iter().any(|s| matches!(s.what.as_str(), "shearback" | "typst"));
    let sides = Sides { standing: &stands, again: &redone, other_versions };
    let paths: BTreeSet<&String> = listed.keys().chain(computed.keys()).chain(standing.files.keys()).collect();
    let artefact = |path: &String| {
        let (written, now, redone) = (listed.get(path), standing.files.get(path), computed.get(path));
        let plain = |outcome, words: &str| Artefact { path: path.clone(), outcome, words: words.into(), largest: None };
        match (written, now, redone) {
            (_, None, _) => plain(Outcome::Missing, "it is not there"),
            (None, Some(_), None) => plain(Outcome::NotOurs, "no run wrote it"),
            (_, Some(_), None) if !laid_out => plain(Outcome::NotRecomputed, "a task that it follows from failed"),
            (_, Some(_), None) => plain(Outcome::Different, "it is not among the results any more"),
            (written, Some(now), Some(redone)) if now == redone => match written {
                Some(written) if written != now => plain(Outcome::SameBytes, "though not what the manifest lists"),
                _ => plain(Outcome::SameBytes, ""),
            },
            (Some(written), Some(now), Some(_)) if written == now => sides.compare(path),
            (_, Some(_), Some(_)) => Artefact { outcome: Outcome::Changed, ..sides.compare(path) },
        }
    };
    paths.into_iter().map(artefact).collect()
}

/// The claims as computed in `results`; `gives` says who gives the numbers found.
pub(super) fn claims(results: &Path, gives: &str) -> Vec<ClaimFound> {
    let bytes = std::fs::read(results.join("tables").join("claims.parquet")).unwrap_or_default();
    let Ok(table) = Table::from_parquet(&bytes) else { return Vec::new() };
    let at = |name: &str, row| number_at(&table, name, row);
    let claim = |row| {
        let holds = matches!(table.column("holds"), Some(Values::Bool(holds)) if holds[row] == Some(true));
        let says = cell(&table, "says", row).unwrap_or_default();
        let [value, within, found, u_found] = ["value", "within", "found", "u_found"].map(|name| at(name, row));
        let remarks = cell(&table, "remarks", row).unwrap_or_default();
        let words = words(&says, [value, within, found, u_found], holds, gives, &remarks);
        ClaimFound { says, value, within, found, u_found, holds, words }
    };
    (0..table.height()).map(claim).collect()
}

fn words(says: &str, numbers: [Option<f64>; 4], holds: bool, gives: &str, remarks: &str) -> String {
    let [value, within, found, u] = numbers;
    let text = |x: Option<f64>| x.map_or_else(|| numbers::MISSING.to_owned(), numbers::setting);
    let gives = match found {
        Some(found) => format!("{gives} {}", numbers::plus_minus(found, u.unwrap_or(f64::NAN))),
        None => format!("{gives} no such number: {remarks}"),
    };
    let verdict = if holds { "holds" } else { "does not hold" };
    format!("\u{201c}{says}\u{201d} {verdict}: claimed {} within {}, {gives}", text(value), text(within))
}

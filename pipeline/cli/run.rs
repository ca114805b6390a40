//! `shearback run`.

use super::space::in_words;
use super::{document_of, exists, print_json, render};
use crate::command::{Domain, Earlier, Exit, Failure, Summary};
use crate::progress::Progress;
use crate::rebuild::reason::Kind;
use crate::run::outcome::{Entry, Outcome, Report};
use crate::run::{Request, cancel};
use crate::stage::Plan;
use crate::store::Store;
use crate::store::disk::SystemDisk;
use serde_json::json;
use std::collections::btree_map::Entry as Slot;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::num::NonZeroUsize;
use std::path::Path;
use std::time::Instant;

/// More remarks or causes than this are counted, not listed.
const SHOWN: usize = 12;

/// What was asked for.
pub(super) struct Options<'a> {
    pub(super) study: &'a Path,
    pub(super) last_stage: Option<&'a str>,
    pub(super) jobs: Option<NonZeroUsize>,
    pub(super) json: bool,
}

pub(super) fn run(domain: &dyn Domain, options: &Options<'_>) -> Result<Exit, Failure> {
    let begin = Instant::now();
    let (plan, mut report) = match begin_run(domain, options) {
        Ok(done) => done,
        Err(failure) => {
            if options.json {
                print_json(&document_of(options.study, &failure))?;
            }
            return Err(failure);
        }
    };
    let summary = summary(domain, options.study, &report).unwrap_or_else(|failure| {
        report.failure.get_or_insert(failure);
        Summary::default()
    });
    if options.json {
        print_json(&document(options.study, &plan, &report, &summary))?;
    } else if report.failure.is_none() || !report.tasks.is_empty() {
        let text = text(options.study, &plan, &report, &summary, begin.elapsed().as_secs_f64());
        render::say(text.as_bytes())?;
        remark(domain, &report);
    }
    complain(&report);
    Ok(if report.exit() == Exit::Good && summary.unmet { Exit::Unmet } else { report.exit() })
}

fn begin_run(domain: &dyn Domain, options: &Options<'_>) -> Result<(Plan, Report), Failure> {
    // First of all, so that no signal finds the program without an answer.
    let cancel = cancel::on_signals()?;
    let plan = domain.plan(exists(options.study)?, options.last_stage)?;
    domain.before_run(&plan)?;
    let cores = || std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
    let request = Request {
        jobs: options.jobs.unwrap_or_else(cores).get(),
        until: options.last_stage,
        cancel: &cancel,
        progress: &Progress::on_terminal(),
        disk: &SystemDisk,
    };
    let report = crate::run::run(options.study, &plan, &request);
    Ok((plan, report))
}

fn summary(domain: &dyn Domain, study: &Path, report: &Report) -> Result<Summary, Failure> {
    if !report.laid_out {
        return Ok(Summary::default());
    }
    let store = Store::new(study, &SystemDisk);
    let earlier = report.earlier.as_ref().map(|state| Earlier { store: &store, state });
    domain.summary(&store.files.results(), earlier.as_ref())
}

fn document(study: &Path, plan: &Plan, report: &Report, summary: &Summary) -> serde_json::Value {
    let task = |entry: &Entry| {
        let finished = &entry.finished;
        json!({
            "name": entry.name, "stage": entry.stage, "of": entry.of,
            "outcome": finished.outcome, "seconds": finished.seconds, "reasons": finished.reasons,
            "diagnostics": finished.diagnostics,
            "remarks": finished.done.as_ref().map_or(&[][..], |done| &done.remarks),
        })
    };
    json!({
        "study": plan.study,
        "tasks": report.tasks.iter().map(task).collect::<Vec<_>>(),
        "built": report.count(Outcome::Built),
        "reused": report.count(Outcome::Reused),
        "failed": report.count(Outcome::Failed),
        "skipped": report.count(Outcome::Skipped),
        "results": study.join("results").to_string_lossy(),
        "laid_out": report.laid_out,
        "run": report.line,
        "moved": report.moved,
        "store_bytes": report.size,
        "summary": summary.json,
        "errors": report.failure.iter().flat_map(|failure| &failure.diagnostics).collect::<Vec<_>>(),
    })
}

fn text(study: &Path, plan: &Plan, report: &Report, summary: &Summary, seconds: f64) -> String {
    let mut text = String::new();
    let counts = [Outcome::Built, Outcome::Reused, Outcome::Failed, Outcome::Skipped];
    let names = ["built", "reused", "failed", "skipped"];
    let counted = counts.into_iter().map(|outcome| report.count(outcome)).zip(names);
    let counted: Vec<String> = counted
        .enumerate()
        .filter(|(at, (n, _))| *n > 0 || *at == 0)
        .map(|(_, (n, name))| format!("{n} {name}"))
        .collect();
    let _ = writeln!(text, "{}: {} ({seconds:.1} s)", plan.study, counted.join(", "));
    for cause in few(causes(plan, report)) {
        let _ = writeln!(text, "  because {cause}");
    }
    for line in &summary.lines {
        let _ = writeln!(text, "{line}");
    }
    for moved in &report.moved {
        let _ = writeln!(text, "moved out of results, not as we wrote it: {moved}");
    }
    let results = study.join("results");
    let state = match (report.laid_out, results.exists()) {
        (true, _) => "",
        (false, true) => " (as it was before this run)",
        (false, false) => " (not there yet)",
    };
    let _ = writeln!(text, "results: {}{state}", results.display());
    if report.laid_out {
        let _ = writeln!(text, "kept for the next run: {} in .shearback", in_words(report.size));
    }
    text
}

/// What made tasks out of date, each once; that something is new or follows from something else needs no line.
fn causes(plan: &Plan, report: &Report) -> BTreeSet<String> {
    let built = report.tasks.iter().filter(|entry| entry.finished.outcome == Outcome::Built);
    let reasons = built.flat_map(|entry| &entry.finished.reasons);
    let own = reasons.filter(|reason| !matches!(reason.kind, Kind::New | Kind::Input));
    own.map(|reason| reason.wording(&plan.study_file)).collect()
}

fn few(lines: impl IntoIterator<Item = String>) -> Vec<String> {
    let mut lines: Vec<String> = lines.into_iter().collect();
    if lines.len() > SHOWN {
        let more = lines.len() - SHOWN;
        lines.truncate(SHOWN);
        lines.push(format!("… and {more} more (all of them with --json)"));
    }
    lines
}

/// Remarks of tasks, each once with the first task that made it and the number of the others.
fn remark(domain: &dyn Domain, report: &Report) {
    let mut once: Vec<(&str, usize)> = Vec::new();
    let mut at: BTreeMap<String, usize> = BTreeMap::new();
    for entry in &report.tasks {
        for remark in entry.finished.done.iter().flat_map(|done| &done.remarks) {
            match at.entry(domain.remark_words(&entry.stage, remark)) {
                Slot::Occupied(slot) => once[*slot.get()].1 += 1,
                Slot::Vacant(slot) => {
                    slot.insert(once.len());
                    once.push((&entry.name, 0));
                }
            }
        }
    }
    let mut said: Vec<(usize, String)> = at.into_iter().map(|(words, at)| (at, words)).collect();
    said.sort_unstable();
    let lines = said.into_iter().zip(once).map(|((_, words), (name, others))| match others {
        0 => format!("{name}: {words}"),
        n => format!("{name} and {n} more: {words}"),
    });
    few(lines).iter().for_each(|line| render::tell(&format!("note: {line}")));
}

fn complain(report: &Report) {
    for entry in &report.tasks {
        entry.finished.diagnostics.iter().for_each(|diagnostic| render::complain(Some(&entry.name), diagnostic));
    }
    if let Some(failure) = &report.failure {
        render::fail(failure);
    }
}

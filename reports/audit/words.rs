//! An audit in words, for the terminal. The sheet has its own page.

use super::{Artefact, Audit, Outcome};
use crate::text::numbers;
use std::fmt::Write;

/// More problems than this are counted; all stand in the JSON.
const SHOWN: usize = 20;

/// How many there are of each outcome, in words: `118 with the same bytes, 1 set by another typesetter`.
pub fn counted<'a>(files: impl Iterator<Item = &'a Artefact> + Clone) -> String {
    let kinds = [
        (Outcome::SameBytes, "with the same bytes"),
        (Outcome::SameNumbers, "with the same numbers"),
        (Outcome::OtherTypesetter, "that differ only by the version of typesetter or program"),
        (Outcome::Different, "different"),
        (Outcome::Changed, "changed since it was written"),
        (Outcome::Missing, "missing"),
        (Outcome::NotOurs, "that no run wrote"),
        (Outcome::NotRecomputed, "as the run wrote them, which could not be computed again"),
    ];
    let count = |outcome| files.clone().filter(|file| file.outcome == outcome).count();
    let some: Vec<String> = kinds
        .into_iter()
        .map(|(outcome, words)| (count(outcome), words))
        .filter(|(n, _)| *n > 0)
        .map(|(n, words)| format!("{n} {words}"))
        .collect();
    if some.is_empty() { "none".to_owned() } else { some.join(", ") }
}

/// What the results are of: `run 3 of 2026-11-25T10:00:00Z`.
pub fn of_run(audit: &Audit) -> String {
    match (audit.run, &audit.when) {
        (Some(run), Some(when)) => format!("run {run} of {when}"),
        _ => "an unknown run".to_owned(),
    }
}

/// What differs in the surroundings, in words.
pub fn differing(audit: &Audit) -> String {
    let differ: Vec<String> =
        audit.surroundings.iter().map(|s| format!("{} was {}, is {}", s.what, s.then, s.now)).collect();
    if differ.is_empty() { "the same".to_owned() } else { differ.join("; ") }
}

/// How many raw exports are those that the results were made from.
pub fn raw(audit: &Audit) -> String {
    let right = audit.raw.iter().filter(|raw| raw.holds()).count();
    match (audit.recomputed, audit.raw.len()) {
        (true, all) => format!("{right} of {all} unchanged since the run"),
        (false, all) => format!("none of {all} is here, so nothing could be computed again"),
    }
}

/// How the store stands, in words.
pub fn kept(audit: &Audit) -> String {
    match audit.store {
        None => "nothing yet".to_owned(),
        Some(0) => "as it was written".to_owned(),
        Some(n) => format!("{} damaged or missing", numbers::count(n as u64, "file")),
    }
}

/// The audit for people.
pub fn audit_text(audit: &Audit) -> String {
    let mut text = format!("audit of \u{201c}{}\u{201d}: results of {}\n", audit.study, of_run(audit));
    let _ = writeln!(text, "raw exports: {}", raw(audit));
    let again = if audit.recomputed { ", computed again" } else { "" };
    let _ = writeln!(
        text,
        "results{again}: {}: {}",
        numbers::count(audit.files.len() as u64, "file"),
        counted(audit.files.iter())
    );
    let _ = writeln!(text, "stored results in .shearback: {}", kept(audit));
    let hold = audit.claims.iter().filter(|claim| claim.holds).count();
    let _ = writeln!(text, "claims that hold: {hold} of {}", audit.claims.len());
    if audit.recomputed {
        let _ = writeln!(text, "surroundings: {}", differing(audit));
    }
    if audit.holds {
        text.push_str("everything holds\n");
        return text;
    }
    text.push_str("does not hold:\n");
    for problem in audit.problems.iter().take(SHOWN) {
        let _ = writeln!(text, "  {}: {}", problem.what, problem.words);
    }
    if !audit.recomputed {
        text.push_str("with the raw exports in their places, the audit computes everything again\n");
    }
    if audit.problems.len() > SHOWN {
        let _ = writeln!(text, "  … and {} more (all of them with --json)", audit.problems.len() - SHOWN);
    }
    text
}

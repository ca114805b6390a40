//! Where readings went and whether the flow was what it is taken for, as the report prints both.

use super::printed::{Printed, or_missing, printed};
use crate::tables::runs::refused;
use crate::tables::validity::{Row, rows};
use crate::text::numbers::{self, MISSING};
use crate::text::remarks::clean;
use stages::reversal::result::GradedRun;
use std::collections::BTreeSet;

/// Where the rows of each export went: kept, or under one reason each, so that a line adds up; a column per reason that
/// occurs.
pub(super) fn exclusions(graded: &[GradedRun]) -> Printed {
    let reasons: BTreeSet<String> = graded.iter().flat_map(counts).map(|(reason, _)| reason).collect();
    if reasons.is_empty() {
        return Printed::default();
    }
    let head = ["run", "rows", "kept"].into_iter().map(str::to_owned).chain(reasons.iter().cloned()).collect();
    let shown = |n: u64| if n == 0 { MISSING.to_owned() } else { numbers::whole(n) };
    let cells = |name: String, of: &[&GradedRun]| -> Vec<String> {
        let sum = |count: &dyn Fn(&GradedRun) -> u64| of.iter().map(|run| count(run)).sum::<u64>();
        let rows = numbers::whole(sum(&|run| run.identity.rows));
        let kept = shown(sum(&|run| run.account.kept));
        let by = |reason: &String| {
            shown(sum(&|run| counts(run).into_iter().filter(|(known, _)| known == reason).map(|(_, n)| n).sum()))
        };
        [name, rows, kept].into_iter().chain(reasons.iter().map(by)).collect()
    };
    let mut rows: Vec<Vec<String>> = graded.iter().map(|run| cells(run.identity.run.clone(), &[run])).collect();
    rows.push(cells("all runs".to_owned(), &graded.iter().collect::<Vec<_>>()));
    let kind = ["name"].into_iter().chain(std::iter::repeat_n("right", reasons.len() + 2)).collect();
    Printed { head, kind, rows, groups: Vec::new() }
}

/// Rows of a run that are not kept, by their primary reason in words.
fn counts(run: &GradedRun) -> Vec<(String, u64)> {
    let excluded = run.account.excluded.iter().map(|(reason, n)| (reason.name().replace('-', " "), *n));
    let unread = run.account.refused.iter().map(|(reason, n)| (refused(reason).replace('-', " "), *n));
    excluded.chain(unread).collect()
}

/// Each number at its worst over the runs, in the order in which clean makes them, and in how many runs it fails.
pub(super) fn validity(graded: &[GradedRun]) -> Printed {
    let columns = [
        ("number, and how it is made", "said"),
        ("worst", "right"),
        ("bound", "right"),
        ("beyond it", "right"),
        ("worst in", "name"),
    ];
    let all = rows(graded);
    let mut names: Vec<&str> = Vec::new();
    for row in &all {
        if !names.contains(&row.check.check.name()) {
            names.push(row.check.check.name());
        }
    }
    let row = |name: &str| {
        let of: Vec<&Row> = all.iter().filter(|r| r.check.check.name() == name).collect();
        of.iter().copied().reduce(worse).map(|worst| cells(worst, &of))
    };
    printed(&columns, names.into_iter().filter_map(row).collect())
}

/// The worse of two numbers of one kind: the larger, or the smaller where a bound is a least value.
fn worse<'a>(a: &'a Row, b: &'a Row) -> &'a Row {
    if (b.check.value > a.check.value) == is_most(a) { b } else { a }
}

/// Whether the bound is a largest value; without one the largest value is told.
fn is_most(row: &Row) -> bool {
    let limit = &row.check;
    limit.bound.zip(limit.holds).is_none_or(|(bound, holds)| (limit.value <= bound) == holds)
}

fn cells(worst: &Row, all: &[&Row]) -> Vec<String> {
    let limit = &worst.check;
    let unit = limit.check.unit();
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    let side = if is_most(worst) { "≤" } else { "≥" };
    let beyond = all.iter().filter(|r| r.check.holds == Some(false)).count();
    let step = limit.step.map_or_else(String::new, |step| format!(", step {step}"));
    vec![
        format!("{}\n{}", clean::title(limit.check), clean::note(limit.check)),
        format!("{}{unit}", numbers::plain(limit.value)),
        or_missing(limit.bound.map(|b| format!("{side} {}{unit}", clean::bound_in_print(b)))),
        or_missing(limit.bound.map(|_| format!("{beyond} of {}", numbers::count(all.len() as u64, "run")))),
        format!("{}{step}", worst.run),
    ]
}

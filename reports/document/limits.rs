//! Where readings went and whether the flow was what it is taken for, as the report prints both.

use super::printed::{Printed, or_missing, printed};
use crate::tables::limits::{Row, rows};
use crate::text::numbers::{self, MISSING};
use stages::reversal::result::JudgedRun;
use std::collections::BTreeSet;

/// Where the rows of each export went: kept, or under one reason each, so that a line adds up; a column per reason that
/// occurs.
pub(super) fn exclusions(judged: &[JudgedRun]) -> Printed {
    let reasons: BTreeSet<&String> = judged.iter().flat_map(|r| r.account.counted.keys()).collect();
    if reasons.is_empty() {
        return Printed::default();
    }
    let head = ["run", "rows", "kept"].into_iter().map(str::to_owned);
    let head = head.chain(reasons.iter().map(|r| r.replace('-', " "))).collect();
    let shown = |n: u64| if n == 0 { MISSING.to_owned() } else { numbers::whole(n) };
    let cells = |name: String, of: &[&JudgedRun]| -> Vec<String> {
        let sum = |count: &dyn Fn(&JudgedRun) -> u64| of.iter().map(|run| count(run)).sum::<u64>();
        let rows = numbers::whole(sum(&|run| run.identity.rows));
        let kept = shown(sum(&|run| run.account.kept));
        let by_reason = |reason: &&String| shown(sum(&|run| run.account.counted.get(*reason).copied().unwrap_or(0)));
        [name, rows, kept].into_iter().chain(reasons.iter().map(by_reason)).collect()
    };
    let mut rows: Vec<Vec<String>> = judged.iter().map(|run| cells(run.identity.run.clone(), &[run])).collect();
    rows.push(cells("all runs".to_owned(), &judged.iter().collect::<Vec<_>>()));
    Printed { head, kind: ["name"].into_iter().chain(std::iter::repeat_n("right", reasons.len() + 2)).collect(), rows }
}

/// Each number at its worst over the runs, in the order in which clean makes them, and in how many runs it fails.
pub(super) fn limits(judged: &[JudgedRun]) -> Printed {
    let columns = [
        ("number", "left"),
        ("worst", "right"),
        ("bound", "right"),
        ("beyond it", "right"),
        ("worst in", "name"),
        ("how it is made", "text"),
    ];
    let all = rows(judged);
    let mut names: Vec<&str> = Vec::new();
    for row in &all {
        if !names.contains(&row.limit.limit.as_str()) {
            names.push(&row.limit.limit);
        }
    }
    let row = |name: &str| {
        let of: Vec<&Row> = all.iter().filter(|r| r.limit.limit == name).collect();
        of.iter().copied().reduce(worse).map(|worst| cells(worst, &of))
    };
    printed(&columns, names.into_iter().filter_map(row).collect())
}

/// The worse of two numbers of one kind: the larger, or the smaller where a bound is a least value.
fn worse<'a>(a: &'a Row, b: &'a Row) -> &'a Row {
    if (b.limit.value > a.limit.value) == is_most(a) { b } else { a }
}

/// Whether the bound is a largest value; without one the largest value is told.
fn is_most(row: &Row) -> bool {
    let limit = &row.limit;
    limit.bound.zip(limit.holds).is_none_or(|(bound, holds)| (limit.value <= bound) == holds)
}

/// The number's name in print.
fn name(limit: &str) -> String {
    match limit {
        "reynolds" => "Reynolds number".to_owned(),
        "taylor" => "Taylor number".to_owned(),
        "nahme" => "Nahme number".to_owned(),
        "particle-reynolds" => "particle Reynolds number".to_owned(),
        "stokes" => "Stokes number".to_owned(),
        "peclet" => "Péclet number".to_owned(),
        "gap-too-narrow" => "gap in particle diameters".to_owned(),
        "settled" => "part of the gap settled".to_owned(),
        other => other.replace('-', " "),
    }
}

fn cells(worst: &Row, all: &[&Row]) -> Vec<String> {
    let limit = &worst.limit;
    let unit = if limit.unit.is_empty() { String::new() } else { format!(" {}", limit.unit) };
    let side = if is_most(worst) { "≤" } else { "≥" };
    let beyond = all.iter().filter(|r| r.limit.holds == Some(false)).count();
    let step = limit.step.map_or_else(String::new, |step| format!(", step {step}"));
    vec![
        name(&limit.limit),
        format!("{}{unit}", numbers::plain(limit.value)),
        or_missing(limit.bound.map(|b| format!("{side} {}{unit}", numbers::plain(b)))),
        or_missing(limit.bound.map(|_| format!("{beyond} of {}", numbers::count(all.len() as u64, "run")))),
        format!("{}{step}", worst.run),
        limit.remark.clone(),
    ]
}

//! Where readings went and whether the flow was what it is taken for, as the report prints both.

use super::printed::{Printed, or_missing, printed};
use crate::tables::validity::{Row, rows};
use crate::text::numbers::{self, MISSING};
use crate::text::said;
use stages::reversal::result::GradedRun;
use std::collections::BTreeSet;

/// Where the rows of each export went: kept, or under one reason each, so that a line adds up; a column per reason that
/// occurs.
pub(super) fn exclusions(graded: &[GradedRun]) -> Printed {
    let reasons: BTreeSet<&String> = graded.iter().flat_map(|r| r.account.counted.keys()).collect();
    if reasons.is_empty() {
        return Printed::default();
    }
    let head = ["run", "rows", "kept"].into_iter().map(str::to_owned);
    let head = head.chain(reasons.iter().map(|r| r.replace('-', " "))).collect();
    let shown = |n: u64| if n == 0 { MISSING.to_owned() } else { numbers::whole(n) };
    let cells = |name: String, of: &[&GradedRun]| -> Vec<String> {
        let sum = |count: &dyn Fn(&GradedRun) -> u64| of.iter().map(|run| count(run)).sum::<u64>();
        let rows = numbers::whole(sum(&|run| run.identity.rows));
        let kept = shown(sum(&|run| run.account.kept));
        let by_reason = |reason: &&String| shown(sum(&|run| run.account.counted.get(*reason).copied().unwrap_or(0)));
        [name, rows, kept].into_iter().chain(reasons.iter().map(by_reason)).collect()
    };
    let mut rows: Vec<Vec<String>> = graded.iter().map(|run| cells(run.identity.run.clone(), &[run])).collect();
    rows.push(cells("all runs".to_owned(), &graded.iter().collect::<Vec<_>>()));
    let kind = ["name"].into_iter().chain(std::iter::repeat_n("right", reasons.len() + 2)).collect();
    Printed { head, kind, rows, groups: Vec::new() }
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
        if !names.contains(&row.check.check.as_str()) {
            names.push(&row.check.check);
        }
    }
    let row = |name: &str| {
        let of: Vec<&Row> = all.iter().filter(|r| r.check.check == name).collect();
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

/// The number's name in print.
pub(super) fn name(limit: &str) -> String {
    match limit {
        "torque-in-floors" => "torque over the smallest torque of the instrument",
        "torque-of-ceiling" => "torque over the largest torque of the instrument",
        "strain-of-twist" => "strain that the twist of the instrument would mimic",
        "inertial-normal-stress" => "inertial normal stress",
        "reynolds" => "Reynolds number of the gap",
        "taylor" => "Taylor number",
        "momentum-time" => "time that momentum takes across the gap",
        "nahme" => "Nahme number",
        "temperature-span" => "temperature span",
        "particle-reynolds" => "particle Reynolds number",
        "stokes" => "Stokes number",
        "peclet" => "Péclet number",
        "gap-too-narrow" => "gap in particle diameters",
        "settled" => "settling",
        "stress-over-weight" => "stress over weight",
        other => return other.replace('-', " "),
    }
    .to_owned()
}

fn cells(worst: &Row, all: &[&Row]) -> Vec<String> {
    let limit = &worst.check;
    let unit = if limit.unit.is_empty() { String::new() } else { format!(" {}", limit.unit) };
    let side = if is_most(worst) { "≤" } else { "≥" };
    let beyond = all.iter().filter(|r| r.check.holds == Some(false)).count();
    let step = limit.step.map_or_else(String::new, |step| format!(", step {step}"));
    vec![
        format!("{}\n{}", name(&limit.check), said::printed(&limit.remark)),
        format!("{}{unit}", numbers::plain(limit.value)),
        or_missing(limit.bound.map(|b| format!("{side} {}{unit}", bound(b)))),
        or_missing(limit.bound.map(|_| format!("{beyond} of {}", numbers::count(all.len() as u64, "run")))),
        format!("{}{step}", worst.run),
    ]
}

/// A bound as it was set; one that was computed to three digits.
fn bound(value: f64) -> String {
    Some(numbers::setting(value)).filter(|text| text.chars().count() <= 5).unwrap_or_else(|| numbers::plain(value))
}

//! The reversals that enter no state, as they are printed: those of one sample and set-point with the same reason in
//! one row, with the range of the numbers in it. Every case stands in the published table.

use super::design::{belongs, enters};
use super::printed::{Printed, or_missing, printed};
use crate::text::numbers::{percent, plain};
use crate::text::remarks::reversal::{over, range, reasons};
use crate::text::words::listed;
use stages::numerics::float;
use stages::reversal::remark::Remark;
use stages::reversal::result::{Before, Grade, GradedRun};
use stages::states::result::{State, StudyReversal};
use std::mem::{Discriminant, discriminant};

/// The remarks that tell why, or all where there are no others.
pub(super) fn telling(remarks: &[Remark]) -> Vec<&Remark> {
    let why: Vec<&Remark> = remarks.iter().filter(|remark| !remark.tells_how()).collect();
    if why.is_empty() { remarks.iter().collect() } else { why }
}

/// For which reasons all readings of the run of a reversal are set aside; none where some are kept, or the run was set
/// aside by hand.
pub(super) fn all_gone(reversal: &StudyReversal, graded: &[GradedRun]) -> Option<String> {
    let run = graded.iter().find(|run| run.identity.run == reversal.identity.run)?;
    let account = &run.account;
    (account.kept == 0 && reversal.graded.read.set_aside.is_none())
        .then(|| format!("all its readings are excluded: {}", reasons(account.excluded.keys().copied())))
}

/// How stretches before that are not steady change.
fn change(stretches: &[&Before]) -> String {
    let over_all = |number: &dyn Fn(&Before) -> Option<f64>, in_print: fn(f64) -> String| {
        range(&stretches.iter().filter_map(|before| number(before)).collect::<Vec<_>>(), in_print)
    };
    let recovered = |before: &Before| before.recovery.map(|r| float::exp(r.value) - 1.0);
    let back = match over_all(&recovered, signed) {
        none if none.is_empty() => none,
        back => format!(", and by {back} until it has recovered"),
    };
    let drift = over_all(&|before| Some(before.drift.value), signed);
    let window = over_all(&|before| Some(before.window_strain), plain);
    format!(": the viscosity changes by {drift} over a strain of {window} before{back}")
}

fn signed(share: f64) -> String {
    if share > 0.0 { format!("+{}", percent(share)) } else { percent(share) }
}

/// Reversals that do not enter the contact share of a state.
pub(super) fn left_out(states: &[State], reversals: &[StudyReversal], graded: &[GradedRun]) -> Printed {
    let columns = [
        ("sample", "name"),
        ("set-point", "left"),
        ("n", "right"),
        ("reversals", "name"),
        ("grade", "left"),
        ("why", "text"),
    ];
    let used = |r: &StudyReversal| states.iter().any(|s| enters(r, s));
    let mut groups: Vec<Vec<(usize, &StudyReversal)>> = Vec::new();
    for (i, r) in reversals.iter().enumerate().filter(|(_, r)| !r.identity.control && !used(r)) {
        match groups.iter_mut().find(|group| same(group[0].1, r, graded)) {
            Some(group) => group.push((i, r)),
            None => groups.push(vec![(i, r)]),
        }
    }
    // By sample and, within it, by set-point in the order of the states; what has none comes last.
    let at = |r: &StudyReversal| states.iter().position(|s| belongs(r, s)).unwrap_or(usize::MAX);
    groups.sort_by(|a, b| {
        let key = |group: &[(usize, &StudyReversal)]| (group[0].1.identity.sample.clone(), at(group[0].1));
        key(a).cmp(&key(b))
    });
    printed(&columns, groups.iter().map(|group| row(group, graded)).collect()).grouped(&[0])
}

fn row(group: &[(usize, &StudyReversal)], graded: &[GradedRun]) -> Vec<String> {
    let first = group[0].1;
    let run = if first.set_point.is_some() { String::new() } else { format!(" ({})", first.identity.run) };
    vec![
        first.identity.sample.clone(),
        or_missing(first.set_point.clone()),
        group.len().to_string(),
        ranges(group) + &run,
        first.graded.grade.name().to_owned(),
        why(&group.iter().map(|(_, r)| *r).collect::<Vec<_>>(), graded),
    ]
}

fn same(a: &StudyReversal, b: &StudyReversal, graded: &[GradedRun]) -> bool {
    kind(a, graded) == kind(b, graded) && (a.set_point.is_some() || a.identity.run == b.identity.run)
}

/// What reversals of one row have in common.
#[derive(PartialEq)]
struct Kind<'a> {
    sample: &'a str,
    set_point: Option<&'a str>,
    grade: Grade,
    by_hand: Option<&'a str>,
    all_gone: Option<String>,
    remarks: Vec<Discriminant<Remark>>,
}

fn kind<'a>(r: &'a StudyReversal, graded: &[GradedRun]) -> Kind<'a> {
    Kind {
        sample: &r.identity.sample,
        set_point: r.set_point.as_deref(),
        grade: r.graded.grade,
        by_hand: r.graded.read.set_aside.as_deref(),
        all_gone: all_gone(r, graded),
        remarks: telling(&r.graded.remarks).into_iter().map(discriminant).collect(),
    }
}

/// Why reversals of one kind are left out. What was excluded by hand needs no other reason: nothing of it was read.
fn why(group: &[&StudyReversal], graded: &[GradedRun]) -> String {
    let Some(first) = group.first() else { return String::new() };
    if let Some(because) = &first.graded.read.set_aside {
        return format!("excluded by hand: {because}");
    }
    let before: Vec<&Before> = group.iter().filter_map(|r| r.graded.read.before.as_ref()).collect();
    let clause = |at: usize| {
        let all: Vec<&Remark> = group.iter().filter_map(|r| telling(&r.graded.remarks).get(at).copied()).collect();
        let words = over(&all);
        match all.first() {
            Some(Remark::NotSteady) => words + &change(&before),
            Some(Remark::NoSteadyStretch) => match all_gone(first, graded) {
                Some(gone) => format!("{words}: {gone}"),
                None => words,
            },
            _ => words,
        }
    };
    or_missing(Some((0..telling(&first.graded.remarks).len()).map(clause).collect::<Vec<_>>().join("; ")))
}

/// Names of reversals, neighbours as `R0001–R0004`.
fn ranges(group: &[(usize, &StudyReversal)]) -> String {
    let chunks = group.chunk_by(|a, b| a.0 + 1 == b.0);
    let name = |chunk: &[(usize, &StudyReversal)]| match chunk {
        [(_, one)] => one.reversal.clone(),
        [(_, first), .., (_, last)] => format!("{}–{}", first.reversal, last.reversal),
        [] => String::new(),
    };
    listed(chunks.map(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_it_was_read_is_no_reason() {
        let remarks = [Remark::ReadLater, Remark::Aborted { strain: 0.15 }];
        assert_eq!(telling(&remarks), [&remarks[1]]);
        assert_eq!(telling(&remarks[..1]), [&remarks[0]]);
    }
}

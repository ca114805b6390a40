//! The reversals that enter no state, as they are printed: those of one sample and set-point with the same reason in
//! one row, with the range of the numbers in it. Every case stands in the published table.

use super::design::{belongs, enters};
use super::printed::{Printed, or_missing, printed};
use crate::tables::column::joined;
use crate::text::numbers::percent;
use crate::text::said;
use crate::text::words::listed;
use stages::numerics::float;
use stages::reversal::result::{Before, GradedRun};
use stages::states::result::{State, StudyReversal};

/// Remarks that say how a reversal was read and not what is wrong with it.
const BESIDE: [&str; 3] =
    ["read from a later strain on", "too few readings to know the noise", "density not given: momentum diffusion"];
/// The remark of a stretch before that is not steady.
const NOT_STEADY: &str = "not steady";

/// The remarks that tell why, or all where there are no others.
pub(super) fn telling(remarks: &[String]) -> Vec<String> {
    let secondary = |remark: &&String| BESIDE.iter().any(|start| remark.starts_with(start));
    let telling: Vec<String> = remarks.iter().filter(|r| !secondary(r)).cloned().collect();
    if telling.is_empty() { remarks.to_vec() } else { telling }
}

/// For which reasons all readings of the run of a reversal are set aside; none where some are kept, or the run was set
/// aside by hand.
pub(super) fn all_gone(reversal: &StudyReversal, graded: &[GradedRun]) -> Option<String> {
    let run = graded.iter().find(|run| run.identity.run == reversal.identity.run)?;
    let reasons = run.account.counted.iter().filter(|(_, n)| **n > 0).map(|(reason, _)| reason.replace('-', " "));
    (run.account.kept == 0 && reversal.graded.read.set_aside.is_none())
        .then(|| format!("all its readings set aside as {}", listed(reasons)))
}

/// How a stretch before that is not steady changes.
fn change(before: &Before) -> String {
    let back = before
        .recovery
        .map_or_else(String::new, |r| format!(", and by {} until it has recovered", signed(float::exp(r.value) - 1.0)));
    let over = crate::text::numbers::plain(before.window_strain);
    format!(": the viscosity changes by {} over a strain of {over} before{back}", signed(before.drift.value))
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
        or_missing(Some(merged(&group.iter().map(|(_, r)| why(r, graded)).collect::<Vec<_>>()))),
    ]
}

fn same(a: &StudyReversal, b: &StudyReversal, graded: &[GradedRun]) -> bool {
    let of =
        |r: &StudyReversal| (r.identity.sample.clone(), r.set_point.clone(), r.graded.grade, pieces(&why(r, graded)).0);
    of(a) == of(b) && (a.set_point.is_some() || a.identity.run == b.identity.run)
}

/// Why a reversal is left out. What was set aside by hand needs no other reason: nothing of it was read.
fn why(reversal: &StudyReversal, graded: &[GradedRun]) -> String {
    if let Some(because) = &reversal.graded.read.set_aside {
        return format!("set aside by hand: {because}");
    }
    let told = |remark: &String| match &reversal.graded.read.before {
        Some(before) if remark == NOT_STEADY => remark.clone() + &change(before),
        None => all_gone(reversal, graded).map_or_else(|| remark.clone(), |gone| format!("{remark}: {gone}")),
        Some(_) => said::printed(remark),
    };
    joined(&telling(&reversal.graded.remarks).iter().map(told).collect::<Vec<_>>()).unwrap_or_default()
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

/// A text parted at its decimal numbers, and these.
fn pieces(text: &str) -> (Vec<String>, Vec<String>) {
    let (mut words, mut numbers) = (vec![String::new()], Vec::<String>::new());
    let mut chars = text.chars().peekable();
    let mut before = ' ';
    while let Some(c) = chars.next() {
        // A digit inside a word belongs to it, a sign in front of a digit to the number.
        let signed = ['+', '\u{2212}'].contains(&c) && chars.peek().is_some_and(char::is_ascii_digit);
        if (c.is_ascii_digit() || signed) && !before.is_alphanumeric() {
            let mut number = String::from(c);
            while let Some(next) = chars.next_if(|n| n.is_ascii_digit() || *n == '.') {
                number.push(next);
            }
            let stop = number.ends_with('.');
            numbers.push(number.trim_end_matches('.').to_owned());
            words.push(if stop { ".".to_owned() } else { String::new() });
            before = '0';
        } else if let Some(word) = words.last_mut() {
            word.push(c);
            before = c;
        }
    }
    (words, numbers)
}

/// Texts that differ in their numbers only as one, with the range of each number.
fn merged(texts: &[String]) -> String {
    let Some(first) = texts.first() else { return String::new() };
    let (words, numbers) = pieces(first);
    let all: Vec<Vec<String>> = texts.iter().map(|text| pieces(text).1).collect();
    let range = |i: usize| {
        let value = |text: &&String| text.replace('\u{2212}', "-").parse::<f64>().unwrap_or(f64::NAN);
        let mut found: Vec<&String> = all.iter().filter_map(|numbers| numbers.get(i)).collect();
        found.sort_by(|a, b| value(a).total_cmp(&value(b)));
        match (found.first(), found.last()) {
            (Some(low), Some(high)) if low != high => format!("{low} to {high}"),
            (low, _) => low.map_or_else(String::new, |low| (*low).clone()),
        }
    };
    let number = (0..numbers.len()).map(range).chain([String::new()]);
    words.iter().zip(number).map(|(word, number)| format!("{word}{number}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_that_differ_in_numbers_are_one_with_their_range() {
        let texts = ["strain 0.036 is above 0.03", "strain 0.071 is above 0.03", "strain 0.04 is above 0.03"];
        assert_eq!(merged(&texts.map(str::to_owned)), "strain 0.036 to 0.071 is above 0.03");
        assert_eq!(merged(&["see L2 at 3.".to_owned()]), "see L2 at 3.");
        let signed = ["by \u{2212}3.2 %", "by \u{2212}6.4 %", "by +1.0 %"].map(str::to_owned);
        assert_eq!(merged(&signed), "by \u{2212}6.4 to +1.0 %");
    }

    #[test]
    fn how_it_was_read_is_no_reason() {
        let remarks = ["read from a later strain on, because …", "aborted at strain 0.15"].map(str::to_owned);
        assert_eq!(telling(&remarks), ["aborted at strain 0.15"]);
        assert_eq!(telling(&remarks[..1]), remarks[..1]);
    }
}

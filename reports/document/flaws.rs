//! Flaws of the data that stand on the first page, each kind in one line with where it happened. The tables of what
//! was left out give every case.

use super::left_out::{all_gone, telling};
use super::set_aside::SetAsideLine;
use crate::text::remarks::reversal::{reasons, words};
use crate::text::words::{counted, listed, number, shortened};
use stages::clean::result::Reason;
use stages::reversal::result::{Grade, GradedRun};
use stages::states::result::StudyReversal;
use std::collections::BTreeMap;

/// More places than this are counted, not named.
const NAMED: usize = 6;

/// A line per kind of flaw, the worst first. `dead_strain` is the largest first usable strain of a resolved reversal.
pub(super) fn flaws(
    set_aside: &[SetAsideLine],
    graded: &[GradedRun],
    reversals: &[StudyReversal],
    dead_strain: f64,
) -> Vec<String> {
    let by_hand = by_reason(set_aside).into_iter().map(|(because, runs)| {
        let runs = shortened(runs.into_iter());
        format!("Excluded by hand: {runs}: {because}")
    });
    let asked = || reversals.iter().filter(|r| !r.identity.control && r.graded.read.set_aside.is_none());
    let unread = asked().filter(|r| r.graded.read.before.is_none());
    let unusable = asked().filter(|r| r.graded.read.before.is_some() && r.graded.grade == Grade::F);
    let readable = || asked().filter(|r| r.graded.grade != Grade::F);
    let drifting = readable().filter(|r| r.graded.read.before.as_ref().is_some_and(|b| !b.steady));
    let hidden = readable().filter(|r| {
        let too_late = r.graded.read.dead.first_usable() > dead_strain;
        r.graded.read.before.is_some() && !r.graded.resolved && too_late
    });
    let of_reversals = [
        ("Nothing steady that could be read before the reversal", places(unread, |r| run(r) + &gone(r, graded))),
        ("Not usable", places(unusable, |r| format!("{}, step {}{}", run(r), r.graded.read.step, first_remark(r)))),
        ("Not steady", places(drifting, |r| format!("{}, loading {}", state(r), r.identity.loading))),
        ("Hidden until the drive had turned round", places(hidden, state)),
    ];
    let of_reversals = of_reversals.into_iter().filter(|(_, places)| !places.is_empty());
    let line = |(kind, places): (&str, Vec<String>)| format!("{kind}: {}", listed(named(places).into_iter()));
    by_hand.chain(of_reversals.map(line)).chain(readings(graded)).collect()
}

/// What was set aside for each reason.
fn by_reason(set_aside: &[SetAsideLine]) -> Vec<(&str, Vec<String>)> {
    let mut out: Vec<(&str, Vec<String>)> = Vec::new();
    for s in set_aside {
        let what = if s.what.is_empty() { s.run.clone() } else { format!("{}, {}", s.run, s.what) };
        match out.iter_mut().find(|(because, _)| *because == s.because) {
            Some((_, runs)) => runs.push(what),
            None => out.push((&s.because, vec![what])),
        }
    }
    out
}

fn first_remark(r: &StudyReversal) -> String {
    telling(&r.graded.remarks).first().map_or_else(String::new, |remark| format!(", {}", words(remark)))
}

/// Why all of its run was set aside, if it was.
fn gone(r: &StudyReversal, graded: &[GradedRun]) -> String {
    all_gone(r, graded).map_or_else(String::new, |reasons| format!(", {reasons}"))
}

fn run(r: &StudyReversal) -> String {
    r.identity.run.clone()
}

fn state(r: &StudyReversal) -> String {
    let at = r.set_point.as_ref().map_or_else(String::new, |s| format!(" at {s}"));
    format!("{}{at}", r.identity.sample)
}

/// Places in the order of the study, each with its number of reversals.
fn places<'a>(
    reversals: impl Iterator<Item = &'a StudyReversal>,
    place: impl Fn(&StudyReversal) -> String,
) -> Vec<String> {
    let mut found: Vec<(String, u64)> = Vec::new();
    for name in reversals.map(place) {
        match found.iter_mut().find(|(known, _)| *known == name) {
            Some((_, n)) => *n += 1,
            None => found.push((name, 1)),
        }
    }
    found.into_iter().map(|(name, n)| format!("{name} ({})", counted(n, "reversal"))).collect()
}

fn named(mut places: Vec<String>) -> Vec<String> {
    let more = places.len().saturating_sub(NAMED);
    if more > 0 {
        places.truncate(NAMED);
        places.push(format!("{} more", number(more as u64)));
    }
    places
}

/// Readings that rules of cleaning exclude, each under its primary reason, as the table of exclusions counts them.
fn readings(graded: &[GradedRun]) -> Option<String> {
    let mut all: BTreeMap<Reason, (u64, u64)> = BTreeMap::new();
    let by_rule = graded.iter().flat_map(|r| &r.account.excluded);
    for (reason, n) in by_rule.filter(|(reason, n)| **reason != Reason::SetAside && **n > 0) {
        let entry = all.entry(*reason).or_default();
        *entry = (entry.0 + n, entry.1 + 1);
    }
    let mut parts: Vec<String> = all
        .into_iter()
        .map(|(reason, (n, runs))| {
            format!("{} ({} in {})", reasons([reason].into_iter()), counted(n, "reading"), counted(runs, "run"))
        })
        .collect();
    parts.sort();
    let unread: u64 = graded.iter().flat_map(|r| r.account.refused.values()).sum();
    parts.extend((unread > 0).then(|| format!("{} that could not be read", counted(unread, "row"))));
    let text = listed(parts.into_iter());
    (!text.is_empty()).then(|| format!("Readings excluded by rule, each under its primary reason: {text}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_set_aside_for_one_reason_shares_a_line() {
        let one =
            |run: &str, because: &str| SetAsideLine { run: run.into(), what: String::new(), because: because.into() };
        let step = SetAsideLine { what: "step 5".into(), ..one("c.csv", "bubbles") };
        let lines = flaws(&[one("a.csv", "bubbles"), one("b.csv", "dust"), step], &[], &[], 0.03);
        assert_eq!(lines, ["Excluded by hand: a.csv and c.csv, step 5: bubbles", "Excluded by hand: b.csv: dust"]);
    }
}

//! The design as it was found: sample × set-point × loading × repeat with counts, so that a wrong grouping is seen at
//! once; and what has no place in it.

use super::printed::{Printed, or_missing, printed};
use crate::text::words::listed;
use stages::reversal::result::GradedRun;
use stages::states::result::{State, StudyReversal};
use std::collections::BTreeMap;

/// A loading and a repeat, empty where it is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Place<'a> {
    loading: &'a str,
    repeat: &'a str,
}

/// Reversals used and found.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Count {
    used: u32,
    found: u32,
}

type Counts<'a> = BTreeMap<Place<'a>, Count>;

/// What was measured: a row for the set-points of a sample that have one design, then reversals without a state and
/// runs without reversals.
pub(super) fn design(states: &[State], reversals: &[StudyReversal], graded: &[GradedRun]) -> Printed {
    let columns = [
        ("sample", "name"),
        ("set-points", "text"),
        ("held", "left"),
        ("told by", "left"),
        ("loadings", "right"),
        ("repeats", "right"),
        ("reversals", "right"),
        ("in the value", "right"),
        ("by loading and repeat, used of found at each set-point", "text"),
    ];
    let mut met: Vec<Design<'_>> = Vec::new();
    for state in states {
        let found = Design::of_state(state, reversals);
        match met.iter_mut().find(|d| d.same(&found)) {
            Some(known) => known.states.push(state),
            None => met.push(found),
        }
    }
    // The set-points of a sample stand together.
    let order = |d: &Design<'_>| states.iter().position(|s| s.sample == d.states[0].sample);
    met.sort_by_key(order);
    let rows = met.iter().map(Design::row).chain(stateless(states, reversals));
    printed(&columns, rows.chain(graded.iter().filter_map(without_reversal)).collect()).grouped(&[0])
}

/// States of one sample with the same design.
struct Design<'a> {
    states: Vec<&'a State>,
    told_by: &'static str,
    counts: Counts<'a>,
}

impl<'a> Design<'a> {
    fn of_state(state: &'a State, reversals: &'a [StudyReversal]) -> Self {
        let mine = reversals.iter().filter(|r| belongs(r, state));
        Self { states: vec![state], told_by: told_by(state, reversals), counts: counts(mine, |r| enters(r, state)) }
    }

    fn same(&self, other: &Self) -> bool {
        let (a, b) = (self.states[0], other.states[0]);
        (&a.sample, a.controlled, self.told_by, &self.counts) == (&b.sample, b.controlled, other.told_by, &other.counts)
    }

    fn row(&self) -> Vec<String> {
        let first = self.states[0];
        let n = self.states.len() as u32;
        let labels: Vec<&str> = self.states.iter().map(|s| s.set_point.as_str()).collect();
        let (held, told_by) = (first.controlled.name().to_owned(), self.told_by.to_owned());
        let mut cells = vec![first.sample.clone(), set_points(&labels), held, told_by];
        cells.extend(counted(&self.counts, n));
        cells
    }
}

/// `0.1, 0.2 and 0.5 1/s`: the unit once where all share it.
pub(super) fn set_points(labels: &[&str]) -> String {
    let parts: Vec<Option<(&str, &str)>> = labels.iter().map(|label| label.split_once(' ')).collect();
    match parts.first() {
        Some(Some((_, unit))) if parts.iter().all(|p| p.is_some_and(|p| p.1 == *unit)) => {
            let numbers = listed(parts.iter().flatten().map(|p| p.0.to_owned()));
            format!("{numbers} {unit}")
        }
        _ => listed(labels.iter().map(|label| (*label).to_owned())),
    }
}

fn counts<'a>(reversals: impl Iterator<Item = &'a StudyReversal>, used: impl Fn(&StudyReversal) -> bool) -> Counts<'a> {
    let mut counts = Counts::new();
    for r in reversals {
        let repeat = r.identity.repeat.as_deref().unwrap_or("");
        let count = counts.entry(Place { loading: &r.identity.loading, repeat }).or_default();
        count.used += u32::from(used(r));
        count.found += 1;
    }
    counts
}

/// The cells from `loadings` on, of `n` set-points with these counts each.
fn counted(counts: &Counts<'_>, n: u32) -> Vec<String> {
    let loadings: std::collections::BTreeSet<&str> = counts.keys().map(|place| place.loading).collect();
    let repeats = counts.keys().filter(|place| !place.repeat.is_empty()).count();
    let used: u32 = counts.values().map(|count| count.used).sum();
    let found: u32 = counts.values().map(|count| count.found).sum();
    let one = |(place, count): (&Place<'_>, &Count)| {
        let repeat = if place.repeat.is_empty() { String::new() } else { format!(" / {}", place.repeat) };
        format!("{}{repeat}: {} of {}", place.loading, count.used, count.found)
    };
    vec![
        loadings.len().to_string(),
        or_missing((repeats > 0).then(|| repeats.to_string())),
        (n * found).to_string(),
        (n * used).to_string(),
        counts.iter().map(one).collect::<Vec<_>>().join("; "),
    ]
}

/// Reversals that belong to no state, by sample: those of controls, and those whose set-point nobody knows.
fn stateless(states: &[State], reversals: &[StudyReversal]) -> Vec<Vec<String>> {
    let mut of: BTreeMap<(&str, bool), Vec<&StudyReversal>> = BTreeMap::new();
    for r in reversals.iter().filter(|r| !states.iter().any(|s| belongs(r, s))) {
        of.entry((&r.identity.sample, r.identity.control)).or_default().push(r);
    }
    let row = |((sample, control), found): ((&str, bool), Vec<&StudyReversal>)| {
        let what = if control { "(control)" } else { "no set-point" };
        let mut cells: Vec<String> = [sample, what, "", ""].map(ToOwned::to_owned).into();
        cells.extend(counted(&counts(found.into_iter(), |_| false), 1));
        cells
    };
    of.into_iter().map(row).collect()
}

fn without_reversal(run: &GradedRun) -> Option<Vec<String>> {
    let what = format!("{}: no reversal found", run.identity.run);
    let cells = [&run.identity.sample, "–", "", "", "", "", "0", "0", &what];
    run.reversals.is_empty().then(|| cells.map(ToOwned::to_owned).into())
}

/// Whether a reversal enters the contact share of a state.
pub(super) fn enters(reversal: &StudyReversal, state: &State) -> bool {
    state.contact_share.is_some() && state.loading_means.iter().any(|m| m.share_from.contains(&reversal.reversal))
}

/// Whether a reversal is one of a state's, used or not.
pub(super) fn belongs(reversal: &StudyReversal, state: &State) -> bool {
    reversal.identity.sample == state.sample && reversal.set_point.as_ref() == Some(&state.set_point)
}

/// Who told the set-point: the export, the study file, or nobody, so that it was found from the motion.
fn told_by(state: &State, reversals: &[StudyReversal]) -> &'static str {
    let mut mine = reversals.iter().filter(|r| belongs(r, state));
    match (state.set_point_told, mine.any(|r| r.graded.read.set_point_in_export.is_some())) {
        (false, _) => "the motion",
        (true, true) => "the export",
        (true, false) => "the study file",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    #[test]
    fn set_points_of_one_unit_name_it_once() {
        assert_eq!(set_points(&["0.1 1/s", "2 1/s"]), "0.1 and 2 1/s");
        assert_eq!(set_points(&["1 Pa", "2 1/s"]), "1 Pa and 2 1/s");
        assert_eq!(set_points(&["high"]), "high");
    }

    #[test]
    fn every_reversal_is_counted_once() {
        let (states, runs) = (fixture::states(), fixture::runs());
        let table = design(&states.states, &states.reversals, &runs);
        let sum = |column: usize| table.rows.iter().map(|row| row[column].parse::<usize>().unwrap_or(0)).sum::<usize>();
        assert_eq!(sum(6), states.reversals.len());
        let used = states.reversals.iter().filter(|r| states.states.iter().any(|s| enters(r, s))).count();
        assert_eq!(sum(7), used);
    }
}

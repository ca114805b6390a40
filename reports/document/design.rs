//! The design as it was found: sample × set-point × loading × repeat with counts, so that a wrong grouping is seen at
//! once; and what has no place in it.

use super::printed::{Printed, or_missing, printed};
use stages::reversal::result::JudgedRun;
use stages::states::result::{State, StudyReversal};
use std::collections::BTreeMap;

/// Reversals used and found, by loading and repeat.
type Counts<'a> = BTreeMap<(&'a str, &'a str), (u32, u32)>;

/// What was measured: a row per sample and set-point, then reversals without a state and runs without reversals.
pub(super) fn design(states: &[State], reversals: &[StudyReversal], judged: &[JudgedRun]) -> Printed {
    let columns = [
        ("sample", "name"),
        ("set-point", "left"),
        ("held", "left"),
        ("told by", "left"),
        ("loadings", "right"),
        ("repeats", "right"),
        ("reversals", "right"),
        ("in the value", "right"),
        ("by loading and repeat, used of found", "wide"),
    ];
    let of_states = states.iter().map(|s| of_state(s, reversals));
    let rows = of_states.chain(stateless(states, reversals)).chain(judged.iter().filter_map(without_reversal));
    printed(&columns, rows.collect())
}

fn of_state(s: &State, reversals: &[StudyReversal]) -> Vec<String> {
    let mine = reversals.iter().filter(|r| belongs(r, s));
    let counts = counts(mine, |r| enters(r, s));
    let mut cells = vec![s.sample.clone(), s.set_point.clone(), s.controlled.name().to_owned(), told_by(s, reversals)];
    cells.extend(counted(&counts, s.reversals));
    cells
}

fn counts<'a>(reversals: impl Iterator<Item = &'a StudyReversal>, used: impl Fn(&StudyReversal) -> bool) -> Counts<'a> {
    let mut counts = Counts::new();
    for r in reversals {
        let repeat = r.identity.repeat.as_deref().unwrap_or("");
        let entry = counts.entry((&r.identity.loading, repeat)).or_default();
        *entry = (entry.0 + u32::from(used(r)), entry.1 + 1);
    }
    counts
}

/// The cells from `loadings` on.
fn counted(counts: &Counts<'_>, used: u32) -> Vec<String> {
    let loadings: std::collections::BTreeSet<&str> = counts.keys().map(|(loading, _)| *loading).collect();
    let repeats = counts.keys().filter(|(_, repeat)| !repeat.is_empty()).count();
    let found: u32 = counts.values().map(|(_, found)| found).sum();
    let one = |((loading, repeat), (used, found)): (&(&str, &str), &(u32, u32))| {
        let repeat = if repeat.is_empty() { String::new() } else { format!(" / {repeat}") };
        format!("{loading}{repeat}: {used} of {found}")
    };
    vec![
        loadings.len().to_string(),
        or_missing((repeats > 0).then(|| repeats.to_string())),
        found.to_string(),
        used.to_string(),
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
        cells.extend(counted(&counts(found.into_iter(), |_| false), 0));
        cells
    };
    of.into_iter().map(row).collect()
}

fn without_reversal(run: &JudgedRun) -> Option<Vec<String>> {
    let what = format!("{}: no reversal found", run.identity.run);
    let cells = [&run.identity.sample, "–", "", "", "", "", "0", "0", &what];
    run.reversals.is_empty().then(|| cells.map(ToOwned::to_owned).into())
}

/// Whether a reversal enters the contact share of a state.
pub(super) fn enters(reversal: &StudyReversal, state: &State) -> bool {
    state.contact_share.is_some() && state.loading_means.iter().any(|m| m.share_from.contains(&reversal.reversal))
}

fn belongs(reversal: &StudyReversal, state: &State) -> bool {
    reversal.identity.sample == state.sample && reversal.set_point.as_ref() == Some(&state.set_point)
}

/// Who told the set-point: the export, the study file, or nobody, so that it was found from the motion.
fn told_by(state: &State, reversals: &[StudyReversal]) -> String {
    let mut mine = reversals.iter().filter(|r| belongs(r, state));
    match (state.set_point_told, mine.any(|r| r.judged.read.set_point_in_export.is_some())) {
        (false, _) => "the motion",
        (true, true) => "the export",
        (true, false) => "the study file",
    }
    .to_owned()
}

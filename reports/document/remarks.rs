//! Remarks of runs, states and controls as they are printed: each once, with all that it is said of.

use super::design::set_points;
use crate::text::remarks::of_run;
use crate::text::remarks::reversal::of_control;
use crate::text::remarks::states::words;
use crate::text::said;
use crate::text::words::{among, among_first, capital, counted, listed};
use serde::Serialize;
use stages::reversal::result::{Control, GradedRun};
use stages::states::result::State;

/// A remark and what it is said of.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Titled {
    title: String,
    text: String,
}

/// All remarks: of runs in the order of the study, of states, of controls.
pub(super) fn remarks(graded: &[GradedRun], states: &[State], controls: &[Control]) -> Vec<Titled> {
    let of_runs = gathered(graded.iter().flat_map(|run| of_run(run).into_iter().map(move |text| (text, run))));
    let of_states = gathered(states.iter().flat_map(|state| state.remarks.iter().map(move |r| (words(r), state))));
    let of_control = |c: &Control| {
        let title = format!("Control, {}", listed(c.runs.iter().cloned()));
        c.remarks.iter().map(move |remark| titled(title.clone(), &of_control(remark))).collect::<Vec<_>>()
    };
    // What is said of several holds for each of them, its counts as well.
    let each = |n: usize| if n > 1 { ", each" } else { "" };
    let samples = names(graded.iter().filter(|run| !run.identity.control));
    let runs = of_runs.into_iter().map(|(text, runs)| titled(runs_named(&runs, &samples) + each(runs.len()), &text));
    let states =
        of_states.into_iter().map(|(text, states)| titled(states_named(&states, &samples) + each(states.len()), &text));
    runs.chain(states).chain(controls.iter().flat_map(of_control)).collect()
}

fn titled(title: String, text: &str) -> Titled {
    Titled { title, text: said::sentence(text) }
}

/// Each text once, with all that have it, in the order in which it is first met.
fn gathered<'a, T>(said: impl Iterator<Item = (String, &'a T)>) -> Vec<(String, Vec<&'a T>)> {
    let mut out: Vec<(String, Vec<&T>)> = Vec::new();
    for (text, of) in said {
        match out.iter_mut().find(|(known, _)| *known == text) {
            Some((_, all)) => all.push(of),
            None => out.push((text, vec![of])),
        }
    }
    out
}

/// More runs than this are counted, not named.
const NAMED: usize = 2;

/// A run by its path; many as `6 runs of A54 and A50 on cone40`.
fn runs_named(runs: &[&GradedRun], all: &[String]) -> String {
    if runs.len() <= NAMED {
        return listed(runs.iter().map(|run| run.identity.run.clone()));
    }
    let samples = among(&names(runs.iter().copied()), all, "sample");
    let mut geometries: Vec<&String> = Vec::new();
    for run in runs {
        if !geometries.contains(&&run.identity.geometry) {
            geometries.push(&run.identity.geometry);
        }
    }
    let geometries = listed(geometries.into_iter().cloned());
    format!("{} of {samples} on {geometries}", capital(&counted(runs.len() as u64, "run")))
}

/// Samples of runs, each once.
fn names<'a>(runs: impl Iterator<Item = &'a GradedRun>) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for run in runs {
        if !names.contains(&run.identity.sample) {
            names.push(run.identity.sample.clone());
        }
    }
    names
}

/// `B46 and B49 at 5 1/s; B52 at 2 and 5 1/s`: samples by the set-points at which it is said of them.
fn states_named(states: &[&State], all: &[String]) -> String {
    let mut met: Vec<(String, Vec<String>)> = Vec::new();
    for of_sample in states.chunk_by(|a, b| a.sample == b.sample) {
        let at = set_points(&of_sample.iter().map(|state| state.set_point.as_str()).collect::<Vec<_>>());
        match met.iter_mut().find(|(known, _)| *known == at) {
            Some((_, samples)) => samples.push(of_sample[0].sample.clone()),
            None => met.push((at, vec![of_sample[0].sample.clone()])),
        }
    }
    let named = |(at, samples): (String, Vec<String>)| format!("{} at {at}", among_first(&samples, all, "sample"));
    met.into_iter().map(named).collect::<Vec<_>>().join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;
    use stages::reversal::remark::RunRemark;
    use stages::states::result::Remark;

    fn states_at_first(sample: &str) -> String {
        let states = fixture::states().states;
        states.iter().find(|state| state.sample == sample).map_or_else(String::new, |state| state.set_point.clone())
    }

    #[test]
    fn a_remark_is_said_once_with_all_that_it_is_of() {
        let mut states = fixture::states().states;
        for state in &mut states {
            state.remarks = vec![Remark::NotResolved { resolved: 0, usable: 6, loadings: 3 }];
        }
        let of_states = remarks(&[], &states, &[]);
        assert_eq!(of_states.len(), 1);
        assert_eq!(
            of_states[0].text,
            "Not resolved: 0 of 6 usable reversals give a contact share, from three loadings."
        );
        // Samples of which it is said at the same set-points share them.
        assert_eq!(of_states[0].title.matches(" at ").count(), 1, "{of_states:?}");
        states.retain(|state| state.sample != fixture::LONG || state.set_point != states_at_first(&state.sample));
        let parted = remarks(&[], &states, &[]);
        assert_eq!(parted[0].title.matches(" at ").count(), 2, "{parted:?}");
        let mut runs = fixture::runs();
        for (i, run) in runs.iter_mut().enumerate() {
            (run.ingest_remarks, run.clean_remarks, run.validity) = (Vec::new(), Vec::new(), Vec::new());
            run.remarks = vec![RunRemark::DensityNotGiven, RunRemark::NoPreambleEntry { key: format!("own {i}") }];
        }
        let of_runs = remarks(&runs, &[], &[]);
        assert_eq!(of_runs.len(), runs.len() + 1);
        // A path stays as it is.
        assert!(of_runs[1].title.starts_with("raw/") && of_runs[0].title.starts_with("Seven runs of "), "{of_runs:?}");
        // The control is none of the samples that "all" would mean.
        assert!(of_runs[0].title.contains(fixture::CONTROL), "{of_runs:?}");
        assert!(of_runs[0].text.starts_with("The density is not given"), "{of_runs:?}");
    }
}

//! Remarks of runs, states and controls as they are printed: each once, with all that it is said of.

use super::limits;
use crate::text::numbers::count;
use crate::text::said;
use crate::text::words::listed;
use serde::Serialize;
use stages::reversal::result::{Control, JudgedRun};
use stages::states::result::State;

/// A remark and what it is said of.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Titled {
    title: String,
    text: String,
}

/// All remarks: of runs in the order of the study, of states, of controls.
pub(super) fn remarks(judged: &[JudgedRun], states: &[State], controls: &[Control]) -> Vec<Titled> {
    let of_runs = gathered(judged.iter().flat_map(|run| run.remarks.iter().map(move |text| (text, run))));
    let of_states = gathered(states.iter().flat_map(|state| state.remarks.iter().map(move |text| (text, state))));
    let of_control = |c: &Control| {
        let title = format!("Control, {}", listed(c.runs.iter().cloned()));
        c.remarks.iter().map(move |text| titled(title.clone(), text)).collect::<Vec<_>>()
    };
    // What is said of several holds for each of them, its counts as well.
    let each = |n: usize| if n > 1 { ", each" } else { "" };
    let runs = of_runs.into_iter().map(|(text, runs)| titled(runs_named(&runs) + each(runs.len()), text));
    let states = of_states.into_iter().map(|(text, states)| titled(states_named(&states) + each(states.len()), text));
    runs.chain(states).chain(controls.iter().flat_map(of_control)).collect()
}

fn titled(title: String, text: &str) -> Titled {
    Titled { title, text: said::sentence(&named(text)) }
}

/// A remark on a number by which the flow is judged, with the number's name in print.
fn named(text: &str) -> String {
    let is_slug = |word: &str| word.contains('-') && word.chars().all(|c| c.is_ascii_lowercase() || c == '-');
    match text.split_once(": ") {
        Some((slug, rest)) if is_slug(slug) => format!("{}: {rest}", limits::name(slug)),
        _ => text.to_owned(),
    }
}

/// Each text once, with all that have it, in the order in which it is first met.
fn gathered<'a, T>(said: impl Iterator<Item = (&'a String, &'a T)>) -> Vec<(&'a str, Vec<&'a T>)> {
    let mut out: Vec<(&str, Vec<&T>)> = Vec::new();
    for (text, of) in said {
        match out.iter_mut().find(|(known, _)| known == text) {
            Some((_, all)) => all.push(of),
            None => out.push((text, vec![of])),
        }
    }
    out
}

/// More runs than this are counted, not named.
const NAMED: usize = 2;

/// A run by its path; many as `6 runs of A54 and A50 on cone40`.
fn runs_named(runs: &[&JudgedRun]) -> String {
    if runs.len() <= NAMED {
        return listed(runs.iter().map(|run| run.identity.run.clone()));
    }
    let names = |of: fn(&JudgedRun) -> &String| {
        let mut names: Vec<String> = Vec::new();
        for run in runs {
            if !names.contains(of(run)) {
                names.push(of(run).clone());
            }
        }
        listed(names.into_iter())
    };
    let (samples, geometries) = (names(|r| &r.identity.sample), names(|r| &r.identity.geometry));
    format!("{} of {samples} on {geometries}", count(runs.len() as u64, "run"))
}

/// `B46 at 5 1/s, B49 at 2 and 5 1/s`, by sample.
fn states_named(states: &[&State]) -> String {
    let of_sample = |states: &[&State]| {
        format!("{} at {}", states[0].sample, listed(states.iter().map(|state| state.set_point.clone())))
    };
    states.chunk_by(|a, b| a.sample == b.sample).map(of_sample).collect::<Vec<_>>().join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    #[test]
    fn a_remark_is_said_once_with_all_that_it_is_of() {
        let mut states = fixture::states().states;
        for state in &mut states {
            state.remarks = vec!["not resolved: 0 of 6".to_owned()];
        }
        let of_states = remarks(&[], &states, &[]);
        assert_eq!(of_states.len(), 1);
        assert_eq!(of_states[0].text, "Not resolved: 0 of 6.");
        assert_eq!(of_states[0].title.matches(" at ").count(), 2);
        let mut runs = fixture::runs();
        for (i, run) in runs.iter_mut().enumerate() {
            run.remarks = vec!["strain-of-twist: some steps are above 2e-4: twist".to_owned(), format!("own {i}")];
        }
        let of_runs = remarks(&runs, &[], &[]);
        assert_eq!(of_runs.len(), runs.len() + 1);
        assert!(of_runs[0].text.ends_with("would feign: some steps are above 2×10⁻⁴: twist."), "{of_runs:?}");
    }
}

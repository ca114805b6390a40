//! What was set aside by hand, as it is printed; the reasons are the authors' words.

use serde::Serialize;
use stages::clean::params::SetAside;
use std::collections::BTreeMap;

/// A stretch of a run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SetAsideLine {
    /// Path of the run.
    pub run: String,
    /// What of it, for example `step 5`; empty for all.
    pub what: String,
    /// The reason.
    pub because: String,
}

/// A line for every stretch, run by run.
pub(super) fn set_aside_lines(by_run: &BTreeMap<String, Vec<SetAside>>) -> Vec<SetAsideLine> {
    let line =
        |run: &String, s: &SetAside| SetAsideLine { run: run.clone(), what: stretch(s), because: s.because.clone() };
    by_run.iter().flat_map(|(run, stretches)| stretches.iter().map(move |s| line(run, s))).collect()
}

/// `step 5, from 3 s to the end`.
fn stretch(s: &SetAside) -> String {
    let end = |t: Option<f64>, open: &str| t.map_or_else(|| open.to_owned(), |t| format!("{t} s"));
    let step = s.step.map(|step| format!("step {step}"));
    let timed = s.from_s.or(s.to_s).is_some();
    let time = timed.then(|| format!("from {} to {}", end(s.from_s, "the start"), end(s.to_s, "the end")));
    step.into_iter().chain(time).collect::<Vec<_>>().join(", ")
}

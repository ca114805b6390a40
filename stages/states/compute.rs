//! From judged runs to the states of the study: numbers, set-points, states, and the share of the rise.

use super::params::{Params, SetPoint};
use super::result::{State, States, StudyReversal};
use super::set_points::{self, Given};
use super::{hierarchy, thickening};
use crate::physics::materials::Sample;
use crate::reversal::result::GradedRun;
use pipeline::diagnostic::Diagnostic;
use std::collections::{BTreeMap, BTreeSet};

/// The states of the study.
///
/// # Errors
/// If found set-points run into each other, or the settings name an end that is not there; all of them at once.
pub fn states(
    runs: Vec<GradedRun>,
    samples: &[Sample],
    listed: &BTreeMap<String, Vec<SetPoint>>,
    params: &Params,
) -> Result<States, Vec<Diagnostic>> {
    let mut reversals = number(runs);
    let given = set_points::give_out(&reversals, listed, params)?;
    for (reversal, given) in reversals.iter_mut().zip(&given) {
        reversal.set_point = given.as_ref().map(|g| g.label.clone());
    }
    let (mut states, mut rows, mut errors) = (Vec::new(), Vec::new(), unknown_samples(samples, params));
    for sample in samples.iter().filter(|s| !s.control) {
        let own = states_of(sample, &reversals, &given, params);
        let ends = params.ends.get(&sample.name);
        let refs: Vec<&State> = own.iter().collect();
        match thickening::thickening(sample, &refs, loadings(&reversals, sample), ends, params.smallest_rise) {
            Ok(row) => rows.push(row),
            Err(more) => errors.extend(more),
        }
        states.extend(own);
    }
    if errors.is_empty() { Ok(States { reversals, states, thickening: rows }) } else { Err(errors) }
}

/// Every reversal with its number, in order of run and row.
fn number(mut runs: Vec<GradedRun>) -> Vec<StudyReversal> {
    runs.sort_by(|a, b| a.identity.run.cmp(&b.identity.run));
    let mut all = Vec::new();
    for run in runs {
        let mut reversals = run.reversals;
        reversals.sort_by_key(|r| (r.read.row, r.read.number));
        for graded in reversals {
            let reversal = format!("R{:04}", all.len() + 1);
            all.push(StudyReversal { reversal, identity: run.identity.clone(), set_point: None, graded });
        }
    }
    all
}

fn unknown_samples(samples: &[Sample], params: &Params) -> Vec<Diagnostic> {
    let unknown = params.ends.keys().filter(|name| !samples.iter().any(|s| s.name == **name && !s.control));
    unknown
        .map(|name| {
            let known: Vec<&str> = samples.iter().filter(|s| !s.control).map(|s| s.name.as_str()).collect();
            Diagnostic::new(format!("`ends` names sample `{name}`, which the study does not have"))
                .help(format!("write one of: {}", known.join(", ")))
        })
        .collect()
}

/// All reversals of one sample at one set-point.
struct Condition<'a> {
    given: &'a Given,
    members: Vec<&'a StudyReversal>,
}

/// The states of one sample, in order of stress.
pub(super) fn states_of(
    sample: &Sample,
    reversals: &[StudyReversal],
    given: &[Option<Given>],
    params: &Params,
) -> Vec<State> {
    let mut conditions: Vec<Condition<'_>> = Vec::new();
    let own = reversals.iter().zip(given).filter(|(r, _)| r.identity.sample == sample.name && !r.identity.control);
    for (reversal, given) in own {
        let Some(given) = given else { continue };
        match conditions.iter_mut().find(|c| c.given == given) {
            Some(known) => known.members.push(reversal),
            None => conditions.push(Condition { given, members: vec![reversal] }),
        }
    }
    conditions.sort_by(|a, b| {
        let order = hierarchy::ln_stress(&a.members).total_cmp(&hierarchy::ln_stress(&b.members));
        order.then(a.given.controlled.cmp(&b.given.controlled)).then(a.given.value.total_cmp(&b.given.value))
    });
    conditions.iter().map(|c| hierarchy::state(sample, c.given, &c.members, params)).collect()
}

fn loadings(reversals: &[StudyReversal], sample: &Sample) -> u32 {
    let own = reversals.iter().filter(|r| r.identity.sample == sample.name && !r.identity.control);
    own.map(|r| r.identity.loading.as_str()).collect::<BTreeSet<_>>().len() as u32
}

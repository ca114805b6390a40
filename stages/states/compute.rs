//! From judged runs to the states of the study: numbers, set-points, states, and the share of the rise.

use super::params::{Params, SetPoint};
use super::result::{State, States, StudyReversal, Thickening};
use super::set_points::{self, Given};
use super::thickening::Question;
use super::{hierarchy, steady_rise};
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
    let asked: Vec<&Sample> = samples.iter().filter(|s| !s.control).collect();
    let states: Vec<Vec<State>> = asked.iter().map(|sample| states_of(sample, &reversals, &given, params)).collect();
    let ask = |sample, states| question(sample, states, &reversals, params);
    let questions: Vec<Question<'_>> = asked.iter().zip(&states).map(|(sample, states)| ask(*sample, states)).collect();
    let thickening = answers(&questions, unknown_samples(samples, params))?;
    Ok(States { reversals, states: states.concat(), thickening })
}

fn question<'a>(
    sample: &'a Sample,
    states: &'a [State],
    reversals: &[StudyReversal],
    params: &'a Params,
) -> Question<'a> {
    Question {
        sample,
        states: states.iter().collect(),
        loadings_of_sample: loadings(reversals, sample),
        ends: params.ends.get(&sample.name),
        smallest_rise: params.smallest_rise,
    }
}

/// The answer for every sample, where the probability of a rise by scatter is one of all samples.
fn answers(questions: &[Question<'_>], mut errors: Vec<Diagnostic>) -> Result<Vec<Thickening>, Vec<Diagnostic>> {
    let mut alone = Vec::new();
    for question in questions {
        match question.probability_of_scatter() {
            Ok(probability) => alone.push(probability),
            Err(more) => errors.extend(more),
        }
    }
    if !errors.is_empty() {
        return Err(errors);
    }
    questions.iter().zip(steady_rise::of_family(&alone)).map(|(question, p)| question.answer(p)).collect()
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

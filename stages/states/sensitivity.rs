//! The study under other defensible choices: from the grid that is stored with every reversal, from other readings of
//! the same trace (`readings`), and from the grades that may enter. No trace is opened; the ends of a rise stay those of
//! the study.

use super::compute;
use super::params::{Ends, LowestGrade, Params, SetPoint};
use super::readings;
use super::result::{Alternative, Choice, States, StudyReversal};
use super::set_points::{self, Given};
use super::thickening::Question;
use crate::physics::materials::Sample;
use pipeline::diagnostic::Diagnostic;
use std::collections::BTreeMap;

/// Other lowest grades that may enter.
const GRADES: [LowestGrade; 2] = [LowestGrade::A, LowestGrade::C];

/// The study under every choice, in the order in which reversals store them.
///
/// # Errors
/// Those of the states themselves.
pub fn alternatives(
    states: &States,
    samples: &[Sample],
    listed: &BTreeMap<String, Vec<SetPoint>>,
    params: &Params,
) -> Result<Vec<Alternative>, Vec<Diagnostic>> {
    let given = set_points::give_out(&states.reversals, listed, params)?;
    let study = Study { states, samples, given: &given };
    let mut found = Vec::new();
    for choice in readings::choices(&states.reversals) {
        let moved: Vec<StudyReversal> = states.reversals.iter().map(|r| read_under(&choice, r)).collect();
        found.push(study.under(choice, &moved, params)?);
    }
    for grade in GRADES.into_iter().filter(|grade| *grade != params.lowest_grade) {
        let other = Params { lowest_grade: grade, ..params.clone() };
        found.push(study.under(Choice::LowestGrade { grade }, &states.reversals, &other)?);
    }
    Ok(found)
}

/// What stays the same under every choice.
struct Study<'a> {
    states: &'a States,
    samples: &'a [Sample],
    given: &'a [Option<Given>],
}

impl Study<'_> {
    fn under(
        &self,
        choice: Choice,
        reversals: &[StudyReversal],
        params: &Params,
    ) -> Result<Alternative, Vec<Diagnostic>> {
        let (mut states, mut rises) = (Vec::new(), Vec::new());
        for sample in self.samples.iter().filter(|s| !s.control) {
            let own = compute::states_of(sample, reversals, self.given, params);
            let row = self.states.thickening.iter().find(|t| t.sample == sample.name);
            if let Some(row) = row.filter(|t| t.set_point_low.is_some()) {
                let ends = Ends { low: row.set_point_low.clone(), high: row.set_point_high.clone() };
                let question = Question {
                    sample,
                    states: own.iter().collect(),
                    loadings_of_sample: row.loadings_of_sample,
                    ends: Some(&ends),
                    smallest_rise: params.smallest_rise,
                };
                rises.push(question.answer(None)?);
            }
            states.extend(own);
        }
        Ok(Alternative { choice, states, thickening: rises })
    }
}

/// The reversal as a choice would read it; without a contact share where that leaves none.
fn read_under(choice: &Choice, reversal: &StudyReversal) -> StudyReversal {
    let mut moved = reversal.clone();
    moved.graded.contact_share = readings::share_under(choice, &reversal.graded);
    moved
}

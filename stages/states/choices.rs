//! The study under other defensible choices: from the grid that is stored with every reversal, and from the grades
//! that may enter. No trace is opened; the ends of a rise stay those of the study.

use super::params::{Ends, LowestGrade, Params, SetPoint};
use super::result::{Alternative, State, States, StudyReversal};
use super::set_points::{self, Given};
use super::{compute, thickening};
use crate::physics::materials::Sample;
use crate::reversal::result::{Choice, Estimate, Judged};
use pipeline::diagnostic::Diagnostic;
use std::collections::BTreeMap;

/// The choice of leaving out what carries a remark.
const GRADE_A: &str = "grade A only";

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
    for choice in names(&states.reversals) {
        let moved: Vec<StudyReversal> = states.reversals.iter().map(|r| under(r, &choice)).collect();
        found.push(study.under(choice, &moved, params)?);
    }
    if params.lowest_grade != LowestGrade::A {
        let stricter = Params { lowest_grade: LowestGrade::A, ..params.clone() };
        found.push(study.under(GRADE_A.to_owned(), &states.reversals, &stricter)?);
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
        choice: String,
        reversals: &[StudyReversal],
        params: &Params,
    ) -> Result<Alternative, Vec<Diagnostic>> {
        let (mut states, mut rises) = (Vec::new(), Vec::new());
        for sample in self.samples.iter().filter(|s| !s.control) {
            let own = compute::states_of(sample, reversals, self.given, params);
            let row = self.states.thickening.iter().find(|t| t.sample == sample.name);
            if let Some(row) = row.filter(|t| t.set_point_low.is_some()) {
                let ends = Ends { low: row.set_point_low.clone(), high: row.set_point_high.clone() };
                let refs: Vec<&State> = own.iter().collect();
                let of = row.loadings_of_sample;
                rises.push(thickening::thickening(sample, &refs, of, Some(&ends), params.smallest_rise)?);
            }
            states.extend(own);
        }
        Ok(Alternative { choice, states, thickening: rises })
    }
}

/// Names of all choices, in the order in which they are first met.
fn names(reversals: &[StudyReversal]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for choice in reversals.iter().filter(|r| !r.identity.control).flat_map(|r| &r.judged.read.choices) {
        if !names.contains(&choice.choice) {
            names.push(choice.choice.clone());
        }
    }
    names
}

/// The reversal as read under a choice; without a contact share where the choice leaves none.
fn under(reversal: &StudyReversal, name: &str) -> StudyReversal {
    let mut moved = reversal.clone();
    let choice = reversal.judged.read.choices.iter().find(|c| c.choice == name);
    moved.judged.contact_share = share_under(&reversal.judged, choice);
    moved
}

/// A choice stores the error of its own fit alone; what the place of zero strain and the control add to the error in
/// force is the same for all.
fn share_under(judged: &Judged, choice: Option<&Choice>) -> Option<Estimate> {
    let (in_force, chosen) = (judged.contact_share?, choice?.contact_share?);
    let after = judged.read.after.as_ref()?;
    let of_fit = after.contact_share.u * after.contact_share.u - after.u_zero * after.u_zero;
    let beside = (in_force.u * in_force.u - of_fit).max(0.0);
    Some(Estimate { value: chosen.value, u: (chosen.u * chosen.u + beside).sqrt() })
}

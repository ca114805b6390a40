//! Uncertainty: instrument and sample terms joined with the scatter of the data, and the budget.
//!
//! Question: how well is every headline number known, and what would have to be better? Input: the states, whose
//! reversals carry their responses to every term, and the same states under other defensible choices of settings.
//! Output: states with joined intervals, [`result::Budget`], and rows of [`result::SensitivityRow`].
//!
//! - Monte Carlo after JCGM 101, normal terms, each with one draw per trial that is shared by all it touches
//!   (`effects`, `trials`, `spread`), until the ends of the intervals have settled (`settled`). No trace is opened
//!   again.
//! - The terms join what loadings share, so that the coverage factor lies nearer to 1.96 (`numerics::interval`).
//! - Verdicts are given again by the same rules, with the wider intervals, and only where they stand under every
//!   choice (`sensitivity`).
//! - Stress and rate take the terms of the torque and of the geometry; where the strain is measured in an export, its
//!   rate rests on the same dimensions.

mod budget;
mod compute;
mod effects;
pub mod params;
mod remark;
pub mod result;
mod sensitivity;
mod settled;
mod spread;
mod trials;

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests;

use crate::physics::geometry::Geometry;
use crate::physics::materials::Sample;
use crate::states::result::Alternative;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Output, Produced};
use std::collections::BTreeMap;

pub use compute::{Joined, joined};

const fn small(name: &'static str) -> Output {
    Output { name, bulky: false }
}

/// What the task gives.
pub const OUTPUTS: [Output; 3] = [small("states"), small("budget"), small("sensitivity")];

/// The work of the task: settings `uncertainty`, `samples`, `geometries`, `seed`; inputs `states` and
/// `alternatives`; outputs `states`, `budget`, `sensitivity`.
///
/// # Errors
/// Only mistakes of the program.
pub fn work(cx: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let samples: Vec<Sample> = cx.settings::<BTreeMap<String, Sample>>("samples")?.into_values().collect();
    let (states, alternatives): (_, Vec<Alternative>) = (cx.json("states")?, cx.json("alternatives")?);
    let geometries = cx.settings::<BTreeMap<String, Geometry>>("geometries")?;
    let (seed, params) = (cx.settings("seed")?, cx.settings("uncertainty")?);
    let Joined { states, budget, sensitivity } = joined(&states, &alternatives, &samples, &geometries, seed, &params);
    let produced = Produced::default().with_json("states", &states)?.with_json("budget", &budget)?;
    produced.with_json("sensitivity", &sensitivity)
}

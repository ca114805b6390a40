//! Uncertainty: instrument and sample terms joined with the scatter of the data, and the budget.
//!
//! How well is every headline number known, and what would have to be better? The states come with the scatter between
//! loadings. What scatter cannot show is common to all loadings: the calibration of the torque, the dimensions of the
//! geometry, the inertia, the viscosity of the liquid. This stage adds it, gives [`result::Budget`], and gives the verdicts
//! again with the wider intervals.
//!
//! **What a term does** (`effects`). With every reversal is stored what each term does to ln η and to X when it is moved by
//! its standard uncertainty either way. Through these two and zero goes a parabola. No trace is opened again.
//!
//! **Monte Carlo after JCGM 101** (`trials`, `spread`). In each trial every term has one normal draw, which is shared by
//! all that the term touches: what is common to both ends of a rise then cancels by itself, and what moves a whole state
//! does not average over its loadings. Blocks of 10⁴ trials are drawn until the ends of every interval have settled to the
//! printed digits (`settled`; JCGM 101:2008, 7.9). Every term has a stream of draws of its own, named by its place in the
//! study file, so that another file or sample moves no result of this one.
//!
//! **Joining** (`compute`). The variances over trials join the part that loadings share; Student's t stays with the
//! scatter between loadings alone, so that the coverage factor lies between z and t as their parts do
//! (`numerics::interval`). Stress and rate take the terms of torque and geometry; where the strain is measured in an
//! export, its rate rests on the same dimensions.
//!
//! **The budget** (`budget`). To first order, what each source alone adds to a quantity; the parts of its variance add up to
//! one.
//!
//! **Choices** (`sensitivity`). Headline numbers under every other choice are listed beside those in force. They are not
//! added up; a verdict that one of them takes away becomes "not decided".

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

//! Uncertainty: instrument and sample terms joined with the scatter of the data, and the budget.
//!
//! Question: how well is every headline number known, and what would have to be better? Input: the states, whose
//! reversals carry their responses to every term. Output: states with joined intervals, and [`result::Budget`].
//!
//! - Monte Carlo after JCGM 101, normal terms, each with one draw per trial that is shared by all it touches
//!   (`effects`, `compute`, `numerics::draws`). No trace is opened again.
//! - The joined half-width is √[(t·se)² + (1.96·u_c)²], u_c now with the terms (`numerics::interval`).
//! - Verdicts are given again by the same rules, with the wider intervals.
//! - Stress and rate take the terms of the torque and of the geometry; where the strain is measured in an export, its
//!   rate rests on the same dimensions.

mod compute;
mod effects;
pub mod params;
pub mod result;

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests;

use crate::physics::geometry::Geometry;
use crate::physics::materials::Sample;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Output, Produced};
use std::collections::BTreeMap;

pub use compute::joined;

/// What the task gives.
pub const OUTPUTS: [Output; 2] = [Output { name: "states", bulky: false }, Output { name: "budget", bulky: false }];

/// The work of the task: settings `uncertainty`, `samples`, `geometries`, `seed`; input `states`; outputs `states`, `budget`.
///
/// # Errors
/// Only mistakes of the program.
pub fn work(cx: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let samples: Vec<Sample> = cx.settings::<BTreeMap<String, Sample>>("samples")?.into_values().collect();
    let states = cx.json("states")?;
    let geometries = cx.settings::<BTreeMap<String, Geometry>>("geometries")?;
    let (states, budget) = joined(&states, &samples, &geometries, cx.settings("seed")?, &cx.settings("uncertainty")?);
    let remarks = if budget.skipped { budget.remarks.clone() } else { Vec::new() };
    let produced = Produced::default().with_json("states", &states)?.with_json("budget", &budget)?;
    Ok(Produced { remarks, ..produced })
}

//! States: what all reversals of one (sample, set-point) condition say together, and who carries the rise.
//!
//! Question: with which uncertainty is the contact share of a condition known, and how much of the viscosity's rise
//! do contacts carry? Input: the judged runs of the whole study, never traces. Output: [`result::States`].
//!
//! 1. Set-points are given out over the whole study (`set_points`).
//! 2. Repeats are averaged within a loading, loadings without weights within a state (`hierarchy`); intervals
//!    join t on loading means with the part that loadings share (`numerics::interval`).
//! 3. The share of the rise is a ratio with Fieller's interval on loadings that have both ends (`thickening`), and
//!    the verdict follows printed rules in a printed order.
//!
//! 4. The same once more under every other defensible choice (`sensitivity`), among them other readings of the same traces
//!    (`readings`).
//!
//! Instrument and sample terms are joined by the stage `uncertainty`: intervals here hold the scatter of the data.

mod choice;
mod compute;
mod hierarchy;
pub mod params;
mod readings;
mod remark;
pub mod result;
mod sensitivity;
mod set_points;
mod thickening;
mod verdict;

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests;

use crate::physics::materials::Sample;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Output, Produced, from_json};
use std::collections::BTreeMap;

pub use compute::states;
pub use sensitivity::alternatives;

/// What the task gives.
pub const OUTPUTS: [Output; 2] =
    [Output { name: "states", bulky: false }, Output { name: "alternatives", bulky: false }];

/// The work of the task: settings `states`, `samples`, `set_points`; one input `graded` per run; outputs `states`,
/// and `alternatives`: the same under other defensible choices.
///
/// # Errors
/// If found set-points run into each other, or the settings name an end that is not there.
pub fn work(cx: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let runs = cx.inputs().iter().map(|(name, bytes)| from_json(name, bytes)).collect::<Result<Vec<_>, _>>()?;
    let samples: Vec<Sample> = cx.settings::<BTreeMap<String, Sample>>("samples")?.into_values().collect();
    let (listed, params) = (cx.settings("set_points")?, cx.settings("states")?);
    let states = states(runs, &samples, &listed, &params)?;
    let alternatives = alternatives(&states, &samples, &listed, &params)?;
    Produced::default().with_json("states", &states)?.with_json("alternatives", &alternatives)
}

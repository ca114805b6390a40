//! States: what all reversals of one (sample, set-point) condition say together, and who carries the rise.
//!
//! A reversal gives two numbers: the steady viscosity η before it, and the contact share X, the part of η that vanishes
//! when the motion turns round. This stage asks how well both are known for a condition of the study, and how much of the
//! rise of η with stress contacts carry. It sees graded runs of the whole study, never a trace, and gives
//! [`result::States`] and the same under other choices.
//!
//! **Which reversals belong together** (`set_points`). A set-point that the export or the study file tells is taken as it
//! stands. The others are found: values of the held quantity that are closer than a ratio are one set-point.
//!
//! **From reversals to a state** (`hierarchy`). The unit of repetition is the loading: a fresh filling has its own gap
//! filling, edge and surfaces, while repeats within a loading share them. So repeats are averaged within a loading, and
//! loadings, without weights, within a state. Means are geometric, of ln η and of z = −ln(1 − X), because X is one less a
//! ratio of viscosities; then η_H = η(1 − X) and η_C = η − η_H close exactly (`physics::shares`). What the scatter
//! between loadings cannot show, because all reversals of a state share it, is taken as a part of what a reversal states
//! of itself (`params`), and joins the scatter in the interval (`numerics::interval`). A state of which too few reversals
//! are resolved has a viscosity and no contact share, only a bound.
//!
//! **The share of the rise** (`thickening`, `physics::rise`). Between a low and a high end it is
//! (η₂X₂ − η₁X₁)/(η₂ − η₁), formed from loadings that have both ends, so that filling and calibration of a loading cancel;
//! its interval is that of a ratio (Fieller 1954) and may be unbounded. The verdict (`verdict`) follows printed rules in a
//! printed order: is there a rise at all, how far could it be read, and on which side of one half lies the interval?
//! Whether there is one is asked of all steady viscosities, those of states without a contact share among them, and
//! of the largest difference as of one that the data chose (`steady_rise`).
//!
//! **Other choices** (`sensitivity`, `readings`). The same again under every other choice that could be defended: settings
//! of the fit, single forms of the recovery, a straight line, other grades. They are no source of uncertainty, since
//! nobody draws them; a verdict must stand under all of them.
//!
//! Instrument and sample terms are joined by the stage `uncertainty`, which gives the verdict again: intervals here hold
//! the scatter of the data.

mod choice;
mod compute;
mod hierarchy;
pub mod params;
mod readings;
mod remark;
pub mod result;
mod sensitivity;
mod set_points;
mod steady_rise;
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

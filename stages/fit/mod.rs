//! Fits: which law the relative viscosities of all samples follow, and what the data can say about its parameters.
//!
//! Question: at which stress and solid fraction does friction set in, and where does the viscosity diverge with and
//! without it? Input: the states of the study. Output: [`result::Fits`].
//!
//! - Wyart and Cates over all samples and stresses of one kind of particles (`thickening`), laws of the solid fraction
//!   at the lowest and the highest stress of each sample, flow curves of single samples (`compute`); the models are
//!   in `physics::models`.
//! - Least squares or a robust loss on ln η with its full covariance, and one shift of the solid fraction per sample
//!   within its uncertainty (`data`, `problem`, `solve`, `robust`, `influence`).
//! - A parameter that the data do not identify has no value in the table, only words and the measurement that would
//!   give it; so has a fit that did not converge or that hangs on one wild state (`known`). Intervals are profiles of
//!   the sum of squares, with t of the smaller of n − p and the degrees of freedom of the loadings (`profile`).
//! - The hydrodynamic and the contact part apart, and rival explanations of the contact shares (`parts`).

mod compute;
mod constant;
mod curves;
mod data;
mod group;
mod influence;
mod known;
pub mod params;
mod parts;
mod problem;
mod profile;
pub mod remark;
pub mod result;
mod robust;
mod rows;
pub mod rules;
mod solve;
mod thickening;

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
#[path = "scipy/tests.rs"]
mod scipy;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests;

use crate::physics::geometry::Geometry;
use crate::physics::materials::Sample;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Output, Produced};
use std::collections::BTreeMap;

pub use compute::fits;

/// What the task gives.
pub const OUTPUTS: [Output; 1] = [Output { name: "fits", bulky: false }];

/// The work of the task: settings `fit`, `samples`, `geometries`; input `states`; output `fits`.
///
/// # Errors
/// Only mistakes of the program: what cannot be fitted is said in the result.
pub fn work(cx: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let samples: Vec<Sample> = cx.settings::<BTreeMap<String, Sample>>("samples")?.into_values().collect();
    let geometries = cx.settings::<BTreeMap<String, Geometry>>("geometries")?;
    let fits = fits(&cx.json("states")?, &samples, &geometries, &cx.settings("fit")?);
    Produced::default().with_json("fits", &fits)?.with_remarks(&fits.study_remarks())
}

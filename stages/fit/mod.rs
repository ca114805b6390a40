//! Fits: which law the relative viscosities of all samples follow, and what the data can say about its parameters.
//!
//! Question: at which stress and solid fraction does friction set in, and where does the viscosity diverge with and
//! without it? Input: the states of the study. Output: [`result::Fits`].
//!
//! - Wyart and Cates over all samples and stresses; Maron and Pierce, Krieger and Dougherty over the solid fraction
//!   at the lowest and the highest stress of each sample (`physics::models`).
//! - Least squares on ln η_r with its full covariance, and one shift of the solid fraction per sample within its
//!   uncertainty (`data`, `solve`).
//! - A parameter that the data do not identify has no value in the table, only words; so has a fit that did not
//!   converge. Intervals are t with the smaller of n − p and the degrees of freedom of the loadings.

mod compute;
mod data;
pub mod params;
pub mod result;
mod solve;

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests;

use crate::physics::materials::Sample;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Output, Produced};
use std::collections::BTreeMap;

pub use compute::fits;

/// What the task gives.
pub const OUTPUTS: [Output; 1] = [Output { name: "fits", bulky: false }];

/// The work of the task: settings `fit`, `samples`; input `states`; output `fits`.
///
/// # Errors
/// Only mistakes of the program: what cannot be fitted is said in the result.
pub fn work(cx: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let samples: Vec<Sample> = cx.settings::<BTreeMap<String, Sample>>("samples")?.into_values().collect();
    let fits = fits(&cx.json("states")?, &samples, &cx.settings("fit")?);
    let mut produced = Produced::default().with_json("fits", &fits)?;
    produced.remarks = fits.remarks;
    Ok(produced)
}

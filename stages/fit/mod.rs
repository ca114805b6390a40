//! Fits: which law the relative viscosities of all samples follow, and what the data can say about its parameters.
//!
//! Question: at which stress and solid fraction does friction set in, and where does the viscosity diverge with and
//! without it? Input: the states of the study. Output: [`result::Fits`].
//!
//! # What is fitted
//! The law of Wyart and Cates to all samples of one kind of particles at all stresses at once (`thickening`); laws of the
//! solid fraction to the states of lowest and of highest stress of each sample, flow curves to single samples
//! (`compute`). The models are in `physics::models`. Data are ln η_r, or ln η for flow curves, because viscosities
//! scatter by ratios.
//!
//! # How
//! Minimised is rᵀV⁻¹r + Σδ² (`problem`). r: ln η less the model. V: scatter of loadings, filling of each loading, liquid,
//! instrument and geometry (`data`). δ: one shift of the solid fraction of each sample, in its standard uncertainties.
//! Where the rate was held an error of the torque moves stress and viscosity together, which the effective variance counts.
//! Every start that the model proposes is tried; a parameter outside its bounds is held there and the others are fitted
//! again (`solve`). A robust loss weighs the own part of each residual and takes its covariance from pseudo-values
//! (`robust`).
//!
//! # What may be said
//! An interval ends where the sum of squares, minimised over all other parameters, has risen by what 95 % allow
//! (`profile`). A parameter that the data do not identify has no value but a [`remark::Remark`], and a [`remark::Need`]
//! says which measurement would give it; so has a fit that did not converge, that misses its data, or whose parameters
//! depend on one state that chance does not explain (`known`, `influence`). Limits with their reasons are in `rules`.
//!
//! # Beside the laws
//! How the hydrodynamic and the contact part follow the stress, and which candidate model of the contact shares the data
//! prefer, by Akaike weights (`parts`). No law of the viscosity is used there.
//!
//! # Sources
//! Wyart & Cates 2014; Orear 1982 (effective variance); Birge 1932 (misfit); Huber 1964, 1981 (robust losses); Baarda 1968
//! (single states); Akaike 1974, Hurvich & Tsai 1989, Burnham & Anderson 2002 (weights).

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

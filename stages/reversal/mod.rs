//! Reversal: from points to contact shares. Three tasks: `read` says what a run tells by itself, `control` joins
//! the controls of one instrument and geometry, `grading` joins both and grades.
//!
//! Question: which part of the steady viscosity vanishes when the sense of shear is reversed? Input: points and
//! notes of clean. Output: [`result::RunRead`], [`result::Control`], [`result::GradedRun`], and the published
//! points. Contact share X = 1 − η(0⁺)/η: F. Gadala-Maria & A. Acrivos, J. Rheol. 24 (1980) 799 for the
//! experiment; N. Y. C. Lin et al., Phys. Rev. Lett. 115 (2015) 228304 for the reading as contact part.
//!
//! In order: `trace` (readings) → `find` (turning points) → `before`, `noise` (steady stretch) → `dead` (first
//! usable strain) → `bins`, `transient`, `headline`, `estimator` (value at zero strain) → `secondary` (other measurands) →
//! `restart` (second control) → `read` (a run) → `control`, `identity`, `grading`; `published` is the table of readings.

mod before;
mod bins;
mod control;
mod dead;
mod estimator;
mod find;
mod grading;
mod headline;
pub mod identity;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod literature;
mod noise;
pub mod params;
pub mod priors;
mod published;
mod read;
pub mod remark;
mod restart;
pub mod result;
pub mod rules;
mod secondary;
#[cfg(test)]
mod synthetic;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests;
mod trace;
mod transient;
mod work;

pub use published::COLUMNS as POINT_COLUMNS;
pub use work::{control_work, grade_work, read_work};

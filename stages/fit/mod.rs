//! Fit.
pub mod params;
pub mod result;

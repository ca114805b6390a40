//! Uncertainty.
pub mod params;
pub mod result;

//! Reversal.
pub mod params;
pub mod result;

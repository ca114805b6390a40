//! States.
pub mod params;
pub mod result;

//! Clean.
pub mod params;
pub mod result;

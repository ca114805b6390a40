//! Clean.
pub mod result;

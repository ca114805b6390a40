//! States.
pub mod result;

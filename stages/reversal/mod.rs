//! Reversal.
pub mod result;

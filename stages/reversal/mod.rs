//! Reversal.
mod find;
pub mod params;
pub mod result;
mod trace;

//! Reversal.
mod bins;
mod find;
mod headline;
mod noise;
pub mod params;
pub mod result;
#[cfg(test)]
mod synthetic;
mod trace;
mod transient;

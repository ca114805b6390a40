//! Numerics that several stages share.

pub mod float;
pub mod least_squares;

//! Numerics that several stages share.

pub mod float;

//! Numerics that several stages share.

pub mod chi_square;
pub mod fieller;
pub mod float;
pub mod interval;
pub mod normal;
pub mod student_t;

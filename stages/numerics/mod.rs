//! Numerics that several stages share.

pub mod chi_square;
pub mod compensated;
pub mod draws;
pub mod fieller;
pub mod float;
pub mod interval;
pub mod least_squares;
pub mod least_squares_near;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod nist;
pub mod normal;
pub mod student_t;
pub mod whitening;

//! Numerics that several stages share. No rheology: what is fitted or averaged comes from the callers.
//!
//! - Reproducible floats. `float` is the only door to transcendental functions, so that the same input gives the same bits
//!   on every machine; `draws` gives each uncertain quantity random numbers of its own by name; `compensated` sums
//!   products as if in twice the precision.
//! - Distributions: `normal`, `student_t` and `chi_square` give quantiles and tails over `float` alone, checked against
//!   another library and printed tables.
//! - Means and intervals. `interval` averages one value per loading. What scatters between n loadings takes the t factor
//!   of n − 1 degrees of freedom, what all loadings share the normal one, and a mixture lies between; positive
//!   quantities are averaged as logarithms, a contact share X as z = −ln(1 − X), and go back with uneven ends.
//!   `fieller` gives the interval of a ratio whose denominator may be zero.
//! - Least squares. `least_squares` minimises ½ Σ r² of any model by Levenberg and Marquardt from a far start, then by
//!   undamped steps to the last digits, with the covariance (JᵀJ)⁻¹ from a QR of the scaled derivatives;
//!   `least_squares_near` does the same from a start near by, for the thousands of fits of profiles and trials.
//!   `whitening` turns correlated data into independent ones: with V = LLᵀ, L⁻¹(y − f) has unit covariance, so that
//!   rᵀV⁻¹r is a plain sum of squares. Both are held to the certified values of the NIST data sets (`reference/nist.md`).
//!
//! Residuals are dimensionless throughout, divided by their standard uncertainties. Where nothing can be computed
//! (a singular matrix, no data) the answer is none or NaN, never a panic.

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

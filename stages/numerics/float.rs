//! The only door to transcendental functions: the `libm` crate, whose bits are the same on every processor.
//! `sqrt`, `abs`, `floor` and the four operations are exact in IEEE 754 and need no door.
//!
//! ```
//! use stages::numerics::float;
//! assert!((float::ln(float::exp(2.0)) - 2.0).abs() < 1e-15);
//! assert_eq!(float::pow(2.0, 10.0), 1024.0);
//! assert_eq!(float::expm1(1e-20), 1e-20); // exp(x) − 1 would be 0
//! ```

/// eˣ.
pub fn exp(x: f64) -> f64 {
    libm::exp(x)
}

/// eˣ − 1 without cancellation near 0.
pub fn expm1(x: f64) -> f64 {
    libm::expm1(x)
}

/// Natural logarithm.
pub fn ln(x: f64) -> f64 {
    libm::log(x)
}

/// ln(1 + x) without cancellation near 0.
pub fn ln1p(x: f64) -> f64 {
    libm::log1p(x)
}

/// Decimal logarithm.
pub fn log10(x: f64) -> f64 {
    libm::log10(x)
}

/// xʸ.
pub fn pow(x: f64, y: f64) -> f64 {
    libm::pow(x, y)
}

/// Sine; x in rad.
pub fn sin(x: f64) -> f64 {
    libm::sin(x)
}

/// Cosine; x in rad.
pub fn cos(x: f64) -> f64 {
    libm::cos(x)
}

/// Tangent; x in rad.
pub fn tan(x: f64) -> f64 {
    libm::tan(x)
}

/// Error function.
pub fn erf(x: f64) -> f64 {
    libm::erf(x)
}

/// Complementary error function 1 − erf(x) without cancellation for large x.
pub fn erfc(x: f64) -> f64 {
    libm::erfc(x)
}

/// Natural logarithm of the absolute value of the gamma function.
pub fn ln_gamma(x: f64) -> f64 {
    libm::lgamma(x)
}

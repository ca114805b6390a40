//! The standard normal distribution: its quantiles, over `float` alone. Random draws are in `draws.rs`.

use super::float;

/// Two-sided 95 % factor of the normal distribution, z₀.₉₇₅ (JCGM 100:2008, table G.2, last row).
pub const Z_95: f64 = 1.959_963_984_540_054;

/// What makes the median of absolute deviations the standard deviation of normal errors, to four decimals: 1/z₀.₇₅
/// (Hampel 1974).
pub const MEDIAN_TO_SIGMA: f64 = 1.4826;

/// Quantile of the standard normal distribution for a probability inside (0, 1).
///
/// Exact to a few units in the last place for p in 10⁻³⁰⁰ … 1 − 10⁻¹⁶; ±∞ at 0 and 1, NaN outside.
///
/// # Source
/// Start: Abramowitz & Stegun 1964, 26.2.23 (error below 4.5·10⁻⁴); then Halley's iteration on the
/// complementary error function, which triples the digits in every step.
///
/// ```
/// use stages::numerics::normal::{Z_95, quantile};
/// assert!((quantile(0.975) - Z_95).abs() < 1e-14);
/// ```
pub fn quantile(p: f64) -> f64 {
    if !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p > 0.5 {
        // 1 − p is exact for p ≥ 1/2, so the upper half loses nothing.
        return -lower_half(1.0 - p);
    }
    lower_half(p)
}

fn lower_half(p: f64) -> f64 {
    if p == 0.0 {
        return f64::NEG_INFINITY;
    }
    let mut x = start(p);
    // Two steps reach the last digit from an error of 4.5·10⁻⁴; the third costs little.
    for _ in 0..3 {
        let density = float::exp(-0.5 * x * x) / (2.0 * std::f64::consts::PI).sqrt();
        let step = (cumulative(x) - p) / density;
        if !step.is_finite() {
            break;
        }
        x -= step / (1.0 + 0.5 * x * step);
    }
    x
}

fn start(p: f64) -> f64 {
    let t = (-2.0 * float::ln(p)).sqrt();
    let above = 2.515_517 + t * (0.802_853 + t * 0.010_328);
    let below = 1.0 + t * (1.432_788 + t * (0.189_269 + t * 0.001_308));
    above / below - t
}

/// Probability of a value below `x`.
///
/// ```
/// assert!((stages::numerics::normal::cumulative(1.0) - 0.841_344_746).abs() < 1e-9);
/// ```
pub fn cumulative(x: f64) -> f64 {
    0.5 * float::erfc(-x * std::f64::consts::FRAC_1_SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, Normal};

    #[test]
    fn quantiles_agree_with_another_library() {
        let other = Normal::standard();
        for p in [1e-12, 1e-6, 0.001, 0.025, 0.3, 0.5, 0.7, 0.975, 0.999_999] {
            // statrs states about 1e-11 for its inverse error function.
            assert!((quantile(p) - other.inverse_cdf(p)).abs() < 1e-9, "{p}");
            assert!((cumulative(quantile(p)) - p).abs() < 4e-16 + 1e-13 * p, "{p}");
        }
    }

    #[test]
    fn the_factor_is_the_quantile() {
        assert!((quantile(0.975) - Z_95).abs() < 4e-15);
    }

    #[test]
    fn ends_and_nonsense() {
        assert_eq!(quantile(0.0), f64::NEG_INFINITY);
        assert_eq!(quantile(1.0), f64::INFINITY);
        assert!(quantile(-0.1).is_nan());
        assert!(quantile(0.5).abs() < 1e-15);
    }
}

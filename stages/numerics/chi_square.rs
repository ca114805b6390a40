//! Upper tail of the chi-square distribution, over `float` alone: whether a fit's misfit is more than chance.

use super::float;

/// Probability that a chi-square variable with `dof` > 0 degrees of freedom exceeds `x` ≥ 0.
///
/// # Source
/// Q(ν/2, x/2), the regularised incomplete gamma function: series (Abramowitz & Stegun 1964, 6.5.29) below the
/// mean, continued fraction (6.5.31) above it.
///
/// ```
/// // The 95 % quantile of 10 degrees of freedom is 18.307 (Abramowitz & Stegun 1964, table 26.8).
/// assert!((stages::numerics::chi_square::upper_tail(18.307, 10.0) - 0.05).abs() < 1e-5);
/// ```
pub fn upper_tail(x: f64, dof: f64) -> f64 {
    let (a, x) = (0.5 * dof, 0.5 * x);
    if x <= 0.0 {
        return 1.0;
    }
    let front = float::exp(a * float::ln(x) - x - float::ln_gamma(a));
    if x < a + 1.0 { 1.0 - front * series(a, x) } else { front * fraction(a, x) }
}

fn series(a: f64, x: f64) -> f64 {
    let (mut term, mut sum) = (1.0 / a, 1.0 / a);
    for n in 1..10_000 {
        term *= x / (a + f64::from(n));
        sum += term;
        if term <= 1e-17 * sum {
            break;
        }
    }
    sum
}

fn fraction(a: f64, x: f64) -> f64 {
    let mut b = x + 1.0 - a;
    let (mut c, mut d) = (f64::MAX, 1.0 / b);
    let mut sum = d;
    for n in 1..10_000 {
        let n = f64::from(n);
        let numerator = -n * (n - a);
        b += 2.0;
        d = 1.0 / (numerator * d + b);
        c = b + numerator / c;
        sum *= c * d;
        if (c * d - 1.0).abs() < 1e-16 {
            break;
        }
    }
    sum
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;
    use statrs::distribution::{ChiSquared, ContinuousCDF};

    #[test]
    fn tails_agree_with_another_library() {
        for dof in [1.0, 2.0, 3.0, 10.0, 40.0, 300.0] {
            let other = ChiSquared::new(dof).unwrap();
            for part in [0.1, 0.5, 1.0, 1.5, 3.0] {
                let x = part * dof;
                // Both are good to about 1e-11 of the tail.
                assert!((upper_tail(x, dof) / other.sf(x) - 1.0).abs() < 1e-9, "{dof} {x}");
            }
        }
        // ν = 2 in closed form.
        assert!((upper_tail(3.0, 2.0) - (-1.5f64).exp()).abs() < 1e-15);
        assert_eq!(upper_tail(0.0, 5.0), 1.0);
    }
}

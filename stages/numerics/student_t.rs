//! Student's t distribution: distribution function and quantiles, over `float` alone.
//!
//! With x = ν/(ν + t²) the upper tail is ½ I_x(ν/2, ½), the regularised incomplete beta function
//! (Abramowitz & Stegun 1964, 26.7.1 and 26.5.27), which is summed as a continued fraction.

use super::{float, normal};

/// From here on the t distribution is taken as the normal one: factors differ by less than 10⁻⁶ of themselves.
const PRACTICALLY_NORMAL: f64 = 1e7;

/// Two-sided 95 % coverage factor t₀.₉₇₅ for `dof` > 0 degrees of freedom; infinity is allowed, NaN for the rest.
///
/// ```
/// // Two degrees of freedom: 4.303 (JCGM 100:2008, table G.2).
/// assert!((stages::numerics::student_t::factor_95(2.0) - 4.303).abs() < 5e-4);
/// ```
pub fn factor_95(dof: f64) -> f64 {
    quantile(0.975, dof)
}

/// Quantile for a probability inside (0, 1) and `dof` > 0, which need not be whole.
///
/// # Source
/// Bisection of [`cumulative`] down to neighbouring numbers: slow, sure, and the same on every machine.
///
/// ```
/// // One degree of freedom is Cauchy's distribution, whose upper quartile is 1.
/// assert!((stages::numerics::student_t::quantile(0.75, 1.0) - 1.0).abs() < 1e-14);
/// ```
pub fn quantile(p: f64, dof: f64) -> f64 {
    if !(p > 0.0 && p < 1.0 && dof > 0.0) {
        return f64::NAN;
    }
    if dof >= PRACTICALLY_NORMAL {
        return normal::quantile(p);
    }
    if p < 0.5 {
        return -upper_quantile(p, dof);
    }
    upper_quantile(1.0 - p, dof)
}

/// The t ≥ 0 whose upper tail is `tail` ≤ ½.
fn upper_quantile(tail: f64, dof: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    while upper_tail(high, dof) > tail && high < 1e300 {
        (low, high) = (high, high * 2.0);
    }
    loop {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            return middle;
        }
        if upper_tail(middle, dof) > tail { low = middle } else { high = middle }
    }
}

/// Probability of a value below `t`.
///
/// ```
/// assert!((stages::numerics::student_t::cumulative(1.0, 1.0) - 0.75).abs() < 1e-14);
/// ```
pub fn cumulative(t: f64, dof: f64) -> f64 {
    if t < 0.0 { upper_tail(-t, dof) } else { 1.0 - upper_tail(t, dof) }
}

/// Probability of a value above `t` ≥ 0.
fn upper_tail(t: f64, dof: f64) -> f64 {
    if dof >= PRACTICALLY_NORMAL {
        return normal::cumulative(-t);
    }
    0.5 * incomplete_beta(dof / (dof + t * t), t * t / (dof + t * t), 0.5 * dof, 0.5)
}

/// Regularised incomplete beta function I_x(a, b); `y` = 1 − x is given apart so that no digits are lost.
fn incomplete_beta(x: f64, y: f64, a: f64, b: f64) -> f64 {
    if x <= 0.0 || y <= 0.0 {
        return if x <= 0.0 { 0.0 } else { 1.0 };
    }
    let ln_front =
        a * float::ln(x) + b * float::ln(y) + float::ln_gamma(a + b) - float::ln_gamma(a) - float::ln_gamma(b);
    let front = float::exp(ln_front);
    // The fraction converges fast on this side of the mean only; the other side is its complement.
    if x < (a + 1.0) / (a + b + 2.0) {
        front * beta_fraction(x, a, b) / a
    } else {
        1.0 - front * beta_fraction(y, b, a) / b
    }
}

/// Continued fraction of the incomplete beta function (Abramowitz & Stegun 26.5.8), by Lentz's method.
fn beta_fraction(x: f64, a: f64, b: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let guard = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - (a + b) * x / (a + 1.0));
    let mut sum = d;
    for m in 1..10_000 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let before = sum;
        for term in [even, odd] {
            d = 1.0 / guard(1.0 + term * d);
            c = guard(1.0 + term / c);
            sum *= c * d;
        }
        if (sum - before).abs() <= 1e-16 * sum.abs() {
            break;
        }
    }
    sum
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, StudentsT};

    /// Layout of JCGM 100:2008, table G.2; the figures were computed with scipy.stats.t 1.17.1, to six digits.
    const TABLE_G2: &str = include_str!("reference/student_t_table_g2.csv");

    #[test]
    fn factors_are_those_of_table_g2() {
        let mut lines = TABLE_G2.lines().filter(|l| !l.starts_with('#'));
        let levels: Vec<f64> = lines.next().unwrap().split(',').skip(1).map(|h| h[1..].parse().unwrap()).collect();
        let mut checked = 0;
        for line in lines {
            let mut cells = line.split(',');
            let dof = cells.next().unwrap().parse().unwrap_or(f64::INFINITY);
            for (level, want) in levels.iter().zip(cells) {
                let want: f64 = want.parse().unwrap();
                // The table has six decimals.
                assert!((quantile(0.5 + level / 2.0, dof) - want).abs() < 6e-7, "{dof} {level}");
                checked += 1;
            }
        }
        assert!(checked > 100, "{checked}");
    }

    #[test]
    fn quantiles_agree_with_another_library() {
        for dof in [1.0, 2.0, 2.7, 5.0, 17.3, 120.0, 5000.0] {
            let other = StudentsT::new(0.0, 1.0, dof).unwrap();
            for p in [0.001, 0.05, 0.4, 0.6, 0.975, 0.9995] {
                // statrs solves to 1e-9 or so.
                assert!((quantile(p, dof) / other.inverse_cdf(p) - 1.0).abs() < 1e-8, "{dof} {p}");
            }
        }
    }

    #[test]
    fn closed_forms_for_one_and_two_degrees_of_freedom() {
        // ν = 1: t = tan(π(p − ½)); ν = 2: t = (2p − 1)/√(2p(1 − p)).
        let p = 0.975;
        assert!((quantile(p, 1.0) / (std::f64::consts::PI * (p - 0.5)).tan() - 1.0).abs() < 1e-12);
        assert!((quantile(p, 2.0) / ((2.0 * p - 1.0) / (2.0 * p * (1.0 - p)).sqrt()) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn many_degrees_of_freedom_are_normal() {
        assert!((factor_95(9.9e6) - normal::Z_95).abs() < 1e-6);
        assert_eq!(factor_95(f64::INFINITY), normal::quantile(0.975));
        assert!(factor_95(0.0).is_nan());
    }
}

//! The interval of a ratio of two uncertain numbers, which may be unbounded.
//!
//! θ is inside if |N − θD| ≤ h(θ) with h² = s_nn − 2θ s_nd + θ² s_dd (Fieller 1954). Both sides are quadratic in θ,
//! so the ends are the roots of (D² − s_dd)θ² − 2(ND − s_nd)θ + (N² − s_nn) = 0, and the set is an interval only if
//! D² > s_dd: only if the denominator itself differs from zero at that level.

/// Squared half-widths of N and D and their cross term: coverage factor squared times (co)variance.
///
/// ```
/// use stages::numerics::fieller::Spread;
/// let (n, d) = (Spread { nn: 4.0, ..Spread::default() }, Spread { dd: 1.0, ..Spread::default() });
/// assert_eq!(n.plus(d).times(2.0).of_difference(3.0), 2.0 * (4.0 + 9.0));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Spread {
    /// Of the numerator.
    pub nn: f64,
    /// Cross term.
    pub nd: f64,
    /// Of the denominator.
    pub dd: f64,
}

impl Spread {
    /// Both at once, for independent sources.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self { nn: self.nn + other.nn, nd: self.nd + other.nd, dd: self.dd + other.dd }
    }

    /// Multiplied by `factor`.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self { nn: self.nn * factor, nd: self.nd * factor, dd: self.dd * factor }
    }

    /// Of the difference N − θD.
    pub fn of_difference(self, theta: f64) -> f64 {
        self.nn - 2.0 * theta * self.nd + theta * theta * self.dd
    }
}

/// The interval of N/D; none where it is unbounded.
///
/// ```
/// use stages::numerics::fieller::{Spread, interval};
/// // An exact denominator leaves (N ± h)/D.
/// assert_eq!(interval(6.0, 2.0, Spread { nn: 4.0, ..Spread::default() }), Some((2.0, 4.0)));
/// // One that does not differ from zero bounds nothing.
/// assert_eq!(interval(6.0, 2.0, Spread { dd: 9.0, ..Spread::default() }), None);
/// ```
pub fn interval(numerator: f64, denominator: f64, spread: Spread) -> Option<(f64, f64)> {
    let a = denominator * denominator - spread.dd;
    let b = numerator * denominator - spread.nd;
    let c = numerator * numerator - spread.nn;
    if a.is_nan() || a <= 0.0 {
        return None;
    }
    // At N/D the quadratic is −h² ≤ 0, so there are roots; rounding alone could make this negative.
    let root = (b * b - a * c).max(0.0).sqrt();
    Some(((b - root) / a, (b + root) / a))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::numerics::normal::Z_95;

    /// Computed with NumPy 2.4.6 and SciPy 1.17.1 and confirmed there by 2·10⁶ Monte Carlo draws.
    const REFERENCE: &str = include_str!("reference/contact_share_ratio.json");

    #[test]
    fn contact_share_from_two_viscosities() {
        let reference: serde_json::Value = serde_json::from_str(REFERENCE).unwrap();
        let cases = reference["cases"].as_object().unwrap();
        assert_eq!(cases.len(), 4);
        for (name, case) in cases {
            let input = |key: &str| case["inputs"][key].as_f64().unwrap();
            let (h, t, r) = (input("eta_H"), input("eta_T"), input("r"));
            let (u_h, u_t) = (input("u_H"), input("u_T"));
            let spread = Spread { nn: u_h * u_h, nd: r * u_h * u_t, dd: u_t * u_t }.times(Z_95 * Z_95);
            let (low, high) = interval(h, t, spread).unwrap();
            for (got, want) in [1.0 - high, 1.0 - low].iter().zip(case["fieller_95"].as_array().unwrap()) {
                // Same formula in double precision on both sides.
                assert!((got - want.as_f64().unwrap()).abs() < 1e-12, "{name}");
            }
        }
    }

    #[test]
    fn a_denominator_that_may_be_zero_gives_no_interval() {
        assert_eq!(interval(1.0, 1.0, Spread { nn: 0.1, nd: 0.0, dd: 1.1 }), None);
        assert_eq!(interval(0.0, 0.0, Spread::default()), None);
    }

    #[test]
    fn ends_satisfy_the_defining_inequality_exactly() {
        let spread = Spread { nn: 0.3, nd: 0.1, dd: 0.2 };
        let (low, high) = interval(2.0, 3.0, spread).unwrap();
        for theta in [low, high] {
            let distance = 2.0 - theta * 3.0;
            assert!((distance * distance - spread.of_difference(theta)).abs() < 1e-12);
        }
    }
}

//! Means over few loadings and their 95 % intervals: t on the scatter, normal on what all loadings share.
//!
//! With n loading means, se = sd/√n and a shared standard uncertainty u_c, the half-width is k·√(se² + u_c²), where k goes
//! from 1.96, where all is shared, to t₀.₉₇₅(n − 1), where all is scatter: see [`coverage_factor`].

use super::{float, normal, student_t};
use serde::{Deserialize, Serialize};

/// A value with standard uncertainty and 95 % interval; ends are none where no interval may be claimed.
///
/// ```
/// use stages::numerics::interval::Interval;
/// // A viscosity whose logarithm gets 1 % more of standard uncertainty, the scatter being none.
/// let eta = Interval { value: 2.0, u: 0.0, low: Some(2.0), high: Some(2.0) }.widened(0.01);
/// assert!((eta.u - 0.02).abs() < 1e-15 && eta.high.is_some_and(|h| (h - 2.0396).abs() < 1e-4));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// The value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Lower end.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

impl Interval {
    /// The interval of a positive value, known by the scatter of loadings alone, whose logarithm gets a shared standard
    /// uncertainty `u`.
    #[must_use]
    pub fn widened(self, u: f64) -> Self {
        let se = self.u / self.value;
        let end = |end: Option<f64>, sign: f64| {
            let half = end.map(|e| float::ln(e / self.value).abs());
            half.map(|h| self.value * float::exp(sign * half_width(se, if se > 0.0 { h / se } else { 0.0 }, u)))
        };
        let (low, high) = (end(self.low, -1.0), end(self.high, 1.0));
        Self { value: self.value, u: quadrature(self.u, self.value * u), low, high }
    }
}

/// The unweighted mean of one value per loading, with its errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    /// The mean.
    pub value: f64,
    /// Standard uncertainty: scatter (or what one loading knows of itself) and the shared term in quadrature.
    pub u: f64,
    /// Half-width at 95 %; none for one loading, whose scatter is unknown.
    pub half_width: Option<f64>,
    /// n − 1; none for one loading.
    pub degrees_of_freedom: Option<f64>,
}

impl Mean {
    /// The mean of `values`, one per loading; none if there are none.
    ///
    /// `within` is the standard uncertainty that a single loading knows of itself, used where there is no second;
    /// `shared` is what all loadings have in common.
    ///
    /// ```
    /// use stages::numerics::interval::Mean;
    /// // Three loadings: half-width t₀.₉₇₅(2)·sd/√3 = 4.3027·1/√3.
    /// let mean = Mean::of_loadings(&[1.0, 2.0, 3.0], 0.0, 0.0);
    /// assert!(mean.and_then(|m| m.half_width).is_some_and(|h| (h - 2.4841).abs() < 1e-4));
    /// // One loading has no interval.
    /// assert_eq!(Mean::of_loadings(&[1.0], 0.1, 0.0).and_then(|m| m.half_width), None);
    /// ```
    pub fn of_loadings(values: &[f64], within: f64, shared: f64) -> Option<Self> {
        let n = values.len();
        if n == 0 {
            return None;
        }
        let value = mean(values);
        if n == 1 {
            let u = quadrature(within, shared);
            return Some(Self { value, u, half_width: None, degrees_of_freedom: None });
        }
        let se = covariance_of_means(values, values).sqrt();
        let dof = (n - 1) as f64;
        Some(Self {
            value,
            u: quadrature(se, shared),
            half_width: Some(half_width(se, student_t::factor_95(dof), shared)),
            degrees_of_freedom: Some(dof),
        })
    }

    /// The same errors about another value.
    #[must_use]
    pub fn about(self, value: f64) -> Self {
        Self { value, ..self }
    }

    /// As it is: value ± half-width.
    pub fn interval(self) -> Interval {
        Interval {
            value: self.value,
            u: self.u,
            low: self.half_width.map(|h| self.value - h),
            high: self.half_width.map(|h| self.value + h),
        }
    }

    /// The mean of logarithms back as the quantity itself, with first-order standard uncertainty.
    pub fn exponential(self) -> Interval {
        let value = float::exp(self.value);
        Interval {
            value,
            u: value * self.u,
            low: self.half_width.map(|h| float::exp(self.value - h)),
            high: self.half_width.map(|h| float::exp(self.value + h)),
        }
    }

    /// The mean of z = −ln(1 − X) back as X = 1 − e⁻ᶻ, with first-order standard uncertainty.
    pub fn share(self) -> Interval {
        Interval {
            value: share_of(self.value),
            u: float::exp(-self.value) * self.u,
            low: self.half_width.map(|h| share_of(self.value - h)),
            high: self.half_width.map(|h| share_of(self.value + h)),
        }
    }
}

/// Half-width at 95 % by scatter `se`, whose coverage factor alone would be `t`, and a known, shared `u`.
fn half_width(se: f64, t: f64, u: f64) -> f64 {
    let (scatter, shared) = (se * se, u * u);
    if scatter == 0.0 { normal::Z_95 * u } else { coverage_factor(scatter / (scatter + shared), t) * quadrature(se, u) }
}

/// Power of the scatter's part in [`coverage_factor`].
pub const PART_POWER: f64 = 1.4;

/// Coverage factor at 95 % where `part` of the variance is scatter with coverage factor `t`, the rest known:
/// k² = 1.96² + (t² − 1.96²)·part^1.4, and never less than what the scatter alone asks for, t²·part, so that no interval
/// narrows when another uncertainty is admitted.
///
/// Own rule. By exact calculation, for any true part and normal errors, it holds 0.950–0.979 with two loadings,
/// 0.950–0.967 with three and 0.950–0.959 with five. Where the two half-widths add in quadrature instead, that is
/// 0.950–0.987, 0.950–0.977 and 0.950–0.965; the quantile of the sum of the two distributions (Behrens and Fisher) holds
/// the same as that to 0.002. Effective degrees of freedom (Satterthwaite) hold 0.87 to 0.92 with two loadings.
///
/// ```
/// use stages::numerics::{interval::coverage_factor, normal::Z_95};
/// assert_eq!(coverage_factor(1.0, 4.303), 4.303); // all is scatter
/// assert_eq!(coverage_factor(0.0, 4.303), Z_95); // all is known
/// ```
pub fn coverage_factor(part: f64, t: f64) -> f64 {
    let z2 = normal::Z_95 * normal::Z_95;
    (z2 + (t * t - z2) * float::pow(part, PART_POWER)).max(t * t * part).sqrt()
}

/// X = 1 − e⁻ᶻ.
///
/// ```
/// assert!((stages::numerics::interval::share_of(2f64.ln()) - 0.5).abs() < 1e-15);
/// ```
pub fn share_of(z: f64) -> f64 {
    -float::expm1(-z)
}

/// z = −ln(1 − X); X < 1.
///
/// ```
/// assert!((stages::numerics::interval::z_of(0.5) - 2f64.ln()).abs() < 1e-15);
/// ```
pub fn z_of(share: f64) -> f64 {
    -float::ln1p(-share)
}

/// Arithmetic mean; NaN for none.
///
/// ```
/// assert_eq!(stages::numerics::interval::mean(&[1.0, 2.0, 6.0]), 3.0);
/// ```
pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Median, the mean of the middle two for an even number; NaN for none.
///
/// ```
/// assert_eq!(stages::numerics::interval::median(&[1.0, 2.0, 6.0, 3.0]), 2.5);
/// ```
pub fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    match sorted.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => sorted[n / 2],
        n => 0.5 * (sorted[n / 2 - 1] + sorted[n / 2]),
    }
}

/// Sample covariance over n; the variance of the mean where `a` and `b` are the same. Two or more pairs.
///
/// ```
/// // Variance 1 over n = 3.
/// assert!((stages::numerics::interval::covariance_of_means(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0]) - 1.0 / 3.0).abs() < 1e-15);
/// ```
pub fn covariance_of_means(a: &[f64], b: &[f64]) -> f64 {
    let (mean_a, mean_b, n) = (mean(a), mean(b), a.len() as f64);
    let sum: f64 = a.iter().zip(b).map(|(a, b)| (a - mean_a) * (b - mean_b)).sum();
    sum / ((n - 1.0) * n)
}

/// √(a² + b²).
///
/// ```
/// assert_eq!(stages::numerics::interval::quadrature(3.0, 4.0), 5.0);
/// ```
pub fn quadrature(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_example_of_the_gum_for_a_mean_of_repeats() {
        // Hand-worked: 1, 2, 4 have mean 7/3, variance 7/3, se = √(7/9); t₀.₉₇₅(2) = 4.302653 (table G.2).
        let mean = Mean::of_loadings(&[1.0, 2.0, 4.0], 9.0, 0.0).unwrap();
        assert!((mean.u - (7.0f64 / 9.0).sqrt()).abs() < 1e-15);
        assert!((mean.half_width.unwrap() - 4.302_653 * (7.0f64 / 9.0).sqrt()).abs() < 1e-6);
        assert_eq!(mean.degrees_of_freedom, Some(2.0));
    }

    /// The table of the analysis of variance (JCGM 100:2008, H.5, table H.9; from memory, and its printed 10.000 097 V, 57 µV
    /// and 18 µV come out): mean of five readings on each of ten days, µV above 10 V. Days are to readings what loadings
    /// are to reversals.
    #[test]
    fn ten_days_of_five_readings_as_the_gum_has_them() {
        let days = [172.0, 116.0, 13.0, 144.0, 106.0, 31.0, 60.0, 125.0, 163.0, 41.0];
        let mean = Mean::of_loadings(&days, 0.0, 0.0).unwrap();
        assert_eq!((mean.value.round(), mean.degrees_of_freedom), (97.0, Some(9.0)));
        assert_eq!(((mean.u * 10.0_f64.sqrt()).round(), mean.u.round()), (57.0, 18.0));
        // t₀.₉₇₅(9) = 2.26 (table G.2).
        assert!((mean.half_width.unwrap() / mean.u - 2.262).abs() < 5e-4);
    }

    /// Means of the cells of a balanced data set.
    fn cell_means(data: &str) -> Vec<f64> {
        let rows = data.lines().skip(60).filter_map(|line| {
            let (cell, value) = line.trim().split_once(char::is_whitespace)?;
            Some((cell.to_owned(), value.trim().parse::<f64>().ok()?))
        });
        let mut cells: Vec<(String, Vec<f64>)> = Vec::new();
        for (cell, value) in rows {
            match cells.last_mut().filter(|(last, _)| *last == cell) {
                Some((_, values)) => values.push(value),
                None => cells.push((cell, vec![value])),
            }
        }
        cells.iter().map(|(_, values)| mean(values)).collect()
    }

    /// NIST Statistical Reference Datasets, analysis of variance: the squared standard error of the mean over cells is the
    /// certified mean square between cells over the number of observations.
    #[test]
    fn scatter_between_cells_is_as_nist_certifies_it() {
        let sets = [
            (include_str!("reference/nist_anova/SmLs01.dat"), 9, 189.0, 2.1e-1),
            (include_str!("reference/nist_anova/SmLs04.dat"), 9, 189.0, 2.1e-1),
            (include_str!("reference/nist_anova/SiRstv.dat"), 5, 25.0, 1.278_656_54e-2),
            (include_str!("reference/nist_anova/AtmWtAg.dat"), 2, 48.0, 3.638_341_875e-9),
        ];
        for (data, cells, observations, between) in sets {
            let means = cell_means(data);
            assert_eq!(means.len(), cells);
            let found = covariance_of_means(&means, &means) * observations / between;
            // AtmWtAg and SmLs04 have seven constant leading digits, which leaves eight or nine of the scatter to floats.
            assert!((found - 1.0).abs() < 1e-7, "{cells} cells: {found}");
        }
    }

    /// Of normal errors with a true standard error of the scatter `a` and a known shared 1, the part of intervals that hold:
    /// the error is normal whatever the scatter found, whose distribution is gone through by quantiles.
    fn holds(n: usize, a: f64) -> f64 {
        use statrs::distribution::{ChiSquared, ContinuousCDF};
        let dof = (n - 1) as f64;
        let (t, squares) = (student_t::factor_95(dof), ChiSquared::new(dof).unwrap());
        let steps = 400;
        let one = |k: usize| {
            let se = a * (squares.inverse_cdf((k as f64 + 0.5) / f64::from(steps)) / dof).sqrt();
            let reach = half_width(se, t, 1.0) / quadrature(a, 1.0);
            2.0 * normal::cumulative(reach) - 1.0
        };
        (0..steps as usize).map(one).sum::<f64>() / f64::from(steps)
    }

    #[test]
    fn intervals_hold_whatever_part_is_scatter() {
        for (n, [least, most]) in [(2, [0.9499, 0.979]), (3, [0.9495, 0.967]), (5, [0.9499, 0.959])] {
            let found: Vec<f64> = (-9..=9).map(|k| holds(n, float::pow(10.0, f64::from(k) / 6.0))).collect();
            let (low, high) = found.iter().fold((1.0f64, 0.0f64), |(l, h), f| (l.min(*f), h.max(*f)));
            assert!(low >= least && high <= most, "{n}: {low} {high}");
        }
    }

    #[test]
    fn one_loading_claims_no_interval() {
        let mean = Mean::of_loadings(&[2.0], 0.3, 0.4).unwrap();
        assert_eq!(mean.interval(), Interval { value: 2.0, u: 0.5, low: None, high: None });
        assert_eq!(Mean::of_loadings(&[], 0.3, 0.4), None);
    }

    #[test]
    fn widening_is_the_same_as_sharing_from_the_start() {
        let values = [0.1, 0.12, 0.07];
        let (alone, both) =
            (Mean::of_loadings(&values, 0.0, 0.0).unwrap(), Mean::of_loadings(&values, 0.0, 0.02).unwrap());
        let (a, b) = (alone.exponential().widened(0.02), both.exponential());
        for (a, b) in [(a.u, b.u), (a.low.unwrap(), b.low.unwrap()), (a.high.unwrap(), b.high.unwrap())] {
            assert!((a / b - 1.0).abs() < 1e-14);
        }
    }

    #[test]
    fn a_share_goes_below_zero_and_never_reaches_one() {
        let mean = Mean { value: 0.1, u: 0.1, half_width: Some(5.0), degrees_of_freedom: Some(1.0) };
        let share = mean.share();
        assert!(share.low.unwrap() < 0.0 && share.high.unwrap() < 1.0);
        assert!((share_of(z_of(-0.2)) + 0.2).abs() < 1e-15);
    }

    #[test]
    fn medians() {
        assert_eq!(median(&[3.0, 1.0, 2.0]), 2.0);
        assert_eq!(median(&[4.0, 1.0, 2.0, 3.0]), 2.5);
    }
}

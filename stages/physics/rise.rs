//! The share of a rise of viscosity that contacts carry, from loadings that have both ends.
//!
//! Per loading D = η_hi/η_lo − 1 and N = (η_hi X_hi − η_lo X_lo)/η_lo; division by the loading's own η_lo removes
//! filling and calibration. The share is N̄/D̄ with the interval of Fieller (1954), N − θD having the scatter of its sample
//! and what the loadings share, joined as everywhere (`numerics::interval`) by their parts at the share itself. States taken as independent would give intervals 1.5 to 5 times too wide (own trials).

use crate::numerics::fieller::{self, Spread};
use crate::numerics::interval::{Mean, covariance_of_means, coverage_factor, mean};
use crate::numerics::{float, student_t};

/// One loading with both ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ends {
    /// ln(η_hi/η_lo).
    pub ln_ratio: f64,
    /// Contact share at the low end.
    pub share_low: f64,
    /// Contact share at the high end.
    pub share_high: f64,
}

impl Ends {
    /// D.
    pub fn rise(self) -> f64 {
        float::expm1(self.ln_ratio)
    }

    /// N.
    pub fn contact_rise(self) -> f64 {
        float::exp(self.ln_ratio) * self.share_high - self.share_low
    }
}

/// What the pairs say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rise {
    /// N̄/D̄.
    pub share: f64,
    /// First-order standard uncertainty of the share.
    pub u: f64,
    /// The part of it that the scatter between loadings shows (with one loading: what it knows of itself).
    pub u_scatter: f64,
    /// The part that the loadings share.
    pub u_shared: f64,
    /// The interval of the share; none where it is unbounded or there is one loading only.
    pub interval: Option<(f64, f64)>,
    /// Mean of ln(η_hi/η_lo) with its error.
    pub ln_ratio: Mean,
    /// N̄.
    pub contact_rise: f64,
    /// D̄.
    pub rise: f64,
    /// Loadings with both ends.
    pub loadings: usize,
}

impl Rise {
    /// From pairs of one sample; none if there are none.
    ///
    /// `shared` holds the variances of N̄ and D̄ that no scatter between loadings shows; `within` those of a single
    /// loading, used where there is no second.
    pub fn from_pairs(pairs: &[Ends], within: Spread, shared: Spread) -> Option<Self> {
        let column = |f: fn(Ends) -> f64| pairs.iter().map(|p| f(*p)).collect::<Vec<f64>>();
        let (n, d) = (column(Ends::contact_rise), column(Ends::rise));
        let ln_ratio = Mean::of_loadings(&column(|p| p.ln_ratio), 0.0, 0.0)?;
        let (numerator, denominator) = (mean(&n), mean(&d));
        let share = numerator / denominator;
        let scatter = if n.len() == 1 { within } else { scatter(&n, &d) };
        let interval = ln_ratio.degrees_of_freedom.and_then(|dof| {
            let factor = coverage_factor(
                part(scatter.of_difference(share), shared.of_difference(share)),
                student_t::factor_95(dof),
            );
            fieller::interval(numerator, denominator, scatter.plus(shared).times(factor * factor))
        });
        let u_of = |spread: Spread| spread.of_difference(share).max(0.0).sqrt() / denominator.abs();
        Some(Self {
            share,
            u: u_of(scatter.plus(shared)),
            u_scatter: u_of(scatter),
            u_shared: u_of(shared),
            interval,
            ln_ratio,
            contact_rise: numerator,
            rise: denominator,
            loadings: n.len(),
        })
    }
}

/// Part of the variance that is scatter; without any variance it does not matter.
fn part(scatter: f64, shared: f64) -> f64 {
    let (scatter, shared) = (scatter.max(0.0), shared.max(0.0));
    if scatter > 0.0 { scatter / (scatter + shared) } else { 0.0 }
}

/// (Co)variances of the means of N and D over loadings.
fn scatter(n: &[f64], d: &[f64]) -> Spread {
    Spread { nn: covariance_of_means(n, n), nd: covariance_of_means(n, d), dd: covariance_of_means(d, d) }
}

/// Variance of N from the standard uncertainties of the two shares, for η_hi/η_lo = `ratio`.
pub fn spread_of_shares(ratio: f64, u_low: f64, u_high: f64) -> Spread {
    let high = ratio * u_high;
    Spread { nn: high * high + u_low * u_low, ..Spread::default() }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    fn ends(ratio: f64, share_low: f64, share_high: f64) -> Ends {
        Ends { ln_ratio: ratio.ln(), share_low, share_high }
    }

    #[test]
    fn a_rise_by_contacts_alone_has_share_one() {
        // η_H = 6 at both ends, η = 10 and 20: N = 14/10 − 4/10 = 1 = D.
        let rise = Rise::from_pairs(&[ends(2.0, 0.4, 0.7), ends(2.0, 0.4, 0.7)], Spread::default(), Spread::default())
            .unwrap();
        assert!((rise.share - 1.0).abs() < 1e-14);
        assert!((rise.rise - 1.0).abs() < 1e-14);
    }

    #[test]
    fn the_interval_by_hand_for_two_loadings() {
        // N = (1, 1.2), D = (2, 2): se of N̄ = 0.1, t₀.₉₇₅(1) = 12.7062047: (1.1 ± 1.27062)/2.
        let pairs = [ends(3.0, 0.0, 1.0 / 3.0), ends(3.0, 0.0, 0.4)];
        let rise = Rise::from_pairs(&pairs, Spread::default(), Spread::default()).unwrap();
        let (low, high) = rise.interval.unwrap();
        assert!((low - (1.1 - 1.270_620_47) / 2.0).abs() < 1e-8);
        assert!((high - (1.1 + 1.270_620_47) / 2.0).abs() < 1e-8);
        assert!((rise.u - 0.05).abs() < 1e-14);
    }

    #[test]
    fn a_rise_that_may_be_none_leaves_the_share_unbounded() {
        let pairs = [ends(1.02, 0.3, 0.3), ends(0.99, 0.3, 0.3), ends(1.03, 0.3, 0.35)];
        assert_eq!(Rise::from_pairs(&pairs, Spread::default(), Spread::default()).unwrap().interval, None);
    }

    #[test]
    fn one_loading_has_a_value_and_no_interval() {
        let rise =
            Rise::from_pairs(&[ends(2.0, 0.4, 0.7)], spread_of_shares(2.0, 0.03, 0.02), Spread::default()).unwrap();
        assert_eq!(rise.interval, None);
        assert!((rise.u - 0.05).abs() < 1e-14);
    }
}

//! When enough was drawn: JCGM 101:2008, 7.9, adaptive Monte Carlo.
//!
//! After h blocks, every result of a block (the two ends of each interval and its standard uncertainty) has a mean
//! with a standard deviation s over blocks/√h. It is settled where 2s is at most δ, half a unit in the last of two
//! significant digits of u (7.9.2). The ends are those of the joined interval, whose scatter between loadings is not
//! drawn, so that δ goes by the uncertainty that is printed.

use crate::numerics::float;
use crate::numerics::interval::{Interval, covariance_of_means};

/// Half a unit in the last place of `u`, which is printed with two significant digits.
fn tolerance(u: f64) -> f64 {
    0.5 * float::pow(10.0, float::log10(u).floor() - 1.0)
}

/// Whether an interval is settled, from what every block gives for it and its joined standard uncertainty.
pub(super) fn settled(blocks: &[Interval], u: f64) -> bool {
    let of = |f: fn(&Interval) -> Option<f64>| blocks.iter().filter_map(f).collect::<Vec<f64>>();
    [of(|i| Some(i.u)), of(|i| i.low), of(|i| i.high)].iter().all(|values| steady(values, tolerance(u)))
}

fn steady(values: &[f64], tolerance: f64) -> bool {
    // An end that only some blocks have, or a u of zero, says that there is nothing to wait for.
    values.len() < 2 || !tolerance.is_finite() || 2.0 * covariance_of_means(values, values).sqrt() <= tolerance
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tolerance_of_the_supplement() {
        // JCGM 101:2008, 7.9.2, example 1: u = 0.000 35 g as 35 × 10⁻⁵ g, δ = ½ × 10⁻⁵ g (from memory).
        assert!((tolerance(0.000_35) / 0.5e-5 - 1.0).abs() < 1e-12);
        assert!((tolerance(12.0) / 0.5 - 1.0).abs() < 1e-12);
    }

    #[test]
    fn ends_that_jump_are_not_settled() {
        let at = |low: f64| Interval { value: 1.0, u: 0.1, low: Some(low), high: Some(1.2) };
        assert!(settled(&[at(0.8), at(0.8001), at(0.7999)], 0.1));
        assert!(!settled(&[at(0.8), at(0.9)], 0.1));
        assert!(settled(&[Interval { low: None, high: None, ..at(0.0) }; 2], 0.1));
    }
}

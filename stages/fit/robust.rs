//! Robust losses: their weights, and the covariance of what they estimate. No minimum is searched here.
//!
//! With u the own residual of a datum over its standard uncertainty and ψ half the derivative of the loss, the estimate
//! is that of least squares on data with ψ(u)/ψ̄′ in place of u (pseudo-values), ψ̄′ the mean of ψ′. Their variance
//! v = K² Σψ²/(n − p)/ψ̄′², K = 1 + (p/n)·var ψ′/ψ̄′², takes the place of that of the data (P. J. Huber 1981, 7.6 and
//! 7.10, from memory). Where errors are stated it is not taken below that of normal errors, so that luck makes no
//! interval short. Beside data that share errors the covariance is the sandwich H⁻¹BH⁻¹: H with the variance 1/ψ̄′ that
//! the loss works with, B with v; of errors that are shared and of solid fractions, which the loss does not touch, in
//! both the same.

use super::params::Loss;
use super::problem::Problem;
use super::solve::own_residuals;
use crate::numerics::float;
use crate::numerics::interval::mean;

/// Smallest weight: a datum may not vanish, or its variance is none.
const LEAST_WEIGHT: f64 = 1e-6;

/// What a robust loss makes of the data at its minimum.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Robust {
    /// ψ̄′.
    pub slope: f64,
    /// v, in units of the own variance.
    pub variance: f64,
    /// K²: factor of the variance where it follows from the residuals alone.
    pub correction: f64,
    /// What is added to each datum to make its pseudo-value.
    pub moved: Vec<f64>,
}

/// ψ(u)/u with the scale c.
pub(super) fn weight(u: f64, loss: Loss, c: f64) -> f64 {
    let weight = match loss {
        Loss::Squares => 1.0,
        Loss::PseudoHuber => 1.0 / (1.0 + u * u / (c * c)).sqrt(),
        Loss::Huber => (c / u.abs()).min(1.0),
    };
    weight.max(LEAST_WEIGHT)
}

/// ψ′(u).
fn slope(u: f64, loss: Loss, c: f64) -> f64 {
    match loss {
        Loss::Squares => 1.0,
        Loss::PseudoHuber => {
            let w = weight(u, loss, c);
            w * w * w
        }
        Loss::Huber => f64::from(u8::from(u.abs() <= c)),
    }
}

/// At the minimum `q` of a problem whose scales hold its weights; none where the loss follows no datum any more.
pub(super) fn robust(problem: &Problem<'_>, q: &[f64], loss: Loss, c: f64) -> Option<Robust> {
    let own = own_residuals(problem, q);
    let (n, p) = (problem.n() as f64, problem.free().len() as f64);
    let psi: Vec<f64> = own.over_u.iter().map(|u| u * weight(*u, loss, c)).collect();
    let slopes: Vec<f64> = own.over_u.iter().map(|u| slope(*u, loss, c)).collect();
    let of_slope = mean(&slopes);
    if of_slope <= 0.0 {
        return None;
    }
    let spread = mean(&slopes.iter().map(|s| (s - of_slope) * (s - of_slope)).collect::<Vec<_>>());
    let k = 1.0 + p / n * spread / (of_slope * of_slope);
    let squares: f64 = psi.iter().map(|psi| psi * psi).sum();
    let found = k * k * squares / (n - p) / (of_slope * of_slope);
    let pseudo = |i: usize| own.u[i] * (psi[i] / of_slope - own.over_u[i]);
    Some(Robust {
        slope: of_slope,
        variance: found.max(of_normal_errors(loss, c)),
        correction: k * k,
        moved: (0..problem.n()).map(pseudo).collect(),
    })
}

/// E ψ²/(E ψ′)² under normal errors of unit variance, by the midpoint rule; where Huber's ψ′ jumps it is off by a part of
/// 10⁻⁴ at the most.
fn of_normal_errors(loss: Loss, c: f64) -> f64 {
    let step = 0.001;
    let (mut squares, mut slopes) = (0.0, 0.0);
    // Beyond eight standard deviations lie 10⁻¹⁵ of all errors; both sides are the same.
    for i in 0..8000_u16 {
        let u = step * (f64::from(i) + 0.5);
        let density = step * float::exp(-0.5 * u * u) * (2.0 / std::f64::consts::PI).sqrt();
        let psi = u * weight(u, loss, c);
        squares += density * psi * psi;
        slopes += density * slope(u, loss, c);
    }
    squares / (slopes * slopes)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests;

//! What a single datum does to a fit: its residual against its own standard deviation, its leverage, and how far it
//! pulls the parameters. No model, no words.
//!
//! With a = L⁻¹eᵢ the direction in which an error of datum i moves the independent residuals e, and M = 1 − JCJᵀ what
//! the fit leaves of it, the datum's own deviation is estimated by a·e/(a·Ma), with variance σ²/(a·Ma); the ratio is
//! the test of W. Baarda (1968), for independent data the studentised residual. Without the datum the parameters
//! differ by C Jᵀa · (a·e)/(a·Ma).

use super::problem::Problem;
use super::rules::WILD;
use super::solve::Found;
use crate::numerics::least_squares::{Covariance, Residuals as _};
use crate::numerics::student_t;

/// What a datum does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Influence {
    /// Its residual over its standard deviation, at unit variance of independent residuals; none without covariance.
    pub standardised: Option<f64>,
    /// 1 − (a·Ma)/(a·a), 0 to 1.
    pub leverage: Option<f64>,
    /// Largest shift of a parameter without it, over that parameter's standard uncertainty at unit variance.
    pub pull: f64,
}

const NONE: Influence = Influence { standardised: None, leverage: None, pull: 0.0 };

/// For every datum.
pub(super) fn influences(problem: &Problem<'_>, found: &Found) -> Vec<Influence> {
    let Some(covariance) = &found.covariance else { return vec![NONE; problem.n()] };
    let mut left = vec![0.0; problem.n() + problem.shifting.len()];
    problem.residuals(&found.q, &mut left);
    (0..problem.n()).map(|i| influence(problem, found, covariance, &left, i)).collect()
}

fn influence(problem: &Problem<'_>, found: &Found, covariance: &Covariance, left: &[f64], i: usize) -> Influence {
    let rows = left.len();
    let mut a = vec![0.0; rows];
    a[i] = 1.0;
    problem.whiten(&mut a[..problem.n()]);
    let dot = |u: &[f64], v: &[f64]| u.iter().zip(v).map(|(u, v)| u * v).sum::<f64>();
    let seen: Vec<f64> = found.jacobian.chunks(rows).map(|column| dot(column, &a)).collect();
    let whole = dot(&a, &a);
    let rest = whole - covariance.variance_of(&seen);
    // A datum that the fit follows wherever it goes has no residual of its own.
    if rest <= 1e-9 * whole {
        return Influence { leverage: Some(1.0), ..NONE };
    }
    // Residuals are model less data; a datum's own deviation is data less model.
    let along = -dot(&a, left);
    let shift = |k: usize| (0..seen.len()).map(|j| covariance.element(k, j) * seen[j]).sum::<f64>() * along / rest;
    let pulls = (0..problem.free().len()).map(|k| shift(k).abs() / covariance.u(k));
    Influence {
        standardised: Some(along / rest.sqrt()),
        leverage: Some(1.0 - rest / whole),
        pull: pulls.fold(0.0, f64::max),
    }
}

/// A datum that chance does not explain beside the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Wild {
    /// Which.
    pub datum: usize,
    /// How many standard deviations it lies off, by the scatter of the others.
    pub off: f64,
    /// Whether a parameter changes by more than its standard uncertainty without it.
    pub decides: bool,
}

/// The datum furthest off, if less than [`WILD`] of fits without a wild one have one as far.
pub(super) fn wild(problem: &Problem<'_>, found: &Found) -> Option<Wild> {
    let of = |i: usize| found.influences[i].standardised.map(|w| (i, w));
    let (datum, w) = (0..problem.n()).filter_map(of).max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let (left, dof) = ((found.rss - w * w).max(0.0), found.dof - 1.0);
    if dof < 1.0 {
        return None;
    }
    let variance = if problem.knows_errors() { (left / dof).max(1.0) } else { left / dof };
    let off = w.abs() / variance.sqrt();
    let dof = dof.min(problem.data.scatter_dof);
    let chance = 2.0 * problem.n() as f64 * (1.0 - student_t::cumulative(off, dof));
    let decides = found.influences[datum].pull > variance.sqrt();
    (chance < WILD).then_some(Wild { datum, off, decides })
}

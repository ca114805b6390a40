//! Where the sum of squares, minimised over all other parameters, has risen by what an interval allows. No words.
//!
//! On a linear model the ends are those of the t interval, which is that of the F distribution for one parameter. On
//! others they may lie unevenly, or there may be none: the data bound the parameter on one side only.

use super::problem::Problem;
use crate::numerics::least_squares::{Effort, Residuals as _};
use crate::numerics::least_squares_near::minimise_near;

/// Steps to an end, then where the search stands counts: each halves what is left, at the least.
const STEPS: usize = 60;
/// Part of the rise's root to which an end is found: far below what is printed.
const NEAR: f64 = 1e-7;

/// A profile: the minimum from which it starts.
pub(super) struct Profile<'a, 'b> {
    /// With the parameter free or on a bound.
    pub problem: &'b Problem<'a>,
    /// Which parameter.
    pub k: usize,
    /// All parameters at the minimum.
    pub values: &'b [f64],
    /// Shifts there.
    pub shifts: &'b [f64],
    /// Sum of squares there.
    pub rss: f64,
}

impl Profile<'_, '_> {
    /// Value of the parameter where the sum of squares has risen by `target`², looking first at `step` (in
    /// coordinates, its sign the direction). None if it has not until the parameter's bound.
    pub(super) fn end(&self, step: f64, target: f64) -> Option<f64> {
        let from = self.problem.coordinate(self.k, self.values[self.k]);
        let parameter = self.problem.parameter(self.k);
        let bound = self.problem.coordinate(self.k, if step < 0.0 { parameter.low } else { parameter.high });
        let within = |q: f64| if step < 0.0 { q.max(bound) } else { q.min(bound) };
        let mut warm = self.coordinates_beside();
        let (mut inner, mut outer) = ((from, 0.0), None::<(f64, f64)>);
        let mut q = within(from + step);
        for at in 0..STEPS {
            let (root, solution) = self.root_of_rise(q, &warm);
            if (root - target).abs() <= NEAR * target {
                break;
            }
            if root > target {
                outer = Some((q, root));
            } else {
                (inner, warm) = ((q, root), solution);
                if q == bound {
                    return None;
                }
            }
            q = next(from, inner, outer, target, at).map_or(q, within);
            if outer.is_some_and(|o| (o.0 - inner.0).abs() <= 1e-12 * (1.0 + q.abs())) {
                break;
            }
        }
        Some(self.problem.value(self.k, q))
    }

    /// Coordinates of all other free parameters and the shifts.
    fn coordinates_beside(&self) -> Vec<f64> {
        self.problem.holding(self.k, self.values[self.k]).coordinates(self.values, self.shifts)
    }

    /// Root of the rise with the parameter held at `q`, infinite where the model cannot take it; and where the
    /// others end.
    fn root_of_rise(&self, q: f64, start: &[f64]) -> (f64, Vec<f64>) {
        let held = self.problem.holding(self.k, self.problem.value(self.k, q));
        if start.is_empty() {
            let mut left = vec![0.0; held.len()];
            held.residuals(&[], &mut left);
            let rss: f64 = left.iter().map(|r| r * r).sum();
            return (root(rss - self.rss), Vec::new());
        }
        let effort = Effort { polish: 10, ..Effort::default() };
        let solution = minimise_near(&held, start, effort);
        (root(solution.sum_of_squares - self.rss), solution.parameters)
    }
}

fn root(rise: f64) -> f64 {
    if rise.is_nan() { f64::INFINITY } else { rise.max(0.0).sqrt() }
}

/// Where to look next: outwards in proportion while no end is passed; then between, by the line through both roots,
/// every third time in the middle, so that no side stays for ever.
fn next(from: f64, inner: (f64, f64), outer: Option<(f64, f64)>, target: f64, at: usize) -> Option<f64> {
    let Some(outer) = outer else {
        let by = if inner.1 > 0.0 { (target / inner.1).clamp(1.05, 3.0) } else { 3.0 };
        return Some(from + (inner.0 - from) * by);
    };
    if !outer.1.is_finite() || at % 3 == 2 {
        return Some(0.5 * (inner.0 + outer.0));
    }
    Some(inner.0 + (outer.0 - inner.0) * (target - inner.1) / (outer.1 - inner.1))
}

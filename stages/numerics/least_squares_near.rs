//! Nonlinear least squares from a start that lies near the minimum, as when a fit is made once more with other weights,
//! other draws or one parameter held. It knows no model; far starts belong to `least_squares`.
//!
//! Undamped Gauss–Newton steps by orthogonalisation of derivatives and residuals together (modified Gram–Schmidt, as
//! stable as Householder's for least squares when the residuals are one more column: Å. Björck 1967), in one workspace.
//! As soon as the sum of squares does not fall, or the derivatives have not full rank, the damped iteration takes over
//! from the start: the minimum is the same, only the way there is shorter.

use super::least_squares::{Effort, Ending, INDEPENDENT, Residuals, Solution, minimise};

/// Undamped steps before the damped iteration takes over. Near a minimum each brings a digit or more.
const STEPS: usize = 15;
/// Rise of the sum of squares that is rounding, as for the last steps of [`minimise`].
const ROUNDING: f64 = 1e-11;

/// Where a minimisation from near by ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Minimum {
    /// The parameters.
    pub parameters: Vec<f64>,
    /// Σ r² there; NaN after misuse.
    pub sum_of_squares: f64,
    /// How it ended.
    pub ending: Ending,
    /// Evaluations of the residuals.
    pub evaluations: usize,
}

/// As [`minimise`], for a start near the minimum and without covariance; stops by the same tolerance on the sum of
/// squares, below which both what a step promises and what it brings must lie.
///
/// Never panics; what cannot be fitted ends as there.
pub fn minimise_near(model: &impl Residuals, start: &[f64], effort: Effort) -> Minimum {
    undamped(model, start, effort.tolerance).unwrap_or_else(|| {
        let Solution { parameters, sum_of_squares, ending, evaluations, .. } = minimise(model, start, effort);
        Minimum { parameters, sum_of_squares, ending, evaluations }
    })
}

/// The minimum by undamped steps; none where they do not lead there.
fn undamped(model: &impl Residuals, start: &[f64], tolerance: f64) -> Option<Minimum> {
    let (rows, count) = (model.len(), start.len());
    if count == 0 || rows < count {
        return None;
    }
    let mut work = Work { rows, columns: vec![0.0; rows * (count + 1)], upper: vec![0.0; count * (count + 1)] };
    let mut p = start.to_vec();
    let mut squares = work.evaluate(model, &p, true)?;
    for evaluations in 2..STEPS + 2 {
        let last = work.orthogonalise()? <= tolerance * squares;
        work.step(&mut p);
        let new = work.evaluate(model, &p, !last).filter(|new| *new <= squares * (1.0 + ROUNDING))?;
        let brought = squares - new;
        squares = new;
        match (last, brought <= tolerance * squares) {
            (true, true) => {
                let ending = Ending::Converged;
                return Some(Minimum { parameters: p, sum_of_squares: squares, ending, evaluations });
            }
            // More than was promised: not as near as it seemed.
            (true, false) => return None,
            (false, _) => {}
        }
    }
    None
}

/// Derivatives, column after column, then the residuals; and R of their orthogonalisation, row after row.
struct Work {
    rows: usize,
    columns: Vec<f64>,
    upper: Vec<f64>,
}

impl Work {
    /// Residuals at `p`, and derivatives where asked for; gives the sum of squares, none unless it is finite.
    fn evaluate(&mut self, model: &impl Residuals, p: &[f64], derivatives: bool) -> Option<f64> {
        let (jacobian, residuals) = self.columns.split_at_mut(self.rows * p.len());
        if derivatives {
            // A derivative that is not finite makes its column's norm so, and the orthogonalisation refuses it.
            model.both(p, residuals, jacobian);
        } else {
            model.residuals(p, residuals);
        }
        let squares = dot(residuals, residuals);
        squares.is_finite().then_some(squares)
    }

    /// Leaves R and, as its last column, the residuals along each direction; gives by how much the sum of squares
    /// would fall if the model were linear. None where a column depends on those before it.
    fn orthogonalise(&mut self) -> Option<f64> {
        let (rows, width) = (self.rows, self.columns.len() / self.rows);
        let mut promised = 0.0;
        for k in 0..width - 1 {
            let (before, after) = self.columns.split_at_mut((k + 1) * rows);
            let own = &mut before[k * rows..];
            let norm = dot(own, own).sqrt();
            let above: f64 = (0..k).map(|i| self.upper[i * width + k] * self.upper[i * width + k]).sum();
            let whole = (above + norm * norm).sqrt();
            // Not finite is refused as well.
            if !(norm > INDEPENDENT * whole && whole < f64::INFINITY) {
                return None;
            }
            let inverse = 1.0 / norm;
            own.iter_mut().for_each(|v| *v *= inverse);
            self.upper[k * width + k] = norm;
            for (j, other) in after.chunks_exact_mut(rows).enumerate() {
                let along = dot(own, other);
                other.iter_mut().zip(&*own).for_each(|(o, q)| *o -= along * q);
                self.upper[k * width + k + 1 + j] = along;
            }
            let of_residuals = self.upper[k * width + width - 1];
            promised += of_residuals * of_residuals;
        }
        Some(promised)
    }

    /// Takes the step R⁻¹(residuals along each direction) off `p`.
    fn step(&mut self, p: &mut [f64]) {
        let width = p.len() + 1;
        for k in (0..p.len()).rev() {
            let row = &self.upper[k * width..(k + 1) * width];
            // Steps already found stand in the last column of their rows.
            let known: f64 = (k + 1..p.len()).map(|j| row[j] * self.upper[j * width + p.len()]).sum();
            let step = (row[p.len()] - known) / row[k];
            self.upper[k * width + p.len()] = step;
            p[k] -= step;
        }
    }
}

/// Σ a·b in four parts, so that one sum need not wait for the other; the order is fixed.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (a, b) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest: f64 = a.remainder().iter().zip(b.remainder()).map(|(a, b)| a * b).sum();
    let mut parts = [0.0; 4];
    for (a, b) in a.zip(b) {
        for (part, (a, b)) in parts.iter_mut().zip(a.iter().zip(b)) {
            *part += a * b;
        }
    }
    (parts[0] + parts[1]) + (parts[2] + parts[3]) + rest
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;
    use std::cell::Cell;

    /// b₀ e^(b₁x) on points that do not lie on it; counts what is asked.
    struct Growth(Vec<(f64, f64)>, Cell<usize>);

    impl Growth {
        fn new(off: f64) -> Self {
            let y = |x: f64| 3.0 * (0.3 * x).exp() + off * (5.0 * x).sin();
            Self((0..11).map(|i| 0.5 * f64::from(i)).map(|x| (x, y(x))).collect(), Cell::new(0))
        }
    }

    impl Residuals for Growth {
        fn len(&self) -> usize {
            self.0.len()
        }

        fn residuals(&self, b: &[f64], out: &mut [f64]) {
            self.1.set(self.1.get() + 1);
            out.iter_mut().zip(&self.0).for_each(|(r, (x, y))| *r = b[0] * (b[1] * x).exp() - y);
        }

        fn jacobian(&self, b: &[f64], out: &mut [f64]) {
            for (i, (x, _)) in self.0.iter().enumerate() {
                (out[i], out[self.0.len() + i]) = ((b[1] * x).exp(), b[0] * x * (b[1] * x).exp());
            }
        }
    }

    #[test]
    fn ends_where_the_damped_iteration_ends_and_sooner() {
        let model = Growth::new(0.4);
        let damped = minimise(&model, &[2.8, 0.32], Effort::default());
        model.1.set(0);
        let near = minimise_near(&model, &[2.8, 0.32], Effort::default());
        assert!(near.ending.converged() && model.1.get() == near.evaluations && near.evaluations < 14, "{near:?}");
        for k in 0..2 {
            assert!((near.parameters[k] / damped.parameters[k] - 1.0).abs() < 1e-9, "{near:?} {damped:?}");
        }
        assert!((near.sum_of_squares / damped.sum_of_squares - 1.0).abs() < 1e-13);
    }

    #[test]
    fn a_start_from_which_undamped_steps_fail_is_left_to_the_damped_iteration() {
        let model = Growth::new(0.4);
        let far = [0.01, 4.0];
        assert!(undamped(&model, &far, 1e-12).is_none(), "the start no longer provokes the case");
        let (near, damped) =
            (minimise_near(&model, &far, Effort::default()), minimise(&model, &far, Effort::default()));
        assert_eq!((near.parameters, near.sum_of_squares), (damped.parameters, damped.sum_of_squares));
    }

    #[test]
    fn what_cannot_be_fitted_ends_as_ever() {
        let mut model = Growth::new(0.4);
        model.0.truncate(1);
        assert_eq!(minimise_near(&model, &[1.0, 0.1], Effort::default()).ending, Ending::Misuse);
        let mut model = Growth::new(0.4);
        model.0[3].1 = f64::NAN;
        assert_eq!(minimise_near(&model, &[1.0, 0.1], Effort::default()).ending, Ending::Misuse);
    }

    #[test]
    fn sums_of_products_keep_every_element() {
        for n in 0..13_u8 {
            let v: Vec<f64> = (0..n).map(|i| f64::from(i + 1)).collect();
            let n = f64::from(n);
            assert_eq!(dot(&v, &v), n * (n + 1.0) * (2.0 * n + 1.0) / 6.0);
        }
    }
}

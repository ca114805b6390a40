//! Nonlinear least squares: minimises ½ Σ r(p)² from one start, and says how it ended. It knows no model, no
//! prior and no data; those who fit write residuals and derivatives, already divided by their uncertainties.
//!
//! # Method
//! Levenberg–Marquardt with scaled variables (Moré 1978, as in MINPACK), then undamped Gauss–Newton steps on the
//! column-scaled QR. The damped iteration stops when the sum of squares no longer falls, which is at about
//! √ε in the parameters (7 digits on the sets below); the undamped steps bring the rest, linearly in the misfit.
//! The covariance comes from R of the scaled QR, never from JᵀJ, whose condition number is squared.
//!
//! Bounds are not known here: a caller maps a bounded parameter to a free one.
//!
//! # Source
//! J. J. Moré, The Levenberg–Marquardt algorithm: implementation and theory, Lecture Notes in Mathematics 630
//! (1978) 105–116. Checked against all nonlinear and nine linear sets of NIST StRD: `reference/nist.md`.

use super::compensated::sum_of_products;
use super::float::ln;
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt, TerminationReason};
use nalgebra::{DMatrix, DVector, Dyn, Owned};

/// Residuals of a model and their derivatives, both dimensionless (divided by the standard uncertainty).
///
/// ```
/// use stages::numerics::least_squares::Residuals;
/// /// y = p·x through (1, 2) and (2, 4), unit uncertainty.
/// struct Through;
/// impl Residuals for Through {
///     fn len(&self) -> usize {
///         2
///     }
///     fn residuals(&self, p: &[f64], out: &mut [f64]) {
///         out.copy_from_slice(&[p[0] - 2.0, 2.0 * p[0] - 4.0]);
///     }
///     fn jacobian(&self, _: &[f64], out: &mut [f64]) {
///         out.copy_from_slice(&[1.0, 2.0]);
///     }
/// }
/// use stages::numerics::least_squares::{Effort, minimise};
/// use stages::numerics::least_squares_near::minimise_near;
/// let fit = minimise(&Through, &[0.5], Effort::default());
/// assert!(fit.ending.converged() && (fit.parameters[0] - 2.0).abs() < 1e-12);
/// assert!((minimise_near(&Through, &[1.9], Effort::default()).parameters[0] - 2.0).abs() < 1e-12);
/// // u(p) = 1/√(1² + 2²).
/// assert!(fit.covariance.is_some_and(|c| (c.u(0) - 0.2f64.sqrt()).abs() < 1e-12));
/// ```
pub trait Residuals {
    /// Number of residuals.
    fn len(&self) -> usize;

    /// Whether there are none.
    fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Writes the residuals at `p` into `out`, which has [`Self::len`] elements.
    fn residuals(&self, p: &[f64], out: &mut [f64]);

    /// Writes the derivatives at `p` into `out`, column after column:
    /// `out[k * len + i]` is the derivative of residual i with respect to parameter k.
    fn jacobian(&self, p: &[f64], out: &mut [f64]);

    /// Writes both; a model that shares work between them does it once.
    fn both(&self, p: &[f64], residuals: &mut [f64], jacobian: &mut [f64]) {
        self.residuals(p, residuals);
        self.jacobian(p, jacobian);
    }
}

/// How the minimisation ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// Sum of squares or parameters no longer change, or the residuals are orthogonal to the derivatives.
    Converged,
    /// The limit of evaluations was reached; the parameters are the best so far.
    Limit,
    /// Nothing to fit: no parameters, fewer residuals than parameters, or no finite residual or derivative.
    Misuse,
}

impl Ending {
    /// Whether the minimiser found a minimum.
    pub fn converged(self) -> bool {
        self == Self::Converged
    }
}

/// When to stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effort {
    /// Relative change of the sum of squares and of the parameters below which the damped iteration stops.
    pub tolerance: f64,
    /// At most this many evaluations per parameter (and one).
    pub patience: usize,
    /// At most this many undamped steps afterwards.
    pub polish: usize,
}

impl Default for Effort {
    /// Everything that double precision gives. MGH09 from its far start needs 524 evaluations; the polish is
    /// linear, so it may take dozens of steps where the misfit is large.
    fn default() -> Self {
        Self { tolerance: 30.0 * f64::EPSILON, patience: 200, polish: 60 }
    }
}

/// Where the minimisation ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// The parameters.
    pub parameters: Vec<f64>,
    /// Σ r² there; NaN after misuse.
    pub sum_of_squares: f64,
    /// (JᵀJ)⁻¹ there; none where a combination of parameters does not move the residuals.
    pub covariance: Option<Covariance>,
    /// How it ended.
    pub ending: Ending,
    /// Residual evaluations of the damped iteration.
    pub evaluations: usize,
}

/// (JᵀJ)⁻¹: the covariance of the parameters if the residuals have unit variance.
///
/// ```
/// use stages::numerics::least_squares::Covariance;
/// // Two parameters that move one residual each, by 2 and by 4.
/// let covariance = Covariance::from_jacobian(&[2.0, 0.0, 0.0, 4.0], 2);
/// assert!(covariance.is_some_and(|c| (c.u(0), c.element(0, 1), c.variance_of(&[2.0, 0.0])) == (0.5, 0.0, 1.0)));
/// // Two that do the same cannot be told apart.
/// assert_eq!(Covariance::from_jacobian(&[1.0, 1.0, 1.0, 1.0], 2), None);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Covariance {
    matrix: DMatrix<f64>,
    ln_determinant: f64,
}

/// Part of the longest that each diagonal of R must have, columns scaled to length 1; below it parameters are not told
/// apart. At a condition number of 10¹³ a thousandth of the covariance is left. Empirical.
pub const INDEPENDENT: f64 = 1e-13;

impl Covariance {
    /// From derivatives, column after column, of `rows` residuals with respect to each parameter.
    ///
    /// None where J has not full column rank (see [`INDEPENDENT`]) or is not finite.
    pub fn from_jacobian(jacobian: &[f64], rows: usize) -> Option<Self> {
        let columns = jacobian.len().checked_div(rows)?;
        Self::from_matrix(DMatrix::from_column_slice(rows, columns, jacobian))
    }

    fn from_matrix(mut j: DMatrix<f64>) -> Option<Self> {
        if j.nrows() < j.ncols() || j.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let scale = scale_columns(&mut j);
        let r = j.qr().r();
        let diagonal: Vec<f64> = r.diagonal().iter().map(|v| v.abs()).collect();
        let largest = diagonal.iter().copied().fold(0.0, f64::max);
        if diagonal.iter().any(|d| *d <= INDEPENDENT * largest) {
            return None;
        }
        let mut inverse = r.solve_upper_triangular(&DMatrix::identity(scale.len(), scale.len()))?;
        for (k, s) in scale.iter().enumerate() {
            inverse.row_mut(k).unscale_mut(*s);
        }
        let ln_determinant = -2.0 * diagonal.iter().zip(&scale).map(|(d, s)| ln(d * s)).sum::<f64>();
        Some(Self { matrix: &inverse * inverse.transpose(), ln_determinant })
    }

    /// Covariance of parameters `j` and `k` at unit variance of the residuals.
    pub fn element(&self, j: usize, k: usize) -> f64 {
        self.matrix[(j, k)]
    }

    /// Number of parameters.
    pub fn parameters(&self) -> usize {
        self.matrix.nrows()
    }

    /// Standard uncertainty of parameter `k` at unit variance of the residuals.
    pub fn u(&self, k: usize) -> f64 {
        self.element(k, k).sqrt()
    }

    /// Variance of a function with these derivatives (JCGM 100, 5.2.2), at unit variance of the residuals.
    pub fn variance_of(&self, gradient: &[f64]) -> f64 {
        let pairs = gradient.iter().enumerate();
        pairs.map(|(j, a)| gradient.iter().enumerate().map(|(k, b)| a * b * self.element(j, k)).sum::<f64>()).sum()
    }

    /// ln of its determinant; that of JᵀJ is the negative.
    pub fn ln_determinant(&self) -> f64 {
        self.ln_determinant
    }
}

/// Divides each column by its norm and gives the norms; a column of zeros keeps a norm that is only positive.
fn scale_columns(j: &mut DMatrix<f64>) -> Vec<f64> {
    let scale: Vec<f64> = (0..j.ncols()).map(|k| j.column(k).norm().max(f64::MIN_POSITIVE)).collect();
    for (k, s) in scale.iter().enumerate() {
        j.column_mut(k).unscale_mut(*s);
    }
    scale
}

/// Corrections of a linear solution at most; each brings as many digits as the first solution had.
const REFINEMENTS: usize = 12;

/// Put in place of residuals that are not finite, so that the step is refused and a shorter one tried.
const REFUSED: f64 = 1e100;

struct Target<'a, R: Residuals> {
    model: &'a R,
    p: DVector<f64>,
}

impl<R: Residuals> Target<'_, R> {
    fn raw_residuals(&self) -> DVector<f64> {
        let mut r = DVector::zeros(self.model.len());
        self.model.residuals(self.p.as_slice(), r.as_mut_slice());
        r
    }

    fn raw_jacobian(&self) -> DMatrix<f64> {
        let mut j = DMatrix::zeros(self.model.len(), self.p.len());
        self.model.jacobian(self.p.as_slice(), j.as_mut_slice());
        j
    }

    fn usable(&self) -> bool {
        let enough = !self.p.is_empty() && self.model.len() >= self.p.len();
        enough && self.raw_residuals().iter().chain(self.raw_jacobian().iter()).all(|v| v.is_finite())
    }
}

impl<R: Residuals> LeastSquaresProblem<f64, Dyn, Dyn> for Target<'_, R> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, p: &DVector<f64>) {
        self.p.copy_from(p);
    }

    fn params(&self) -> DVector<f64> {
        self.p.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let r = self.raw_residuals();
        Some(if r.iter().all(|v| v.is_finite()) { r } else { DVector::repeat(r.len(), REFUSED) })
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let j = self.raw_jacobian();
        j.iter().all(|v| v.is_finite()).then_some(j)
    }
}

/// Ratio of the largest to the smallest singular value of derivatives, column after column, whose columns are scaled
/// to length 1 first; 1 where parameters are told apart as well as can be, 10⁸ where only half the digits are left.
///
/// None where there are none, or where one is not finite.
///
/// ```
/// use stages::numerics::least_squares::condition_number;
/// assert!(condition_number(&[2.0, 0.0, 0.0, 4.0], 2).is_some_and(|c| (c - 1.0).abs() < 1e-15));
/// ```
pub fn condition_number(jacobian: &[f64], rows: usize) -> Option<f64> {
    let columns = jacobian.len().checked_div(rows)?;
    let mut j = DMatrix::from_column_slice(rows, columns, jacobian);
    if columns == 0 || rows < columns || j.iter().any(|v| !v.is_finite()) {
        return None;
    }
    scale_columns(&mut j);
    let values = j.qr().r().singular_values();
    let (largest, smallest) = values.iter().fold((0.0, f64::INFINITY), |(a, b), v| (v.max(a), v.min(b)));
    Some(largest / smallest)
}

/// Linear least squares: x that minimises |A·x − b|², A given column after column.
///
/// One QR of the scaled columns, then corrections of x and of the residuals r together, from r + Ax = b and Aᵀr = 0
/// with their misfits in twice the precision (Å. Björck 1967): as many digits as the floats of A and b determine,
/// while the condition number of A stays below some 10¹².
///
/// None where A has not full column rank.
///
/// ```
/// use stages::numerics::least_squares::linear;
/// // Level and slope of 1, 3, 5 at 0, 1, 2.
/// let x = linear(&[1.0, 1.0, 1.0, 0.0, 1.0, 2.0], &[1.0, 3.0, 5.0]);
/// assert!(x.is_some_and(|x| (x[0] - 1.0).abs() < 1e-15 && (x[1] - 2.0).abs() < 1e-15));
/// ```
pub fn linear(columns: &[f64], data: &[f64]) -> Option<Vec<f64>> {
    let (rows, count) = (data.len(), columns.len().checked_div(data.len())?);
    let mut a = DMatrix::from_column_slice(rows, count, columns);
    let scale = scale_columns(&mut a);
    let qr = a.qr();
    let (q, r) = (qr.q(), qr.r());
    // The correction (of the residuals, of x) that takes both misfits away.
    let correction = |of_data: &DVector<f64>, of_columns: &DVector<f64>| {
        let along = r.tr_solve_upper_triangular(of_columns)?;
        let fitted = q.transpose() * of_data - along;
        Some((of_data - &q * &fitted, r.solve_upper_triangular(&fitted)?))
    };
    let (mut left, mut x) = (DVector::zeros(rows), vec![0.0; count]);
    let mut last = f64::INFINITY;
    for _ in 0..REFINEMENTS {
        let of_row = |i: usize| {
            let terms = (0..count).map(|k| (-columns[k * rows + i], x[k])).chain(std::iter::once((-1.0, left[i])));
            sum_of_products(data[i], terms)
        };
        let of_column =
            |k: usize| -sum_of_products(0.0, (0..rows).map(|i| (columns[k * rows + i], left[i]))) / scale[k];
        let (by_left, by_x) =
            correction(&DVector::from_fn(rows, |i, _| of_row(i)), &DVector::from_fn(count, |k, _| of_column(k)))?;
        let length = by_x.norm();
        // What no longer shrinks is rounding, or A has no digits to give.
        if !length.is_finite() || length > 0.5 * last {
            break;
        }
        left += by_left;
        x.iter_mut().enumerate().for_each(|(k, x)| *x += by_x[k] / scale[k]);
        last = length;
    }
    last.is_finite().then_some(x)
}

/// Minimises the sum of squares from `start`.
///
/// Never panics; what cannot be fitted ends as [`Ending::Misuse`] with the start as parameters.
pub fn minimise(model: &impl Residuals, start: &[f64], effort: Effort) -> Solution {
    let target = Target { model, p: DVector::from_column_slice(start) };
    if !target.usable() {
        return Solution {
            parameters: start.to_vec(),
            sum_of_squares: f64::NAN,
            covariance: None,
            ending: Ending::Misuse,
            evaluations: 0,
        };
    }
    let solver = LevenbergMarquardt::new()
        .with_ftol(effort.tolerance)
        .with_xtol(effort.tolerance)
        .with_gtol(effort.tolerance)
        .with_patience(effort.patience.max(1));
    let (mut target, report) = solver.minimize(target);
    let mut length = f64::INFINITY;
    for _ in 0..effort.polish {
        let Some(step) = polish(&mut target, length) else { break };
        length = step;
    }
    Solution {
        sum_of_squares: target.raw_residuals().norm_squared(),
        covariance: Covariance::from_matrix(target.raw_jacobian()),
        parameters: target.p.as_slice().to_vec(),
        ending: ending(&report.termination),
        evaluations: report.number_of_evaluations,
    }
}

/// A tolerance below what the floats allow is no failure of the caller: the minimum is there.
fn ending(reason: &TerminationReason) -> Ending {
    match reason {
        TerminationReason::LostPatience => Ending::Limit,
        TerminationReason::NoImprovementPossible(_) => Ending::Converged,
        other if other.was_successful() => Ending::Converged,
        _ => Ending::Misuse,
    }
}

/// One undamped Gauss–Newton step; gives its length in scaled parameters, none where there is none to take or none
/// left.
fn polish<R: Residuals>(target: &mut Target<'_, R>, last: f64) -> Option<f64> {
    let (r, mut j) = (target.raw_residuals(), target.raw_jacobian());
    if j.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let scale = scale_columns(&mut j);
    let qr = j.qr();
    let step = qr.r().solve_upper_triangular(&(qr.q().transpose() * &r))?;
    let old = target.p.clone();
    for (k, s) in scale.iter().enumerate() {
        target.p[k] -= step[k] / s;
    }
    let (before, new) = (r.norm_squared(), target.raw_residuals().norm_squared());
    // The last digits of the sum of squares are rounding: a step that keeps it within 10⁻¹¹ is still taken, and
    // where residuals are a millionth of the data (Lanczos2) within 10⁻⁹ as long as steps become shorter.
    let length = step.norm();
    let allowed = if length < last { 1e-9 } else { 1e-11 };
    if new.is_nan() || new > before * (1.0 + allowed) {
        target.p = old;
        return None;
    }
    let moved = (0..old.len()).any(|k| (target.p[k] - old[k]).abs() > 1e-12 * old[k].abs());
    moved.then_some(length)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    /// A model with its derivatives: value first, then one derivative per parameter.
    type Model = fn(&[f64], f64) -> Vec<f64>;

    struct Data {
        model: Model,
        xy: Vec<(f64, f64)>,
    }

    impl Residuals for Data {
        fn len(&self) -> usize {
            self.xy.len()
        }

        fn residuals(&self, p: &[f64], out: &mut [f64]) {
            for (r, (x, y)) in out.iter_mut().zip(&self.xy) {
                *r = (self.model)(p, *x)[0] - y;
            }
        }

        fn jacobian(&self, p: &[f64], out: &mut [f64]) {
            for (i, (x, _)) in self.xy.iter().enumerate() {
                let d = (self.model)(p, *x);
                (0..p.len()).for_each(|k| out[k * self.xy.len() + i] = d[k + 1]);
            }
        }
    }

    fn growth(b: &[f64], x: f64) -> Vec<f64> {
        vec![b[0] * (b[1] * x).exp(), (b[1] * x).exp(), b[0] * x * (b[1] * x).exp()]
    }

    #[test]
    fn parameters_that_the_data_cannot_tell_apart_have_no_covariance() {
        let twins: Model = |b, x| vec![(b[0] + b[1]) * x, x, x];
        let fit = minimise(
            &Data { model: twins, xy: vec![(1.0, 2.0), (2.0, 4.1), (3.0, 6.0)] },
            &[0.5, 0.5],
            Effort::default(),
        );
        assert_eq!(fit.covariance, None);
    }

    #[test]
    fn too_little_or_broken_data_is_misuse_and_keeps_the_start() {
        for xy in [vec![(1.0, 2.0)], vec![(1.0, f64::NAN), (2.0, 1.0), (3.0, 1.0)], vec![]] {
            let fit = minimise(&Data { model: growth, xy }, &[1.0, 0.1], Effort::default());
            assert_eq!((fit.ending, fit.parameters), (Ending::Misuse, vec![1.0, 0.1]));
        }
    }

    #[test]
    fn running_out_of_patience_is_said() {
        let xy = (0..9).map(f64::from).map(|x| (x, 3.0 * (0.7 * x).exp() + x.sin())).collect();
        let effort = Effort { patience: 1, polish: 0, ..Effort::default() };
        assert_eq!(minimise(&Data { model: growth, xy }, &[100.0, -0.5], effort).ending, Ending::Limit);
    }

    /// b₁√(x − b₀): a step past the smallest x leaves the domain.
    struct Root {
        left_the_domain: std::cell::Cell<bool>,
        data: Data,
    }

    impl Residuals for Root {
        fn len(&self) -> usize {
            self.data.len()
        }

        fn residuals(&self, p: &[f64], out: &mut [f64]) {
            self.data.residuals(p, out);
            self.left_the_domain.set(self.left_the_domain.get() || out.iter().any(|r| r.is_nan()));
        }

        fn jacobian(&self, p: &[f64], out: &mut [f64]) {
            self.data.jacobian(p, out);
        }
    }

    #[test]
    fn a_step_out_of_the_domain_is_refused_not_fatal() {
        let model: Model = |b, x| {
            let root = (x - b[0]).sqrt();
            vec![b[1] * root, -0.5 * b[1] / root, root]
        };
        let xy = (0..20).map(|i| 1.0 + f64::from(i)).map(|x| (x, 2.0 * (x - 0.9).sqrt())).collect();
        let root = Root { left_the_domain: false.into(), data: Data { model, xy } };
        let fit = minimise(&root, &[-50.0, 1.0], Effort::default());
        assert!(root.left_the_domain.get(), "the start no longer provokes the case");
        assert!(fit.ending.converged() && (fit.parameters[0] - 0.9).abs() < 1e-9, "{fit:?}");
    }

    #[test]
    fn a_linear_problem_is_solved_in_one_go() {
        // The line through (0, 1), (1, 3), (2, 2): level 1.5, slope 0.5.
        let x = linear(&[1.0, 1.0, 1.0, 0.0, 1.0, 2.0], &[1.0, 3.0, 2.0]).unwrap();
        assert!((x[0] - 1.5).abs() < 1e-14 && (x[1] - 0.5).abs() < 1e-14, "{x:?}");
    }

    #[test]
    fn condition_numbers_by_hand() {
        // Columns (1, 0) and (1, 1)/√2 have the cosine c = 1/√2: √[(1 + c)/(1 − c)] = 1 + √2, whatever their lengths.
        let got = condition_number(&[5.0, 0.0, 0.1, 0.1], 2).unwrap();
        assert!((got - 1.0 - 2f64.sqrt()).abs() < 1e-13, "{got}");
        assert_eq!(condition_number(&[1.0, f64::NAN], 2), None);
    }

    #[test]
    fn determinant_and_variance_agree_with_a_hand_calculation() {
        // J = [[1, 0], [0, 2], [0, 0]]: JᵀJ = diag(1, 4).
        let covariance = Covariance::from_jacobian(&[1.0, 0.0, 0.0, 0.0, 2.0, 0.0], 3).unwrap();
        assert!((covariance.ln_determinant() + 4.0_f64.ln()).abs() < 1e-14);
        assert!((covariance.variance_of(&[1.0, 2.0]) - 2.0).abs() < 1e-14);
    }
}

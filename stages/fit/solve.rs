//! Generalised least squares of one model on one set of data: starts, bounds, robust loss, and what comes of it.
//! What may be said of a parameter is decided in `known`, not here.
//!
//! - Every start that the model guesses from the data is tried; the smallest sum of squares counts.
//! - A parameter that leaves its bounds is held on the bound and the others are fitted again, until no free one is
//!   outside and the sum of squares falls towards the inside for none that is held (an active set): the other
//!   parameters are those of the bounded minimum, not of a penalty or of a change of variable that bends near it.
//! - A robust loss is minimised by weights (P. J. Huber 1964), with the effective variance of the abscissa in the
//!   same rounds: both change V, see `data::Scale`. Weights act on what is a datum's own, so that a wild datum is
//!   not taken for an error that others share.
//!
//! S has n − p degrees of freedom: the shifts bring as many residuals as unknowns. The covariance of the parameters
//! is (JᵀJ)⁻¹ times max(1, S/(n − p)) (Birge 1932); where V is not known, times S/(n − p). That of a robust loss is in
//! `robust`: from there on the fit is that of least squares on its pseudo-values.

use super::data::{Data, Scale};
use super::influence::{Influence, influences};
use super::params::Loss;
use super::problem::Problem;
use super::remark::Remark;
use super::result::Ending;
use super::robust::{Robust, robust, weight};
use super::rules::LEAST_MOVE;
use crate::numerics::interval::median;
use crate::numerics::least_squares::{Covariance, Effort, Residuals as _, Solution, condition_number, minimise};
use crate::numerics::normal::MEDIAN_TO_SIGMA;
use crate::numerics::{normal, student_t};
use crate::physics::models::{Model, Point};

/// Rounds of weights and effective variance; they settle in about ten.
const ROUNDS: usize = 50;
/// Change of a scale below which the rounds have settled: far below what is printed.
const SETTLED: f64 = 1e-7;
/// Two starts agree where their sums of squares differ by less than this part.
const AGREE: f64 = 1e-6;

/// A minimum that was found.
#[derive(Debug, Clone)]
pub(super) struct Found {
    /// Coordinates.
    pub q: Vec<f64>,
    /// All parameters, held ones included.
    pub values: Vec<f64>,
    /// Shift of each sample, in standard uncertainties.
    pub shifts: Vec<f64>,
    /// Sum of squares.
    pub rss: f64,
    /// (JᵀJ)⁻¹; none where the data do not tell the parameters apart.
    pub covariance: Option<Covariance>,
    /// Derivatives at the minimum, column after column.
    pub jacobian: Vec<f64>,
    /// Their condition number.
    pub condition: Option<f64>,
    /// n − p; a parameter on a bound is not free.
    pub dof: f64,
    /// Factor of the covariance.
    pub variance: f64,
    /// 95 % factor of what the scatter of the data tells.
    pub t: f64,
    /// What each datum does to the fit.
    pub influences: Vec<Influence>,
    /// What a robust loss makes of the data; none for squares.
    pub robust: Option<Robust>,
}

/// A fit.
#[derive(Clone)]
pub(super) struct Fit<'a> {
    /// The problem as it was solved last: with what sits on a bound held there.
    pub problem: Problem<'a>,
    /// Parameters that sit on a bound, with the bound.
    pub on_bounds: Vec<(usize, f64)>,
    /// Free parameters of the model, those on a bound included.
    pub free: usize,
    /// The minimum; why there is none otherwise.
    pub found: Result<Found, Remark>,
    /// Why the minimiser stopped.
    pub ending: Ending,
    /// Starts tried, and those that led to the smallest sum of squares.
    pub starts: (usize, usize),
    /// Evaluations from the best start.
    pub evaluations: usize,
    /// Weight that a robust loss leaves each datum; empty for squares.
    pub weights: Vec<f64>,
}

/// Fits `model` with the parameters that `held` does not fix.
pub(super) fn fit<'a>(
    model: &'a dyn Model,
    held: &[Option<f64>],
    data: &'a Data,
    loss: Loss,
    loss_scale: f64,
) -> Fit<'a> {
    let problem = Problem::new(model, held, data);
    let free = problem.free().len();
    let mut fit = Fit {
        problem,
        on_bounds: Vec::new(),
        free,
        found: Err(Remark::OutsideModel),
        ending: Ending::NotFitted,
        starts: (0, 0),
        evaluations: 0,
        weights: Vec::new(),
    };
    if data.ln.len() <= free {
        fit.found = Err(Remark::FewStates { free_parameters: free as u32, states: data.ln.len() as u32 });
        return fit;
    }
    let Some(best) = search(&mut fit) else { return fit };
    if !best.ending.converged() {
        fit.ending = Ending::LimitOfEvaluations;
        fit.found = Err(Remark::NotConverged);
        return fit;
    }
    fit.ending = Ending::Converged;
    let solution = settle(&mut fit, best, loss, loss_scale);
    let q = solution.parameters;
    if loss == Loss::Squares {
        fit.found = Ok(describe(&fit.problem, q, None));
        return fit;
    }
    let Some(robust) = robust(&fit.problem, &q, loss, loss_scale) else {
        fit.found = Err(Remark::NoStateNear { loss_scale });
        return fit;
    };
    fit.weights = fit.problem.scales.iter().map(|s| s.weight).collect();
    fit.problem = fit.problem.clone().with_pseudo_values(&robust);
    fit.found = Ok(describe(&fit.problem, q, Some(robust)));
    fit
}

/// The best minimum from all starts; counts them.
fn search(fit: &mut Fit<'_>) -> Option<Solution> {
    let (problem, data) = (&fit.problem, fit.problem.data);
    let with_ln: Vec<(Point, f64)> = data.points.iter().copied().zip(data.ln.iter().copied()).collect();
    let none = vec![0.0; data.samples.len()];
    let starts = problem.model.starts(&with_ln);
    let solutions: Vec<Solution> =
        starts.iter().map(|s| minimise(problem, &problem.coordinates(s, &none), Effort::default())).collect();
    let (failed, squares) = (|s: &Solution| !s.ending.converged(), |s: &Solution| s.sum_of_squares);
    let best = solutions
        .iter()
        .filter(|s| squares(s).is_finite())
        .min_by(|a, b| failed(a).cmp(&failed(b)).then(squares(a).total_cmp(&squares(b))))?;
    let agree = |s: &&Solution| !failed(s) && squares(s) <= squares(best) * (1.0 + AGREE) + f64::MIN_POSITIVE;
    fit.starts = (starts.len(), solutions.iter().filter(agree).count());
    fit.evaluations = best.evaluations;
    Some(best.clone())
}

/// Minimum within the bounds with weights and effective variance as they are there.
fn settle(fit: &mut Fit<'_>, best: Solution, loss: Loss, loss_scale: f64) -> Solution {
    let mut solution = within_bounds(fit, best);
    for _ in 0..ROUNDS {
        let scales = scales(&fit.problem, &solution, loss, loss_scale);
        let change = |(a, b): (&Scale, &Scale)| {
            (a.moves - b.moves).abs().max((a.weight - b.weight).abs()).max((a.slope - b.slope).abs())
        };
        if scales.iter().zip(&fit.problem.scales).map(change).fold(0.0, f64::max) < SETTLED {
            break;
        }
        fit.problem = fit.problem.clone().with_scales(scales);
        let again = minimise(&fit.problem, &solution.parameters, Effort::default());
        if !again.sum_of_squares.is_finite() {
            break;
        }
        solution = within_bounds(fit, again);
    }
    solution
}

/// Holds what is outside on its bound, lets go what wants inside, and fits the rest again.
fn within_bounds(fit: &mut Fit<'_>, mut solution: Solution) -> Solution {
    // Each parameter may come to its bound and be let go once; more would go round in circles.
    for _ in 0..2 * fit.problem.held.len() {
        let values = fit.problem.values(&solution.parameters);
        let shifts = fit.problem.shifts(&solution.parameters);
        match outside(&fit.problem, &values) {
            Some((k, bound)) => {
                fit.problem = fit.problem.holding(k, bound);
                fit.on_bounds.push((k, bound));
            }
            None => match wants_inside(fit, &values, &shifts) {
                Some(at) => fit.problem.held[fit.on_bounds.remove(at).0] = None,
                None => return solution,
            },
        }
        let start = fit.problem.coordinates(&values, &shifts);
        let again = minimise(&fit.problem, &start, Effort::default());
        if start.is_empty() || !again.sum_of_squares.is_finite() {
            return Solution { parameters: start, ..again };
        }
        solution = again;
    }
    solution
}

/// The free parameter that lies furthest outside its bounds, in coordinates, with the bound.
fn outside(problem: &Problem<'_>, values: &[f64]) -> Option<(usize, f64)> {
    let beyond = |k: usize| {
        let (p, at) = (problem.parameter(k), problem.coordinate(k, values[k]));
        let bound = if values[k] < p.low { p.low } else { p.high };
        (!(p.low..=p.high).contains(&values[k])).then(|| (k, bound, (at - problem.coordinate(k, bound)).abs()))
    };
    let all = problem.free().into_iter().filter_map(beyond);
    all.max_by(|a, b| a.2.total_cmp(&b.2)).map(|(k, bound, _)| (k, bound))
}

/// Place among `on_bounds` of a parameter for which the sum of squares falls towards the inside.
fn wants_inside(fit: &Fit<'_>, values: &[f64], shifts: &[f64]) -> Option<usize> {
    fit.on_bounds.iter().position(|(k, bound)| {
        let mut free = fit.problem.clone();
        free.held[*k] = None;
        let q = free.coordinates(values, shifts);
        let column = free.free().iter().position(|f| f == k).unwrap_or(0);
        let (mut r, j) = (vec![0.0; free.n() + free.shifting.len()], free.derivatives(&q));
        free.residuals(&q, &mut r);
        let of_k = &j[column * r.len()..(column + 1) * r.len()];
        let gradient: f64 = r.iter().zip(of_k).map(|(r, d)| r * d).sum();
        let size = r.iter().map(|r| r * r).sum::<f64>().sqrt() * of_k.iter().map(|d| d * d).sum::<f64>().sqrt();
        let inwards = if *bound == free.parameter(*k).low { -gradient } else { gradient };
        inwards > 1e-6 * size
    })
}

/// Scales of the data at a solution.
fn scales(problem: &Problem<'_>, solution: &Solution, loss: Loss, c: f64) -> Vec<Scale> {
    let (values, shifts) = (problem.values(&solution.parameters), problem.shifts(&solution.parameters));
    // Where the flow curve stands upright the slope grows without limit, and the linear formula means nothing.
    let slope =
        |i: usize| problem.model.slope(&values, problem.point(i, &shifts)).clamp(-1.0 / LEAST_MOVE, 1.0 / LEAST_MOVE);
    let moves = |i: usize, slope: f64| {
        if !problem.data.abscissa_follows[i] {
            return 1.0;
        }
        let follows = match problem.model.subject() {
            crate::physics::models::Subject::FlowCurve => 1.0 + slope,
            _ => 1.0 - slope,
        };
        follows.abs().clamp(LEAST_MOVE, 1.0 / LEAST_MOVE)
    };
    let own = own_residuals(problem, &solution.parameters);
    let weight = |i: usize| weight(own.over_u[i], loss, c);
    let scale = |i: usize| {
        let slope = slope(i);
        Scale { moves: moves(i, slope), slope, weight: weight(i) }
    };
    (0..problem.n()).map(scale).collect()
}

/// Residuals of the data's own, what they share with others taken off.
pub(super) struct OwnResiduals {
    /// Over their own standard uncertainty.
    pub over_u: Vec<f64>,
    /// That uncertainty, moved abscissae counted.
    pub u: Vec<f64>,
}

/// With a shared error as one more unknown of unit variance its best value leaves D V⁻¹ r, D the own variances.
pub(super) fn own_residuals(problem: &Problem<'_>, q: &[f64]) -> OwnResiduals {
    let mut r = problem.plain_residuals(q);
    let Some(errors) = problem.data.errors.as_ref().filter(|_| problem.knows_errors()) else {
        r.iter_mut().zip(&problem.scales).for_each(|(r, s)| *r /= s.moves);
        let sizes: Vec<f64> = r.iter().map(|r| r.abs()).collect();
        let left = (problem.n() as f64 / (problem.n() as f64 - problem.free().len() as f64)).sqrt();
        let scale = MEDIAN_TO_SIGMA * median(&sizes) * left;
        let over_u = r.iter().map(|r| if scale > 0.0 { r / scale } else { 0.0 }).collect();
        return OwnResiduals { over_u, u: problem.scales.iter().map(|s| scale * s.moves).collect() };
    };
    problem.whiten(&mut r);
    let u: Vec<f64> = errors.own.iter().zip(&problem.scales).map(|(own, s)| own.sqrt() * s.moves).collect();
    let own = |i: usize| problem.along(i, &r) * u[i] / problem.scales[i].weight;
    OwnResiduals { over_u: (0..problem.n()).map(own).collect(), u }
}

fn describe(problem: &Problem<'_>, q: Vec<f64>, robust: Option<Robust>) -> Found {
    let mut left = vec![0.0; problem.len()];
    problem.residuals(&q, &mut left);
    let (rss, dof) = (left.iter().map(|r| r * r).sum::<f64>(), (problem.n() - problem.free().len()) as f64);
    let variance = match (&robust, problem.knows_errors()) {
        (None, true) => (rss / dof).max(1.0),
        (None, false) => rss / dof,
        // What the scatter of the data is beyond what is stated stands in v.
        (Some(_), true) => 1.0,
        (Some(robust), false) => robust.correction * rss / dof,
    };
    let jacobian = problem.derivatives(&q);
    let mut found = Found {
        values: problem.values(&q),
        shifts: problem.shifts(&q),
        rss,
        condition: condition_number(&jacobian, problem.len()),
        covariance: Covariance::from_jacobian(&jacobian, problem.len()),
        jacobian,
        dof,
        variance,
        t: student_t::factor_95(dof.min(problem.data.scatter_dof)),
        influences: Vec::new(),
        robust,
        q,
    };
    found.influences = influences(problem, &found);
    found
}

/// Standard uncertainty and 95 % half-width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spread {
    pub u: f64,
    pub half: f64,
}

/// Spread of what has these derivatives by the coordinates of the minimiser; none without covariance.
///
/// With g the gradient and C = (JᵀJ)⁻¹, g·C·g = |JCg|², whose rows belong to the data or to the stated solid
/// fractions. What the scatter of few loadings tells takes t; what is stated takes the normal factor, as everywhere
/// (`numerics::interval`): the solid fractions, and the part of the data's variance that liquid, instrument and
/// geometry share.
pub(super) fn spread(problem: &Problem<'_>, found: &Found, gradient: &[f64]) -> Option<Spread> {
    let rows = influence_rows(found, found.covariance.as_ref()?, gradient);
    let (data, fractions) = rows.split_at(problem.n());
    let squares = |rows: &[f64]| rows.iter().map(|r| r * r).sum::<f64>();
    let product = |row: &Vec<f64>| row.iter().zip(data).map(|(s, d)| s * d).sum::<f64>();
    let shared = problem.whitened_shared().unwrap_or_default();
    let shared: f64 = shared.iter().zip(data).map(|(row, d)| d * product(row)).sum();
    let stated = (shared + squares(fractions)) * found.variance;
    let of_scatter = (squares(data) - shared) * found.variance + beyond(problem, found, data, data);
    let (z, t, of_scatter) = (normal::Z_95, found.t, of_scatter.max(0.0));
    Some(Spread { u: (of_scatter + stated).sqrt(), half: (t * t * of_scatter + z * z * stated).sqrt() })
}

/// JCg: what a unit error of each independent residual does to what has the gradient g.
fn influence_rows(found: &Found, covariance: &Covariance, gradient: &[f64]) -> Vec<f64> {
    let row = |j: usize| gradient.iter().enumerate().map(|(k, g)| covariance.element(j, k) * g).sum::<f64>();
    let weights: Vec<f64> = (0..gradient.len()).map(row).collect();
    let rows = found.jacobian.len() / gradient.len().max(1);
    let of_row = |i: usize| weights.iter().enumerate().map(|(j, w)| found.jacobian[j * rows + i] * w).sum::<f64>();
    (0..rows).map(of_row).collect()
}

/// Covariance of two quantities by what the variance of pseudo-values is beyond the one that a robust loss works with;
/// 0 for squares. `a` and `b` are what unit errors of the independent data do to them.
fn beyond(problem: &Problem<'_>, found: &Found, a: &[f64], b: &[f64]) -> f64 {
    let (Some(robust), Some(errors)) = (&found.robust, problem.data.errors.as_ref().filter(|_| problem.knows_errors()))
    else {
        return 0.0;
    };
    let moves = |i: usize| problem.scales[i].moves;
    let own = |i: usize| errors.own[i] * moves(i) * moves(i) * problem.along(i, a) * problem.along(i, b);
    (robust.variance - 1.0 / robust.slope) * (0..problem.n()).map(own).sum::<f64>()
}

/// Covariance of two quantities by their gradients: the sandwich where the loss is robust.
pub(super) fn covariance_of(problem: &Problem<'_>, found: &Found, g: &[f64], h: &[f64]) -> Option<f64> {
    let covariance = found.covariance.as_ref()?;
    let (a, b) = (influence_rows(found, covariance, g), influence_rows(found, covariance, h));
    let product: f64 = a.iter().zip(&b).map(|(a, b)| a * b).sum();
    Some(product * found.variance + beyond(problem, found, &a[..problem.n()], &b[..problem.n()]))
}

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
//! is (JᵀJ)⁻¹ times max(1, S/(n − p)) (Birge 1932); where V is not known, times S/(n − p).

use super::data::{Data, Scale};
use super::influence::{Influence, influences};
use super::params::Loss;
use super::problem::Problem;
use crate::numerics::interval::median;
use crate::numerics::least_squares::{Covariance, Effort, Residuals as _, Solution, condition_number, minimise};
use crate::numerics::{normal, student_t};
use crate::physics::models::{Model, Point};

/// Rounds of weights and effective variance; they settle in about ten.
const ROUNDS: usize = 50;
/// Change of a scale below which the rounds have settled: far below what is printed.
const SETTLED: f64 = 1e-7;
/// Smallest part of its error that a datum keeps where its abscissa follows it; where ln η rises as fast as ln σ
/// nothing would be left, and the linear formula means nothing. Own rule.
const LEAST_MOVE: f64 = 0.2;
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
    pub found: Result<Found, String>,
    /// Why the minimiser stopped.
    pub ending: &'static str,
    /// Starts tried, and those that led to the smallest sum of squares.
    pub starts: (usize, usize),
    /// Evaluations from the best start.
    pub evaluations: usize,
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
        found: Err(String::new()),
        ending: "not fitted",
        starts: (0, 0),
        evaluations: 0,
    };
    if data.ln.len() <= free {
        fit.found = Err(format!("not fitted: free parameters {free}, states {}", data.ln.len()));
        return fit;
    }
    let Some(best) = search(&mut fit) else {
        fit.found = Err("not fitted: the data lie outside what the model can give".to_owned());
        return fit;
    };
    if !best.ending.converged() {
        fit.ending = "limit of evaluations";
        fit.found = Err("not converged: no value is printed".to_owned());
        return fit;
    }
    fit.ending = "converged";
    let solution = settle(&mut fit, best, loss, loss_scale);
    fit.found = Ok(describe(&fit.problem, solution));
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
    let weight = |i: usize| weight(own[i], loss, c);
    let scale = |i: usize| {
        let slope = slope(i);
        Scale { moves: moves(i, slope), slope, weight: weight(i) }
    };
    (0..problem.n()).map(scale).collect()
}

/// ψ(u)/u.
fn weight(u: f64, loss: Loss, c: f64) -> f64 {
    let weight = match loss {
        Loss::Squares => 1.0,
        Loss::SoftL1 => 1.0 / (1.0 + u * u / (c * c)).sqrt(),
        Loss::Huber => (c / u.abs()).min(1.0),
    };
    // A datum may not vanish, or V is none.
    weight.max(1e-6)
}

/// Residuals over their own standard uncertainty, what they share with others taken off. With a shared error as one
/// more unknown of unit variance its best value leaves D V⁻¹ r, D the own variances.
pub(super) fn own_residuals(problem: &Problem<'_>, q: &[f64]) -> Vec<f64> {
    let mut r = problem.plain_residuals(q);
    let Some(errors) = problem.data.errors.as_ref().filter(|_| problem.knows_errors()) else {
        r.iter_mut().zip(&problem.scales).for_each(|(r, s)| *r /= s.moves);
        let sizes: Vec<f64> = r.iter().map(|r| r.abs()).collect();
        // 1.4826 makes the median of |r| the standard deviation of normal errors (Hampel 1974).
        let left = (problem.n() as f64 / (problem.n() as f64 - problem.free().len() as f64)).sqrt();
        let scale = 1.4826 * median(&sizes) * left;
        return r.iter().map(|r| if scale > 0.0 { r / scale } else { 0.0 }).collect();
    };
    problem.whiten(&mut r);
    let own = |i: usize| {
        let mut direction = vec![0.0; problem.n()];
        direction[i] = 1.0;
        problem.whiten(&mut direction);
        let taken: f64 = direction.iter().zip(&r).map(|(a, r)| a * r).sum();
        taken * errors.own[i].sqrt() * problem.scales[i].moves / problem.scales[i].weight
    };
    (0..problem.n()).map(own).collect()
}

fn describe(problem: &Problem<'_>, solution: Solution) -> Found {
    let q = solution.parameters;
    let (rss, dof) = (solution.sum_of_squares, (problem.n() - problem.free().len()) as f64);
    let variance = if problem.knows_errors() { (rss / dof).max(1.0) } else { rss / dof };
    let jacobian = problem.derivatives(&q);
    let mut found = Found {
        values: problem.values(&q),
        shifts: problem.shifts(&q),
        rss,
        condition: condition_number(&jacobian, problem.n() + problem.shifting.len()),
        covariance: solution.covariance,
        jacobian,
        dof,
        variance,
        t: student_t::factor_95(dof.min(problem.data.scatter_dof)),
        influences: Vec::new(),
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
    let covariance = found.covariance.as_ref()?;
    let row = |j: usize| gradient.iter().enumerate().map(|(k, g)| covariance.at(j, k) * g).sum::<f64>();
    let weights: Vec<f64> = (0..gradient.len()).map(row).collect();
    let rows = problem.n() + problem.shifting.len();
    let of_row = |i: usize| weights.iter().enumerate().map(|(j, w)| found.jacobian[j * rows + i] * w).sum::<f64>();
    let rows: Vec<f64> = (0..rows).map(of_row).collect();
    let (data, fractions) = rows.split_at(problem.n());
    let squares = |rows: &[f64]| rows.iter().map(|r| r * r).sum::<f64>();
    let product = |row: &Vec<f64>| row.iter().zip(data).map(|(s, d)| s * d).sum::<f64>();
    let shared = problem.whitened_shared().unwrap_or_default();
    let shared: f64 = shared.iter().zip(data).map(|(row, d)| d * product(row)).sum();
    let stated = (shared + squares(fractions)) * found.variance;
    let of_scatter = ((squares(data) - shared) * found.variance).max(0.0);
    let (z, t) = (normal::Z_95, found.t);
    Some(Spread { u: (of_scatter + stated).sqrt(), half: (t * t * of_scatter + z * z * stated).sqrt() })
}

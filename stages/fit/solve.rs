//! Generalised least squares of one model on one set of data, and an honest word on what it knows.
//!
//! Objective: S(p, δ) = [y − f(p, φ + uδ)]ᵀ V⁻¹ [y − f] + Σ δ², y = ln η_r, one shift δ per sample whose solid
//! fraction is uncertain (`data`). Scales are fitted as logarithms. S has n − p degrees of freedom: the shifts bring
//! as many residuals as unknowns. The covariance of the parameters is (JᵀJ)⁻¹ times max(1, S/(n − p)) (Birge 1932);
//! where V is not known, times S/(n − p).

use super::data::Data;
use crate::numerics::least_squares::{Effort, Residuals, Solution, minimise};
use crate::numerics::{chi_square, float, normal, student_t};
use crate::physics::models::{Model, Parameter, Point};

/// A place (a solid fraction) whose 95 % half-width exceeds this is not identified: ±0.1 spans everything from loose
/// to close packing of spheres (0.55 to 0.74). Own rule.
const WIDEST_PLACE: f64 = 0.1;
/// A scale that is known to a factor of 10 only is not identified. Own rule.
const WIDEST_SCALE: f64 = std::f64::consts::LN_10;
/// Where the sum of squares at the end of an interval has risen by less than this part of what the interval
/// promises, the profile is flat. Empirical.
const FLAT: f64 = 0.25;
/// Where the data miss the model by more than this many standard uncertainties (root of the mean square), no value of
/// a parameter means anything. Own rule.
const MISSES: f64 = 5.0;
/// Probability of the misfit below which the model is said not to fit; common practice.
const MISFIT: f64 = 0.01;

/// What is known of one parameter.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Known {
    /// The value; none where it is not identified.
    pub value: Option<f64>,
    /// Standard uncertainty; none where held or not identified.
    pub u: Option<f64>,
    /// 95 % interval.
    pub interval: Option<(f64, f64)>,
    /// Words.
    pub remarks: Vec<String>,
}

/// A fit.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    /// All parameters, held ones included, where the minimiser ended.
    pub values: Vec<f64>,
    /// What is known of each.
    pub known: Vec<Known>,
    /// Sum of squares; none if nothing could be fitted.
    pub rss: Option<f64>,
    /// n − p.
    pub dof: f64,
    /// Data.
    pub n: usize,
    /// Free parameters of the model.
    pub free: usize,
    /// Shifted solid fraction of each sample.
    pub fractions: Vec<f64>,
    /// Words on the fit as a whole.
    pub remarks: Vec<String>,
    solution: Option<Solution>,
    /// Derivatives at the solution, column after column.
    jacobian: Vec<f64>,
    /// Factor of the covariance.
    variance: f64,
    /// 95 % factor of what the scatter of the data tells.
    t: f64,
}

impl Fit {
    /// Whether the model comes near enough to the data that its parameters and curves mean something.
    pub(super) fn meets_data(&self, data: &Data) -> bool {
        self.rss.is_some() && (data.whitening.is_none() || self.variance <= MISSES * MISSES)
    }
}

/// Objective for the minimiser, in its own coordinates: free parameters (scales as logarithms), then shifts.
struct Problem<'a> {
    model: &'a dyn Model,
    held: &'a [Option<f64>],
    data: &'a Data,
    /// Samples whose solid fraction may shift.
    shifting: Vec<usize>,
}

impl<'a> Problem<'a> {
    fn new(model: &'a dyn Model, held: &'a [Option<f64>], data: &'a Data) -> Self {
        let shifting = (0..data.samples.len()).filter(|s| data.samples[*s].1 > 0.0).collect();
        Self { model, held, data, shifting }
    }

    fn free(&self) -> Vec<usize> {
        (0..self.held.len()).filter(|k| self.held[*k].is_none()).collect()
    }

    fn parameter(&self, k: usize) -> Parameter {
        self.model.parameters()[k]
    }

    /// Own coordinates of model parameters, without shifts.
    fn coordinates(&self, values: &[f64]) -> Vec<f64> {
        let of = |k: usize| if self.parameter(k).scale { float::ln(values[k]) } else { values[k] };
        self.free().into_iter().map(of).chain(self.shifting.iter().map(|_| 0.0)).collect()
    }

    /// Model parameters at coordinates `q`.
    fn values(&self, q: &[f64]) -> Vec<f64> {
        let mut values: Vec<f64> = self.held.iter().map(|h| h.unwrap_or(0.0)).collect();
        for (k, q) in self.free().into_iter().zip(q) {
            values[k] = if self.parameter(k).scale { float::exp(*q) } else { *q };
        }
        values
    }

    /// Solid fraction of every sample by how it shifts from what is stated.
    fn shifts(&self, q: &[f64]) -> Vec<f64> {
        let mut shifts = vec![0.0; self.data.samples.len()];
        let free = self.free().len();
        self.shifting.iter().zip(&q[free..]).for_each(|(s, d)| shifts[*s] = d * self.data.samples[*s].1);
        shifts
    }

    fn point(&self, i: usize, shifts: &[f64]) -> Point {
        let point = self.data.points[i];
        Point { volume_fraction: point.volume_fraction + shifts[self.data.sample[i]], ..point }
    }

    /// L⁻¹ v with V = LLᵀ, so that what V correlates becomes independent.
    fn whiten(&self, v: &mut [f64]) {
        if let Some(whitening) = &self.data.whitening {
            whitening.apply(v);
        }
    }

    fn n(&self) -> usize {
        self.data.ln.len()
    }
}

impl Residuals for Problem<'_> {
    fn len(&self) -> usize {
        self.n() + self.shifting.len()
    }

    fn residuals(&self, q: &[f64], out: &mut [f64]) {
        let (values, shifts) = (self.values(q), self.shifts(q));
        for (i, (out, ln)) in out.iter_mut().zip(&self.data.ln).enumerate() {
            *out = self.model.ln_relative_viscosity(&values, self.point(i, &shifts)) - ln;
        }
        self.whiten(&mut out[..self.n()]);
        out[self.n()..].copy_from_slice(&q[self.free().len()..]);
    }

    fn jacobian(&self, q: &[f64], out: &mut [f64]) {
        let (values, shifts, free) = (self.values(q), self.shifts(q), self.free());
        let (n, rows) = (self.n(), self.len());
        out.fill(0.0);
        let mut by_parameter = vec![0.0; values.len()];
        for i in 0..n {
            let by_fraction = self.model.derivatives(&values, self.point(i, &shifts), &mut by_parameter);
            for (column, k) in free.iter().enumerate() {
                let chain = if self.parameter(*k).scale { values[*k] } else { 1.0 };
                out[column * rows + i] = by_parameter[*k] * chain;
            }
            if let Some(s) = self.shifting.iter().position(|s| *s == self.data.sample[i]) {
                out[(free.len() + s) * rows + i] = by_fraction * self.data.samples[self.data.sample[i]].1;
            }
        }
        for column in 0..free.len() + self.shifting.len() {
            self.whiten(&mut out[column * rows..column * rows + n]);
        }
        for s in 0..self.shifting.len() {
            out[(free.len() + s) * rows + n + s] = 1.0;
        }
    }
}

/// Fits `model` with the parameters that `held` does not fix, from every start; the smallest sum of squares counts.
pub(super) fn fit(model: &dyn Model, held: &[Option<f64>], data: &Data) -> Fit {
    let problem = Problem::new(model, held, data);
    let (n, free) = (data.ln.len(), problem.free().len());
    if n <= free {
        return nothing(&problem, format!("not fitted: free parameters {free}, states {n}"));
    }
    let with_ln: Vec<(Point, f64)> = data.points.iter().copied().zip(data.ln.iter().copied()).collect();
    let starts = model.starts(&with_ln);
    let solutions = starts.iter().map(|s| minimise(&problem, &problem.coordinates(s), Effort::default()));
    let (failed, squares) = (|s: &Solution| !s.ending.converged(), |s: &Solution| s.sum_of_squares);
    let best = solutions
        .filter(|s| squares(s).is_finite())
        .min_by(|a, b| failed(a).cmp(&failed(b)).then(squares(a).total_cmp(&squares(b))));
    match best {
        None => nothing(&problem, "not fitted: the data lie outside what the model can give".to_owned()),
        Some(solution) if !solution.ending.converged() => {
            nothing(&problem, "not converged: no value is printed".to_owned())
        }
        Some(solution) => describe(&problem, solution),
    }
}

/// A fit that gives no number.
fn nothing(problem: &Problem<'_>, why: String) -> Fit {
    let unknown = |held: &Option<f64>| match held {
        Some(value) => held_at(*value),
        None => Known { value: None, u: None, interval: None, remarks: vec![] },
    };
    let (n, free) = (problem.n(), problem.free().len());
    Fit {
        values: problem.held.iter().map(|h| h.unwrap_or(f64::NAN)).collect(),
        known: problem.held.iter().map(unknown).collect(),
        rss: None,
        dof: n as f64 - free as f64,
        n,
        free,
        fractions: Vec::new(),
        remarks: vec![why],
        solution: None,
        jacobian: Vec::new(),
        variance: f64::NAN,
        t: f64::NAN,
    }
}

fn held_at(value: f64) -> Known {
    Known { value: Some(value), u: None, interval: None, remarks: vec!["held".to_owned()] }
}

fn describe(problem: &Problem<'_>, solution: Solution) -> Fit {
    let (n, free, rss) = (problem.n(), problem.free().len(), solution.sum_of_squares);
    let dof = (n - free) as f64;
    let known_errors = problem.data.whitening.is_some();
    let variance = if known_errors { (rss / dof).max(1.0) } else { rss / dof };
    let t = student_t::factor_95(dof.min(problem.data.scatter_dof));
    let stated = |s: usize| {
        problem.data.sample.iter().position(|of| *of == s).map_or(0.0, |i| problem.data.points[i].volume_fraction)
    };
    let shifts = problem.shifts(&solution.parameters);
    let mut jacobian = vec![0.0; problem.len() * solution.parameters.len()];
    problem.jacobian(&solution.parameters, &mut jacobian);
    let mut remarks = Vec::new();
    let chance = chi_square::upper_tail(rss, dof);
    if known_errors && chance < MISFIT {
        let widened = if variance <= MISSES * MISSES { "; uncertainties are widened by its root" } else { "" };
        remarks.push(format!(
            "does not fit: sum of squares {rss:.0} on {dof} degrees of freedom, more than chance gives{widened}"
        ));
    }
    if !known_errors {
        remarks.push(
            "one loading per state: uncertainties from the residuals alone, without solid fraction, liquid and instrument".to_owned(),
        );
    }
    if solution.covariance.is_none() {
        remarks.push("not identified: the data do not tell the parameters apart".to_owned());
    }
    let mut fit = Fit {
        values: problem.values(&solution.parameters),
        known: Vec::new(),
        rss: Some(rss),
        dof,
        n,
        free,
        fractions: shifts.iter().enumerate().map(|(s, shift)| stated(s) + shift).collect(),
        remarks,
        solution: Some(solution),
        jacobian,
        variance,
        t,
    };
    fit.known = (0..problem.held.len()).map(|k| known(problem, &fit, k)).collect();
    fit
}

/// What the fit knows of parameter `k`.
fn known(problem: &Problem<'_>, fit: &Fit, k: usize) -> Known {
    if let Some(value) = problem.held[k] {
        return held_at(value);
    }
    let refused = |why: String| Known { value: None, u: None, interval: None, remarks: vec![why] };
    let column = problem.free().iter().position(|f| *f == k).unwrap_or(0);
    if !fit.meets_data(problem.data) {
        let misses = fit.variance.sqrt();
        return refused(format!("no value: the data miss the model by {misses:.0} standard uncertainties"));
    }
    let Some(solution) = &fit.solution else { return refused("not identified".to_owned()) };
    let mut gradient = vec![0.0; solution.parameters.len()];
    gradient[column] = 1.0;
    let Some(Spread { u, half }) = spread(problem, fit, &gradient) else {
        return refused("not identified".to_owned());
    };
    let (parameter, q, value) = (problem.parameter(k), solution.parameters[column], fit.values[k]);
    if !(parameter.low..=parameter.high).contains(&value) {
        return refused(format!(
            "not identified: the fit runs to {value:.3}, outside {} to {}",
            parameter.low, parameter.high
        ));
    }
    let widest = if parameter.scale { WIDEST_SCALE } else { WIDEST_PLACE };
    if half.is_nan() || half > widest {
        return refused("not identified: the interval is wider than anything that could be meant".to_owned());
    }
    let back = |q: f64| if parameter.scale { float::exp(q) } else { q };
    let ends = (back(q - half), back(q + half));
    if [ends.0, ends.1].into_iter().any(|end| is_flat(problem, fit, k, end, half / u)) {
        return refused("not identified: the sum of squares hardly rises towards the end of the interval".to_owned());
    }
    let u_value = if parameter.scale { value * u } else { u };
    Known { value: Some(value), u: Some(u_value), interval: Some(ends), remarks: Vec::new() }
}

/// Whether the profile is flat: with parameter `k` held at `end` and all others free again, the sum of squares
/// should have risen by the square of `factor` (half-width over standard uncertainty) times the variance.
fn is_flat(problem: &Problem<'_>, fit: &Fit, k: usize, end: f64, factor: f64) -> bool {
    let mut held = problem.held.to_vec();
    held[k] = Some(end);
    let profile = Problem::new(problem.model, &held, problem.data);
    if profile.free().is_empty() && profile.shifting.is_empty() {
        return false;
    }
    let mut start = profile.coordinates(&fit.values);
    if let Some(solution) = &fit.solution {
        let (shifts, from) = (profile.free().len(), problem.free().len());
        start[shifts..].copy_from_slice(&solution.parameters[from..]);
    }
    // An end that the model cannot take (jammed data) is steep, not flat: its sum of squares is no number.
    let rise = minimise(&profile, &start, Effort::default()).sum_of_squares - fit.rss.unwrap_or(0.0);
    rise < FLAT * factor * factor * fit.variance
}

/// ln η_r at `point` with its 95 % half-width. With `sample` the point moves with the fitted solid fraction of that
/// sample, whose error then counts. None without covariance, or where the model is jammed.
pub(super) fn predict(
    model: &dyn Model,
    held: &[Option<f64>],
    data: &Data,
    fit: &Fit,
    sample: Option<usize>,
    point: Point,
) -> Option<(f64, f64)> {
    let ln = model.ln_relative_viscosity(&fit.values, point);
    let mut by_parameter = vec![0.0; fit.values.len()];
    let by_fraction = model.derivatives(&fit.values, point, &mut by_parameter);
    let by_shift = sample.map(|s| (s, by_fraction * data.samples[s].1));
    let spread = spread_of(&Problem::new(model, held, data), fit, &by_parameter, by_shift)?;
    (ln.is_finite() && spread.half.is_finite()).then_some((ln, spread.half))
}

/// A quantity that follows from the parameters alone, with standard uncertainty and 95 % interval; derivatives by
/// central differences over a thousandth of each standard uncertainty.
pub(super) fn derived(
    model: &dyn Model,
    held: &[Option<f64>],
    data: &Data,
    fit: &Fit,
    of: &dyn Fn(&[f64]) -> Option<f64>,
) -> Option<Known> {
    let value = of(&fit.values)?;
    let mut gradient = vec![0.0; fit.values.len()];
    for (k, known) in fit.known.iter().enumerate().filter(|(k, _)| held[*k].is_none()) {
        let step = 1e-3 * known.u?;
        let moved = |by: f64| {
            of(&fit.values.iter().enumerate().map(|(j, v)| v + if j == k { by } else { 0.0 }).collect::<Vec<_>>())
        };
        gradient[k] = (moved(step)? - moved(-step)?) / (2.0 * step);
    }
    let Spread { u, half } = spread_of(&Problem::new(model, held, data), fit, &gradient, None)?;
    let interval = Some((value - half, value + half));
    Some(Known { value: Some(value), u: Some(u), interval, remarks: vec!["follows from the parameters".to_owned()] })
}

/// Standard uncertainty and 95 % half-width.
struct Spread {
    u: f64,
    half: f64,
}

/// Of what has these derivatives by the model's parameters and by the shift of one sample.
fn spread_of(problem: &Problem<'_>, fit: &Fit, by_parameter: &[f64], by_shift: Option<(usize, f64)>) -> Option<Spread> {
    let free = problem.free();
    let mut gradient = vec![0.0; fit.solution.as_ref()?.parameters.len()];
    for (column, k) in free.iter().enumerate() {
        gradient[column] = by_parameter[*k] * if problem.parameter(*k).scale { fit.values[*k] } else { 1.0 };
    }
    if let Some((sample, by)) = by_shift
        && let Some(at) = problem.shifting.iter().position(|s| *s == sample)
    {
        gradient[free.len() + at] = by;
    }
    spread(problem, fit, &gradient)
}

/// Of what has these derivatives by the coordinates of the minimiser.
///
/// With g the gradient and C = (JᵀJ)⁻¹, g·C·g = |JCg|², whose rows belong to the data or to the stated solid
/// fractions. The first part is known from few loadings and takes t, the second is stated and takes the normal
/// factor, as everywhere (`numerics::interval`).
fn spread(problem: &Problem<'_>, fit: &Fit, gradient: &[f64]) -> Option<Spread> {
    let covariance = fit.solution.as_ref()?.covariance.as_ref()?;
    let row = |j: usize| gradient.iter().enumerate().map(|(k, g)| covariance.at(j, k) * g).sum::<f64>();
    let weights: Vec<f64> = (0..gradient.len()).map(row).collect();
    let rows = problem.len();
    let of_row = |i: usize| weights.iter().enumerate().map(|(j, w)| fit.jacobian[j * rows + i] * w).sum::<f64>();
    let squares = |rows: std::ops::Range<usize>| rows.map(|i| of_row(i) * of_row(i)).sum::<f64>() * fit.variance;
    let (of_data, stated) = (squares(0..problem.n()), squares(problem.n()..rows));
    let (z, t) = (normal::Z_95, fit.t);
    Some(Spread { u: (of_data + stated).sqrt(), half: (t * t * of_data + z * z * stated).sqrt() })
}

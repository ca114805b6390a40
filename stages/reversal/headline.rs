//! The headline estimate: the viscosity at zero strain by a penalised fit of the whole trace, averaged over forms.
//! The curve and its priors are in `transient.rs`; what is read beside it is in `secondary.rs`.
//!
//! # Why this estimator
//! A straight line needs a window below the strain where the liquid's share dips and above the one where the drive
//! settles, and often there is none; a monotone curve forces the dip into the contacts. In trials over transients
//! with dips of 0–45 %, elastic releases and 0.5–3 % of autocorrelated noise the bias of the contact share was
//! within 0.006 (0.011 with elastic release), against up to 0.04 for the line, 0.10 for a monotone exponential and
//! 0.23 for the minimum. Those transients were built from terms of this very model, so that is a best case; for other
//! shapes see `cargo trial reversal`, for particle simulations the tests.
//!
//! # Method
//! Bins of strain with their covariance, two passes (the covariance needs the curve); Levenberg–Marquardt from
//! several starts; distinct minima of all forms averaged by Laplace's approximation of their evidence,
//! weights ∝ exp(−½[F + ln det A + 2Σ ln sd]): F the penalised sum of squares, A its Gauss–Newton matrix, the sum
//! over the fitted parameters with a prior (D. J. C. MacKay, Neural Comput. 4 (1992) 415). The variance of the
//! average is Σ w[u² + (X − X̄)²].

use super::bins::{Bin, smoothed};
use super::params::Fit;
use super::result::{Estimate, Noise};
use super::rules::{DELAYED_STARTS, ONE_MINIMUM, STARTS, TEMPERED};
use super::transient::{
    CONTACTS, DIP_POWER, DRIVE, Form, LIQUID, LN_CONTACT_POWER, LN_CONTACT_STRAIN, LN_DELAY, LN_DIP, LN_DIP_STRAIN,
    Penalised, RELEASE, Theta, centre, curve, prior_volume, whitening,
};
use crate::numerics::float::{exp, ln};
use crate::numerics::least_squares::{Covariance, Effort, Residuals, linear, minimise};
use crate::numerics::whitening::Whitening;

/// Level below which the covariance of a bin is not scaled down any further.
const LEAST_LEVEL: f64 = 0.02;

/// A trace ready to be fitted.
#[derive(Debug, Clone, Copy)]
pub(super) struct Problem<'a> {
    /// Bins from the first usable strain on.
    pub(super) bins: &'a [Bin],
    /// Noise of ln η.
    pub(super) noise: &'a Noise,
    /// Relative standard uncertainty of the viscosity before.
    pub(super) u_before: f64,
    /// Settings.
    pub(super) fit: &'a Fit,
    /// Newtonian liquid: neither contacts nor dip, only a level that must be 1.
    pub(super) newtonian: bool,
}

/// A minimum of the penalised sum of squares.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Minimum {
    /// Its form.
    pub(super) form: Form,
    /// Its parameters.
    pub(super) theta: Theta,
    /// Covariance of the parameters of the form, in the order of [`Form::active`].
    pub(super) covariance: Covariance,
    /// Penalised sum of squares.
    pub(super) objective: f64,
    /// Sum of squares of the bins alone.
    pub(super) squares: f64,
    /// Weight in the average.
    pub(super) weight: f64,
    /// Whether the minimiser converged.
    pub(super) converged: bool,
}

impl Minimum {
    /// Contact share and its standard uncertainty.
    pub(super) fn share(&self, u_before: f64) -> Estimate {
        let (h, c) = (self.theta[LIQUID], self.theta[CONTACTS]);
        if !self.form.structure {
            // A level alone: X = 1 − H.
            return Estimate {
                value: 1.0 - h,
                u: (self.covariance.element(0, 0) + h * h * u_before * u_before).sqrt(),
            };
        }
        let sum = h + c;
        let gradient = [-c / (sum * sum), h / (sum * sum)];
        Estimate { value: c / sum, u: self.variance(&gradient).sqrt() }
    }

    /// Standard uncertainty of H.
    pub(super) fn u_liquid(&self) -> f64 {
        self.covariance.u(0)
    }

    /// Variance of a function of H and C, the first two parameters of a form with structure.
    fn variance(&self, gradient: &[f64; 2]) -> f64 {
        let pairs = [(0, 0), (0, 1), (1, 0), (1, 1)];
        pairs.iter().map(|(j, k)| gradient[*j] * gradient[*k] * self.covariance.element(*j, *k)).sum()
    }

    /// The curve without its early exponentials, and with them.
    pub(super) fn curve(&self, strain: f64) -> (f64, f64) {
        curve(self.form, &self.theta, strain)
    }

    fn ln_evidence(&self, width: f64) -> f64 {
        -0.5 * (self.objective - self.covariance.ln_determinant() + prior_volume(self.form, width))
    }
}

/// Mean over minima with their weights, and the spread between them.
pub(super) fn averaged(minima: &[Minimum], value: impl Fn(&Minimum) -> Estimate) -> Estimate {
    let values: Vec<(f64, Estimate)> = minima.iter().map(|m| (m.weight, value(m))).collect();
    let mean: f64 = values.iter().map(|(w, e)| w * e.value).sum();
    let variance: f64 = values.iter().map(|(w, e)| w * (e.u * e.u + (e.value - mean) * (e.value - mean))).sum();
    Estimate { value: mean, u: variance.sqrt() }
}

/// Distinct minima of all forms, best first; empty where there is too little to fit.
pub(super) fn fit(problem: &Problem<'_>) -> Vec<Minimum> {
    if problem.bins.len() < problem.fit.bins as usize {
        return Vec::new();
    }
    let level: Vec<f64> = smoothed(problem.bins).into_iter().map(|v| v.max(LEAST_LEVEL)).collect();
    let starts: Vec<(Form, Theta)> =
        forms(problem).into_iter().flat_map(|f| starts(f).into_iter().map(move |t| (f, t))).collect();
    let tempered = TEMPERED.max(problem.fit.form_error);
    let Some(first) = whitening(problem.bins, problem.noise, &level, tempered) else { return Vec::new() };
    let with_linear = starts.into_iter().map(|(form, theta)| (form, linear_start(problem, &first, form, theta)));
    // The first pass only has to find the valleys.
    let rough = Effort { tolerance: 1e-4, patience: 12, polish: 0 };
    let found = pass(problem, &first, with_linear, rough);
    refit(problem, &found)
}

/// Minima again from those of a similar trace: another pass, or another choice of settings.
pub(super) fn refit(problem: &Problem<'_>, from: &[Minimum]) -> Vec<Minimum> {
    let Some(best) = from.first() else { return Vec::new() };
    if problem.bins.len() < problem.fit.bins as usize {
        return Vec::new();
    }
    let level: Vec<f64> = problem.bins.iter().map(|b| best.curve(b.strain).0.abs().max(LEAST_LEVEL)).collect();
    let Some(whitening) = whitening(problem.bins, problem.noise, &level, problem.fit.form_error) else {
        return Vec::new();
    };
    let allowed = forms(problem);
    let starts = from.iter().filter(|m| allowed.contains(&m.form)).map(|m| (m.form, m.theta));
    pass(problem, &whitening, starts, Effort { tolerance: 1e-7, patience: 20, polish: 0 })
}

fn forms(problem: &Problem<'_>) -> Vec<Form> {
    let structure = !problem.newtonian;
    let delays = if structure && problem.fit.delay { vec![false, true] } else { vec![false] };
    let releases = if problem.fit.release { vec![false, true] } else { vec![false] };
    let all = delays.iter().flat_map(|d| releases.iter().map(move |r| (*d, *r)));
    all.map(|(delay, release)| Form { structure, delay, release }).collect()
}

/// Where a form is fitted from.
fn starts(form: Form) -> Vec<Theta> {
    let start = |[d, dip, q, delay, scale, power]: [f64; 6]| {
        let mut theta: Theta = std::array::from_fn(centre);
        theta[DIP_POWER] = q;
        let logs = [
            (LN_DIP, d),
            (LN_DIP_STRAIN, dip),
            (LN_DELAY, delay),
            (LN_CONTACT_STRAIN, scale),
            (LN_CONTACT_POWER, power),
        ];
        for (k, v) in logs {
            theta[k] = ln(v);
        }
        theta
    };
    match (form.structure, form.delay) {
        (false, _) => vec![start(STARTS[0])],
        (true, false) => STARTS.map(start).to_vec(),
        (true, true) => DELAYED_STARTS.map(start).to_vec(),
    }
}

/// The linear parameters H, C, E₁, E₂ by least squares at the start of the others.
fn linear_start(problem: &Problem<'_>, whitening: &Whitening, form: Form, mut theta: Theta) -> Theta {
    // H enters the derivatives of the others, and its own column does not depend on it.
    (theta[LIQUID], theta[CONTACTS], theta[DRIVE], theta[RELEASE]) = (0.0, 0.0, 0.0, 0.0);
    let penalised = penalised(problem, whitening, form);
    let free = penalised.free(&theta);
    let (rows, columns) = (penalised.len(), free.len());
    let (mut residuals, mut jacobian) = (vec![0.0; rows], vec![0.0; rows * columns]);
    penalised.residuals(&free, &mut residuals);
    penalised.jacobian(&free, &mut jacobian);
    let solved: Vec<usize> = (0..columns).filter(|c| penalised.active[*c] <= RELEASE).collect();
    let design: Vec<f64> = solved.iter().flat_map(|c| jacobian[c * rows..(c + 1) * rows].to_vec()).collect();
    let steps = linear(&design, &residuals).unwrap_or_default();
    for (c, step) in solved.iter().zip(steps) {
        theta[penalised.active[*c]] -= step;
    }
    theta
}

fn penalised<'a>(problem: &Problem<'a>, whitening: &'a Whitening, form: Form) -> Penalised<'a> {
    Penalised {
        bins: problem.bins,
        whitening,
        form,
        active: form.active(),
        u_before: problem.u_before,
        width: problem.fit.prior_width,
    }
}

/// Fits from every start; distinct minima with their weights, best first.
fn pass(
    problem: &Problem<'_>,
    whitening: &Whitening,
    starts: impl Iterator<Item = (Form, Theta)>,
    effort: Effort,
) -> Vec<Minimum> {
    let mut minima: Vec<Minimum> = Vec::new();
    for (form, theta) in starts {
        if let Some(found) = descend(&penalised(problem, whitening, form), &theta, effort) {
            keep_distinct(&mut minima, found);
        }
    }
    let width = problem.fit.prior_width;
    let top = minima.iter().map(|m| m.ln_evidence(width)).fold(f64::NEG_INFINITY, f64::max);
    let raw: Vec<f64> = minima.iter().map(|m| exp(m.ln_evidence(width) - top)).collect();
    let sum: f64 = raw.iter().sum();
    for (minimum, weight) in minima.iter_mut().zip(raw) {
        minimum.weight = weight / sum;
    }
    minima.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    minima
}

fn descend(penalised: &Penalised<'_>, theta: &Theta, effort: Effort) -> Option<Minimum> {
    let solution = minimise(penalised, &penalised.free(theta), effort);
    let theta = penalised.theta(&solution.parameters);
    let covariance = penalised.covariance(&theta)?;
    let objective = solution.sum_of_squares;
    objective.is_finite().then(|| Minimum {
        form: penalised.form,
        theta,
        covariance,
        objective,
        squares: penalised.squares(&theta),
        weight: 0.0,
        converged: solution.ending.converged(),
    })
}

/// Two fits of one form are the same minimum where sum of squares and share agree to what matters.
fn keep_distinct(minima: &mut Vec<Minimum>, found: Minimum) {
    let same = |m: &&mut Minimum| {
        m.form == found.form
            && (m.objective - found.objective).abs() < ONE_MINIMUM.0
            && (m.share(0.0).value - found.share(0.0).value).abs() < ONE_MINIMUM.1
    };
    match minima.iter_mut().find(same) {
        Some(m) if found.objective < m.objective => *m = found,
        Some(_) => {}
        None => minima.push(found),
    }
}

//! From states to what is fitted: ln η_r with its covariance, and the solid fractions with theirs.
//!
//! The covariance of ln η_r is V = diag(s²/n) + Σ c cᵀ. s: scatter of one loading at one state, n loadings in it.
//! Each c is one source that moves several data together, by its effect at one standard uncertainty: the filling of
//! the loadings of a sample (τ/√n at each of its states), the viscosity of a liquid, a term of instrument or
//! geometry. What such a source does to the abscissa as well (a calibration moves stress and viscosity together) counts
//! by the slope of the model there. s and τ are pooled over the study, because two or three loadings say too little about one state; with
//! one loading throughout they are unknown, and V is left out.
//!
//! The solid fraction of a sample is one number for all its states, so its error is one shift per sample, which is
//! fitted with its uncertainty as a prior: the effective variance of J. Orear (1982), with the correlation kept. The
//! stress of a state at a held rate is measured with the same torque as its viscosity: see [`Scale::moves`].

use super::compute::Study;
use super::rules::SMALLEST_SCATTER;
use crate::numerics::float;
use crate::numerics::interval::{covariance_of_means, mean};
use crate::numerics::whitening::Whitening;
use crate::physics::geometry::Geometry;
use crate::physics::materials::Sample;
use crate::physics::models::{Point, Subject};
use crate::reversal::result::Controlled;
use crate::states::result::{State, StudyReversal};
use std::collections::BTreeMap;

/// What is fitted.
#[derive(Debug, Clone)]
pub(super) struct Data {
    /// Where.
    pub points: Vec<Point>,
    /// ln η_r there; ln(η / Pa s) for flow curves.
    pub ln: Vec<f64>,
    /// Place in `samples` of each datum.
    pub sample: Vec<usize>,
    /// Set-point of each datum.
    pub set_points: Vec<String>,
    /// Whether the error of a datum moves its abscissa too: see [`Scale::moves`].
    pub abscissa_follows: Vec<bool>,
    /// Name and standard uncertainty of φ of each sample; 0 where it is taken as exact.
    pub samples: Vec<(String, f64)>,
    /// What is known of their errors; none where it is not known, and the residuals alone tell the uncertainty.
    pub errors: Option<Errors>,
    /// Degrees of freedom behind the scatter between loadings.
    pub scatter_dof: f64,
}

impl Data {
    /// Smallest and largest stress, Pa.
    pub(super) fn stress_range(&self) -> (f64, f64) {
        let all = || self.points.iter().map(|p| p.stress_pa);
        (all().fold(f64::INFINITY, f64::min), all().fold(0.0, f64::max))
    }
}

/// The parts of V.
#[derive(Debug, Clone)]
pub(super) struct Errors {
    /// s²/n of each datum.
    pub own: Vec<f64>,
    /// Covariance by the filling of loadings.
    pub filling: Vec<Vec<f64>>,
    /// Covariance of ln η by liquid, instrument and geometry.
    pub shared: Vec<Vec<f64>>,
    /// The same of ln η of the first with the logarithm of the abscissa of the second.
    pub mixed: Vec<Vec<f64>>,
    /// The same of the logarithms of both abscissae.
    pub abscissae: Vec<Vec<f64>>,
}

/// What a fit makes of the error of one datum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    /// Factor on scatter and filling where an error of the viscosity moves the abscissa as well. At a held rate
    /// σ = ηγ̇ rises with η, so a residual of ln η(σ) moves by 1 − d ln η/d ln σ only; at a held stress a residual
    /// of ln η(γ̇) moves by 1 + d ln η/d ln γ̇ (effective variance, Orear 1982).
    pub moves: f64,
    /// d ln η/d ln(abscissa) of the model there, for what sources do to the abscissa.
    pub slope: f64,
    /// Weight by the robust loss, 0 to 1: the own variance is divided by it.
    pub weight: f64,
}

impl Default for Scale {
    fn default() -> Self {
        Self { moves: 1.0, slope: 0.0, weight: 1.0 }
    }
}

impl Errors {
    /// V as what makes the data independent.
    pub(super) fn whitening(&self, scales: &[Scale]) -> Option<Whitening> {
        Whitening::new(self.own.len(), |i, j| {
            let (a, b) = (scales[i], scales[j]);
            let own = if i == j { self.own[i] * a.moves * a.moves / a.weight } else { 0.0 };
            own + self.filling[i][j] * a.moves * b.moves + self.shared(i, j, a.slope, b.slope)
        })
    }

    /// Covariance of the residuals ln η − slope·ln(abscissa) by what all states share.
    pub(super) fn shared(&self, i: usize, j: usize, a: f64, b: f64) -> f64 {
        self.shared[i][j] - b * self.mixed[i][j] - a * self.mixed[j][i] + a * b * self.abscissae[i][j]
    }
}

/// Scatter of ln η over the study.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scatter {
    /// Standard deviation of one loading at one state, on its own.
    pub own: f64,
    /// Standard deviation of what a loading has in common at all its states.
    pub filling: f64,
    /// Degrees of freedom: loadings less one, summed over samples.
    pub dof: f64,
}

/// The data at the states that `pick` takes, for a model of this kind; none without any.
pub(super) fn data(study: Study<'_>, subject: Subject, pick: &dyn Fn(&State) -> bool) -> Option<Data> {
    let Study { states, samples, geometries } = study;
    let datum = |s| datum(s, subject);
    let picked: Vec<(&State, Point, f64)> = states.states.iter().filter(|s| pick(s)).filter_map(datum).collect();
    if picked.is_empty() {
        return None;
    }
    let mut names: Vec<&str> = picked.iter().map(|(s, _, _)| s.sample.as_str()).collect();
    names.dedup();
    let scatter = scatter(&states.states);
    let exact = subject == Subject::FlowCurve || scatter.is_none();
    let u_fraction = |name: &str| {
        let state = picked.iter().find(|(s, _, _)| s.sample == name);
        state.and_then(|(s, _, _)| s.u_volume_fraction).filter(|_| !exact).unwrap_or(0.0)
    };
    let list: Vec<&State> = picked.iter().map(|(s, _, _)| *s).collect();
    let place = |s: &State| names.iter().position(|n| *n == s.sample).unwrap_or(0);
    let follows = |s: &&State| match subject {
        Subject::Thickening => s.controlled == Controlled::Rate,
        Subject::FlowCurve => s.controlled == Controlled::Stress,
        Subject::Packing => false,
    };
    Some(Data {
        points: picked.iter().map(|(_, p, _)| *p).collect(),
        ln: picked.iter().map(|(_, _, ln)| *ln).collect(),
        sample: list.iter().map(|s| place(s)).collect(),
        set_points: list.iter().map(|s| s.set_point.clone()).collect(),
        abscissa_follows: list.iter().map(follows).collect(),
        samples: names.iter().map(|n| ((*n).to_owned(), u_fraction(n))).collect(),
        errors: scatter.map(|s| errors(&list, s, &states.reversals, samples, geometries, subject)),
        scatter_dof: scatter.map_or(f64::INFINITY, |s| s.dof),
    })
}

fn datum(state: &State, subject: Subject) -> Option<(&State, Point, f64)> {
    let rate_per_s = state.rate_per_s.map_or(f64::NAN, |r| r.value);
    let flow = subject == Subject::FlowCurve;
    let volume_fraction = if flow { state.volume_fraction.unwrap_or(f64::NAN) } else { state.volume_fraction? };
    let point = Point { volume_fraction, stress_pa: state.stress_pa?.value, rate_per_s };
    let viscosity = if flow { state.viscosity_pa_s } else { state.relative_viscosity };
    let ln = float::ln(viscosity?.value);
    let abscissa = if flow { rate_per_s } else { point.stress_pa };
    (abscissa > 0.0 && ln.is_finite()).then_some((state, point, ln))
}

/// Scatter between loadings, pooled over all states with two or more; none if there is none.
///
/// The variance within states is τ² + s². The difference of a loading between two neighbouring states holds no τ,
/// so its variance is 2s².
pub(super) fn scatter(states: &[State]) -> Option<Scatter> {
    let mut all = Pool::default();
    states.iter().for_each(|s| all.add(&s.loading_means.iter().map(|l| l.ln_viscosity).collect::<Vec<_>>()));
    let mut steps = Pool::default();
    for pair in states.windows(2).filter(|w| w[0].sample == w[1].sample) {
        let at = |loading: &str| pair[1].loading_means.iter().find(|l| l.loading == loading).map(|l| l.ln_viscosity);
        let both = pair[0].loading_means.iter().filter_map(|l| Some(at(&l.loading)? - l.ln_viscosity));
        steps.add(&both.collect::<Vec<_>>());
    }
    let total = all.variance()?;
    let own = steps.variance().map_or(total, |v| (0.5 * v).min(total));
    let filling = (total - own).max(0.0).sqrt();
    Some(Scatter { own: own.sqrt().max(SMALLEST_SCATTER), filling, dof: loadings_less_one(states) })
}

/// Sum over samples of the number of loadings less one.
fn loadings_less_one(states: &[State]) -> f64 {
    let mut most: BTreeMap<&str, usize> = BTreeMap::new();
    for state in states.iter().filter(|s| !s.loading_means.is_empty()) {
        let of = most.entry(&state.sample).or_default();
        *of = (*of).max(state.loading_means.len());
    }
    most.values().map(|n| (n - 1) as f64).sum()
}

/// Pooled variance of several small groups.
#[derive(Default)]
struct Pool {
    squares: f64,
    dof: f64,
}

impl Pool {
    fn add(&mut self, values: &[f64]) {
        if values.len() >= 2 {
            let n = values.len() as f64;
            self.squares += covariance_of_means(values, values) * n * (n - 1.0);
            self.dof += n - 1.0;
        }
    }

    fn variance(&self) -> Option<f64> {
        (self.dof > 0.0).then(|| self.squares / self.dof)
    }
}

/// What is known of the errors at these states. The liquid's viscosity does not touch a viscosity in Pa s.
fn errors(
    states: &[&State],
    scatter: Scatter,
    reversals: &[StudyReversal],
    samples: &[Sample],
    geometries: &BTreeMap<String, Geometry>,
    subject: Subject,
) -> Errors {
    let n = |s: &State| s.loading_means.len().max(1) as f64;
    let filling = |s: &&State| vec![(s.sample.clone(), scatter.filling / n(s).sqrt())];
    let all: Vec<Vec<Effect>> = states
        .iter()
        .map(|s| {
            let liquid = liquid(s, samples).filter(|_| subject != Subject::FlowCurve);
            liquid.into_iter().chain(sensitivity_coefficients(s, reversals, geometries, subject)).collect()
        })
        .collect();
    let effects = |of: fn(&Effect) -> f64| {
        all.iter().map(|e| e.iter().map(|e| (e.source.clone(), of(e))).collect()).collect::<Vec<Vec<(String, f64)>>>()
    };
    let (ln, abscissa) = (effects(|e| e.ln_viscosity), effects(|e| e.ln_abscissa));
    let filling: Vec<_> = states.iter().map(filling).collect();
    Errors {
        own: states.iter().map(|s| scatter.own * scatter.own / n(s)).collect(),
        filling: products(&filling, &filling),
        shared: products(&ln, &ln),
        mixed: products(&ln, &abscissa),
        abscissae: products(&abscissa, &abscissa),
    }
}

/// What a source does to a state at one standard uncertainty.
struct Effect {
    source: String,
    ln_viscosity: f64,
    /// On the logarithm of what the model is a function of; 0 for a solid fraction, which has its own shift.
    ln_abscissa: f64,
}

fn products(a: &[Vec<(String, f64)>], b: &[Vec<(String, f64)>]) -> Vec<Vec<f64>> {
    a.iter().map(|a| b.iter().map(|b| common(a, b)).collect()).collect()
}

/// Sum of products of the effects of the sources that both have.
fn common(a: &[(String, f64)], b: &[(String, f64)]) -> f64 {
    a.iter().filter_map(|(name, a)| b.iter().find(|(other, _)| other == name).map(|(_, b)| a * b)).sum()
}

fn liquid(state: &State, samples: &[Sample]) -> Option<Effect> {
    let sample = samples.iter().find(|s| s.name == state.sample)?;
    let source = format!("liquid {}", sample.liquid.name);
    Some(Effect { source, ln_viscosity: sample.liquid.viscosity?.relative(), ln_abscissa: 0.0 })
}

/// Effect of every instrument and geometry term at one standard uncertainty. The stress is viscosity times rate.
fn sensitivity_coefficients(
    state: &State,
    reversals: &[StudyReversal],
    geometries: &BTreeMap<String, Geometry>,
    subject: Subject,
) -> Vec<Effect> {
    let members: Vec<&StudyReversal> = state
        .loading_means
        .iter()
        .flat_map(|l| &l.viscosity_from)
        .filter_map(|id| reversals.iter().find(|r| r.reversal == *id))
        .collect();
    let mut effects: BTreeMap<&str, Vec<(f64, f64)>> = BTreeMap::new();
    for (member, response) in
        members.iter().flat_map(|m| m.graded.read.sensitivity_coefficients.iter().map(move |r| (m, r)))
    {
        let ln_viscosity = 0.5 * (response.plus.0 - response.minus.0);
        let ln_rate = ln_rate(member, &response.term, geometries);
        let ln_abscissa = match subject {
            Subject::Thickening => ln_viscosity + ln_rate,
            Subject::FlowCurve => ln_rate,
            Subject::Packing => 0.0,
        };
        effects.entry(&response.term).or_default().push((ln_viscosity, ln_abscissa));
    }
    let part = |all: &[(f64, f64)], of: fn(&(f64, f64)) -> f64| {
        mean(&all.iter().map(of).collect::<Vec<_>>()) * all.len() as f64 / members.len() as f64
    };
    let effect = |(term, all): (&str, Vec<(f64, f64)>)| Effect {
        source: term.to_owned(),
        ln_viscosity: part(&all, |e| e.0),
        ln_abscissa: part(&all, |e| e.1),
    };
    effects.into_iter().map(effect).collect()
}

/// What a dimension of the reversal's geometry does to the rate at one standard uncertainty.
fn ln_rate(reversal: &StudyReversal, term: &str, geometries: &BTreeMap<String, Geometry>) -> f64 {
    let Some(geometry) = geometries.get(&reversal.identity.geometry) else { return 0.0 };
    let named = |key: &str| term == format!("geometries.{}.{key}", geometry.name);
    geometry.rate_terms().into_iter().find(|(key, ..)| named(key)).map_or(0.0, |(_, power, u)| power * u)
}

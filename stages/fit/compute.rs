//! The fits of a study: which data go to which model, the rows of the table, and the curves of the figures.

use super::data::{Data, data};
use super::params::{self, Params};
use super::result::{FitRow, Fits, FlowCurve, FlowPoint, LawCurve, LawPoint};
use super::solve::{Fit, Known, derived, fit, predict};
use crate::numerics::float;
use crate::physics::materials::Sample;
use crate::physics::models::krieger_dougherty::KriegerDougherty;
use crate::physics::models::maron_pierce::MaronPierce;
use crate::physics::models::wyart_cates::{ALPHA, BETA, WyartCates, discontinuous_onset};
use crate::physics::models::{Model, Point};
use crate::states::result::{State, States};
use std::collections::BTreeMap;

/// Points of a fitted curve.
const CURVE_POINTS: u16 = 80;
/// A curve ends where its band is known to this factor only: nothing is to be seen beyond.
const WIDEST_BAND: f64 = 1e3;

/// A model with the parameters that are held, and the data that it is fitted to.
struct Job<'a> {
    model: &'a dyn Model,
    scope: String,
    held: Vec<Option<f64>>,
    data: Data,
}

/// All fits that the settings ask for.
pub fn fits(states: &States, samples: &[Sample], params: &Params) -> Fits {
    if params.skip {
        let remarks = vec!["fits were left out by the study file".to_owned()];
        return Fits { skipped: true, remarks, ..Fits::default() };
    }
    let mut fits = Fits::default();
    for model in &params.models {
        for group in groups(samples) {
            match model {
                params::Model::WyartCates => thickening(states, samples, &group, params, &mut fits),
                params::Model::MaronPierce => packing(&MaronPierce, states, samples, &group, &mut fits),
                params::Model::KriegerDougherty => packing(&KriegerDougherty, states, samples, &group, &mut fits),
            }
        }
    }
    fits
}

/// Samples that one law can hold for: the same particles in the same liquid.
struct Group {
    /// The particles, with the liquid where that is needed; none where all samples are one group.
    name: Option<String>,
    samples: Vec<String>,
}

impl Group {
    fn holds(&self, state: &State) -> bool {
        self.samples.contains(&state.sample)
    }

    /// `all samples`, or what these have in common.
    fn scope(&self) -> String {
        self.name.clone().unwrap_or_else(|| "all samples".to_owned())
    }
}

fn groups(samples: &[Sample]) -> Vec<Group> {
    let mut found: BTreeMap<(&str, &str), Vec<String>> = BTreeMap::new();
    for sample in samples.iter().filter(|s| !s.control) {
        let particles = sample.particles.as_ref().map_or("", |p| p.name.as_str());
        found.entry((particles, &sample.liquid.name)).or_default().push(sample.name.clone());
    }
    let alone = found.len() < 2;
    let one_liquid = found.keys().all(|(_, liquid)| found.keys().all(|(_, other)| liquid == other));
    let name = |particles: &str, liquid: &str| match (alone, one_liquid) {
        (true, _) => None,
        (_, true) => Some(particles.to_owned()),
        (_, false) => Some(format!("{particles} in {liquid}")),
    };
    found.iter().map(|((p, l), samples)| Group { name: name(p, l), samples: samples.clone() }).collect()
}

/// Wyart and Cates over all samples and stresses of a group.
fn thickening(states: &States, samples: &[Sample], group: &Group, params: &Params, fits: &mut Fits) {
    let mut held = vec![None; WyartCates.parameters().len()];
    (held[ALPHA], held[BETA]) = (params.alpha, params.beta);
    let scope = group.scope();
    let Some(data) = data(states, samples, &|state| group.holds(state)) else {
        return without_data(&WyartCates, &scope, &held, fits);
    };
    let job = Job { model: &WyartCates, scope, held, data };
    if solid_fractions(&job.data) < 2 {
        let why = "not identified: one solid fraction does not tell the amplitude from the jamming fractions";
        return fits.rows.extend(words(&job, why));
    }
    let fit = fit(job.model, &job.held, &job.data);
    fits.rows.extend(rows(&job, &fit));
    fits.rows.extend(onset(&job, &fit));
    if fit.meets_data(&job.data) {
        fits.flow_curves.extend((0..job.data.samples.len()).filter_map(|s| flow_curve(&job, &fit, s, samples)));
    }
}

/// A law against the solid fraction, at the state of lowest and of highest stress of every sample.
fn packing(model: &dyn Model, states: &States, samples: &[Sample], group: &Group, fits: &mut Fits) {
    for (end, high) in [("low stress", false), ("high stress", true)] {
        let scope = group.name.as_ref().map_or_else(|| end.to_owned(), |name| format!("{end}, {name}"));
        let held = vec![None; model.parameters().len()];
        let Some(data) = data(states, samples, &|s| group.holds(s) && is_end(s, &states.states, high)) else {
            without_data(model, &scope, &held, fits);
            continue;
        };
        let job = Job { model, scope, held, data };
        let fit = fit(job.model, &job.held, &job.data);
        let mut rows = rows(&job, &fit);
        let stresses = stress_range(&job.data);
        rows.iter_mut().for_each(|r| r.remarks.push(stresses.clone()));
        fits.rows.extend(rows);
        if fit.meets_data(&job.data) {
            fits.law_curves.extend(law_curve(&job, &fit));
        }
    }
}

/// Whether the state has the lowest (highest) stress among those of its sample with a relative viscosity.
fn is_end(state: &State, states: &[State], high: bool) -> bool {
    let stress = |s: &State| s.relative_viscosity.and(s.stress_pa).map(|i| i.value);
    let own = states.iter().filter(|s| s.sample == state.sample).filter_map(stress);
    let end = own.reduce(|a, b| if high { a.max(b) } else { a.min(b) });
    end.is_some() && stress(state) == end
}

fn stress_range(data: &Data) -> String {
    let stresses = || data.points.iter().map(|p| p.stress_pa);
    let (low, high) = (stresses().fold(f64::INFINITY, f64::min), stresses().fold(0.0, f64::max));
    let three = |x: f64| format!("{x:.2e}").parse().unwrap_or(x);
    match data.points.len() {
        1 => format!("one state at {} Pa", three(low)),
        _ => format!("states from {} to {} Pa", three(low), three(high)),
    }
}

fn solid_fractions(data: &Data) -> usize {
    let mut all: Vec<f64> = data.points.iter().map(|p| p.volume_fraction).collect();
    all.sort_by(f64::total_cmp);
    all.dedup();
    all.len()
}

fn without_data(model: &dyn Model, scope: &str, held: &[Option<f64>], fits: &mut Fits) {
    let why = "not fitted: no state has a relative viscosity, a stress and a solid fraction";
    fits.rows.extend(row_heads(model, scope, held, why));
}

/// Rows that hold words only.
fn words(job: &Job<'_>, why: &str) -> Vec<FitRow> {
    row_heads(job.model, &job.scope, &job.held, why)
}

fn row_heads(model: &dyn Model, scope: &str, held: &[Option<f64>], why: &str) -> Vec<FitRow> {
    let row = |(parameter, held): (&crate::physics::models::Parameter, &Option<f64>)| FitRow {
        value: *held,
        remarks: vec![why.to_owned()],
        ..empty_row(model, scope, parameter.name, parameter.unit)
    };
    model.parameters().iter().zip(held).map(row).collect()
}

fn empty_row(model: &dyn Model, scope: &str, parameter: &str, unit: &str) -> FitRow {
    FitRow {
        model: model.name().to_owned(),
        scope: scope.to_owned(),
        parameter: parameter.to_owned(),
        unit: unit.to_owned(),
        value: None,
        u_value: None,
        value_low: None,
        value_high: None,
        rss: None,
        degrees_of_freedom: None,
        aicc: None,
        bic: None,
        remarks: Vec::new(),
    }
}

/// A row per parameter.
fn rows(job: &Job<'_>, fit: &Fit) -> Vec<FitRow> {
    let parameters = job.model.parameters().iter().zip(&fit.known);
    parameters.map(|(parameter, known)| row(job, fit, parameter.name, parameter.unit, known)).collect()
}

fn row(job: &Job<'_>, fit: &Fit, name: &str, unit: &str, known: &Known) -> FitRow {
    let criteria = fit.rss.map(|rss| criteria(rss, fit.n, fit.free));
    FitRow {
        value: known.value,
        u_value: known.u,
        value_low: known.interval.map(|i| i.0),
        value_high: known.interval.map(|i| i.1),
        rss: fit.rss,
        degrees_of_freedom: fit.rss.map(|_| fit.dof),
        aicc: criteria.and_then(|c| c.0),
        bic: criteria.and_then(|c| c.1),
        remarks: known.remarks.iter().chain(&fit.remarks).cloned().collect(),
        ..empty_row(job.model, &job.scope, name, unit)
    }
}

/// AICc and BIC of `free` parameters and the variance, from −2 ln L = n ln(S/n) + n(1 + ln 2π).
///
/// Comparable between models of the same data only. AICc is none unless n > k + 1; both are none for S = 0.
///
/// # Source
/// Akaike 1974; Hurvich & Tsai 1989; Schwarz 1978. The variance counts as a parameter (Burnham & Anderson 2002).
pub(super) fn criteria(rss: f64, n: usize, free: usize) -> (Option<f64>, Option<f64>) {
    let (n, k) = (n as f64, free as f64 + 1.0);
    let deviance = n * float::ln(rss / n) + n * (1.0 + float::ln(2.0 * std::f64::consts::PI));
    if !deviance.is_finite() {
        return (None, None);
    }
    let aicc = (n > k + 1.0).then(|| deviance + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0));
    (aicc, Some(deviance + k * float::ln(n)))
}

/// Where thickening first turns discontinuous, as two more rows; none unless every parameter is known.
fn onset(job: &Job<'_>, fit: &Fit) -> Vec<FitRow> {
    if fit.rss.is_none() || fit.known.iter().any(|k| k.value.is_none()) {
        return Vec::new();
    }
    let of = |name: &str, unit: &str, pick: fn((f64, f64)) -> f64| {
        let known = derived(job.model, &job.held, &job.data, fit, &|p| discontinuous_onset(p).map(pick))?;
        Some(row(job, fit, name, unit, &known))
    };
    [of("phi_dst", "", |o| o.0), of("sigma_dst", "Pa", |o| o.1)].into_iter().flatten().collect()
}

/// The flow curve of one sample at its fitted solid fraction, over twice the range of stress of the study.
fn flow_curve(job: &Job<'_>, fit: &Fit, sample: usize, samples: &[Sample]) -> Option<FlowCurve> {
    let stresses = || job.data.points.iter().map(|p| p.stress_pa);
    let (low, high) = (stresses().fold(f64::INFINITY, f64::min) / 2.0, stresses().fold(0.0, f64::max) * 2.0);
    let name = &job.data.samples[sample].0;
    let liquid = samples.iter().find(|s| s.name == *name).and_then(|s| s.liquid.viscosity).map(|q| q.value);
    let point = |stress_pa: f64| {
        let point = Point { volume_fraction: fit.fractions[sample], stress_pa };
        let (value, low, high) = with_band(job, fit, Some(sample), point)?;
        let rate_per_s = liquid.filter(|v| *v > 0.0).map(|v| stress_pa / (v * value));
        Some(FlowPoint { stress_pa, relative_viscosity: value, rate_per_s, low, high })
    };
    let grid = (0..=CURVE_POINTS).map(|i| low * float::pow(high / low, f64::from(i) / f64::from(CURVE_POINTS)));
    let points: Vec<FlowPoint> = grid.filter_map(point).collect();
    let volume_fraction = fit.fractions[sample];
    (!points.is_empty()).then(|| FlowCurve {
        model: job.model.name().to_owned(),
        sample: name.clone(),
        volume_fraction,
        points,
    })
}

/// The law from three quarters of the smallest solid fraction until its band leaves the page.
fn law_curve(job: &Job<'_>, fit: &Fit) -> Option<LawCurve> {
    let fractions = || job.data.points.iter().map(|p| p.volume_fraction);
    let low = 0.75 * fractions().fold(f64::INFINITY, f64::min);
    let high = fit.values[0].min(fractions().fold(0.0, f64::max) + 0.1);
    let point = |i: u16| {
        let volume_fraction = low + (high - low) * f64::from(i) / f64::from(CURVE_POINTS);
        let (relative_viscosity, low, high) = with_band(job, fit, None, Point { volume_fraction, stress_pa: 1.0 })?;
        Some(LawPoint { volume_fraction, relative_viscosity, low, high })
    };
    let points: Vec<LawPoint> = (0..CURVE_POINTS).map_while(point).collect();
    let (model, scope) = (job.model.name().to_owned(), job.scope.clone());
    (!points.is_empty()).then_some(LawCurve { model, scope, points })
}

/// Relative viscosity with its band; none where jammed, or where the band says nothing.
fn with_band(job: &Job<'_>, fit: &Fit, sample: Option<usize>, point: Point) -> Option<(f64, f64, f64)> {
    let (ln, half) = predict(job.model, &job.held, &job.data, fit, sample, point)?;
    (half < float::ln(WIDEST_BAND)).then(|| (float::exp(ln), float::exp(ln - half), float::exp(ln + half)))
}

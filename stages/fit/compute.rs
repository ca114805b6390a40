//! The fits of a study: which data go to which model, laws against the solid fraction, flow curves of single samples.
//! Wyart and Cates is in `thickening`, the two parts of the viscosity in `parts`.

use super::constant::is_constant;
use super::curves::{law_curve, own_flow_curve};
use super::data::{Data, data};
use super::group::{Group, groups};
use super::known::{self, Known, drawable, short};
use super::params::Params;
use super::parts::parts;
use super::result::{FitQuality, Fits};
use super::rows::{Job, no_fit, quality, residuals, rows, weights, words};
use super::solve::{Fit, fit};
use super::thickening::thickening;
use crate::physics::geometry::Geometry;
use crate::physics::materials::Sample;
use crate::physics::models::{self, Model, Subject};
use crate::states::result::{State, States};
use std::collections::BTreeMap;

/// What is fitted, and what it was measured with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Study<'a> {
    pub states: &'a States,
    pub samples: &'a [Sample],
    pub geometries: &'a BTreeMap<String, Geometry>,
}

/// All fits that the settings ask for.
pub fn fits(states: &States, samples: &[Sample], geometries: &BTreeMap<String, Geometry>, params: &Params) -> Fits {
    let study = Study { states, samples, geometries };
    if params.skip {
        let remarks = vec!["fits were left out by the study file".to_owned()];
        return Fits { skipped: true, remarks, ..Fits::default() };
    }
    let mut fits = Fits::default();
    for model in params.models.iter().filter_map(|name| models::find(name.as_str())) {
        for group in groups(samples) {
            match model.subject() {
                Subject::Thickening => thickening(study, &group, params, &mut fits),
                Subject::Packing => packing(model, study, &group, params, &mut fits),
                Subject::FlowCurve => flow_curves(model, study, &group, params, &mut fits),
            }
        }
    }
    for group in groups(samples) {
        parts(states, &group, &mut fits);
    }
    weigh(&mut fits.quality);
    let minded = fits.flow_states.iter().filter(|s| !s.remarks.is_empty());
    fits.remarks.extend(minded.map(|s| format!("{} at {}: {}", s.sample, s.set_point, s.remarks.join("; "))));
    let advice = |q: &FitQuality| q.further_measurements.clone();
    let mut advice: Vec<String> = fits.quality.iter().flat_map(advice).collect();
    let mut seen = std::collections::BTreeSet::new();
    advice.retain(|a| seen.insert(a.clone()));
    if !advice.is_empty() {
        fits.remarks.push(format!("what would tell more: {}", advice.join("; ")));
    }
    fits
}

/// A law against the solid fraction, at the state of lowest and of highest stress of every sample.
fn packing(model: &dyn Model, study: Study<'_>, group: &Group, params: &Params, fits: &mut Fits) {
    for (end, high) in [("low stress", false), ("high stress", true)] {
        let scope = group.name.as_ref().map_or_else(|| end.to_owned(), |name| format!("{end}, {name}"));
        let pick = |s: &State| group.holds(s) && is_end(s, &study.states.states, high);
        let Some(data) = data(study, model.subject(), &pick) else {
            let why = "not fitted: no state has a relative viscosity, a stress and a solid fraction";
            without_data(model, &scope, why, params, fits);
            continue;
        };
        let stresses = stress_range(&data);
        one(model, scope, data, params, fits, |job, fit, _, fits| {
            fits.law_curves.extend(law_curve(job, fit));
            fits.rows.iter_mut().rev().take(job.held.len()).for_each(|r| r.remarks.push(stresses.clone()));
        });
    }
}

const ONE_LEVEL: &str = "not identified: the viscosity does not depend on the rate beyond its uncertainty, and one level \
                         tells neither a second one nor where one passes into the other";

/// A flow curve for every sample on its own.
fn flow_curves(model: &dyn Model, study: Study<'_>, group: &Group, params: &Params, fits: &mut Fits) {
    for sample in &group.samples {
        let Some(data) = data(study, model.subject(), &|s| s.sample == *sample) else {
            without_data(model, sample, "not fitted: no state has a viscosity and a rate", params, fits);
            continue;
        };
        if model.plateaus() && is_constant(&data) {
            let wider = format!("a wider range of rates for {} ({sample})", model.title());
            without(model, sample, ONE_LEVEL, vec![wider], params, fits);
            continue;
        }
        one(model, sample.clone(), data, params, fits, |job, fit, _, fits| {
            fits.flow_curves.extend(own_flow_curve(job, fit, study.samples));
        });
    }
}

fn without_data(model: &dyn Model, scope: &str, why: &str, params: &Params, fits: &mut Fits) {
    without(model, scope, why, Vec::new(), params, fits);
}

/// Words in place of a fit, and what would make one possible.
fn without(
    model: &dyn Model,
    scope: &str,
    why: &str,
    further_measurements: Vec<String>,
    params: &Params,
    fits: &mut Fits,
) {
    let held = vec![None; model.parameters().len()];
    fits.rows.extend(words(model, scope, &held, why));
    let remarks = vec![why.to_owned()];
    fits.quality.push(FitQuality { further_measurements, remarks, ..no_fit(model, scope, params) });
}

/// One fit with its rows; `more` adds what the kind of model has besides, where curves may be drawn.
fn one(
    model: &dyn Model,
    scope: String,
    data: Data,
    params: &Params,
    fits: &mut Fits,
    more: impl FnOnce(&Job<'_>, &Fit<'_>, &[Known], &mut Fits),
) {
    let job = Job { model, scope, held: vec![None; model.parameters().len()], data };
    let fit = fit(job.model, &job.held, &job.data, params.loss, params.loss_scale);
    let known = known::parameters(&fit, &job.held);
    fits.rows.extend(rows(&job, &fit, &known));
    fits.quality.push(quality(&job, &fit, params, advice(&job, &known, fit.found.is_ok())));
    fits.residuals.extend(residuals(&job, &fit));
    if drawable(&fit) {
        more(&job, &fit, &known, fits);
    }
}

/// Which measurement would give the parameters that have no value.
fn advice(job: &Job<'_>, known: &[Known], fitted: bool) -> Vec<String> {
    let missing = known.iter().zip(job.model.parameters()).filter(|(k, _)| k.value.is_none());
    if missing.count() == 0 {
        return Vec::new();
    }
    let need = job.held.len() + 1;
    let what = match job.model.subject() {
        Subject::FlowCurve if fitted => "a wider range of rates".to_owned(),
        Subject::FlowCurve => format!("at least {need} rates"),
        _ if fitted => "solid fractions further apart and nearer to jamming".to_owned(),
        _ => format!("at least {need} solid fractions"),
    };
    vec![format!("{what} for {} ({})", job.model.title(), job.scope)]
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
    match data.points.len() {
        1 => format!("one state at {} Pa", short(low)),
        _ => format!("states from {} to {} Pa", short(low), short(high)),
    }
}

/// Akaike weights among fits of the same scope, which are fits of the same data.
fn weigh(quality: &mut [FitQuality]) {
    let scopes: Vec<String> = quality.iter().map(|q| q.scope.clone()).collect();
    for scope in &scopes {
        let fitted: Vec<usize> =
            (0..quality.len()).filter(|i| quality[*i].scope == *scope && quality[*i].rss.is_some()).collect();
        let aicc: Vec<Option<f64>> = fitted.iter().map(|i| quality[*i].aicc).collect();
        let found = weights(&aicc).unwrap_or_default();
        fitted.iter().zip(found).for_each(|(i, w)| quality[*i].akaike_weight = Some(w));
    }
}

//! The fits of a study: which data go to which model, laws against the solid fraction, flow curves of single samples.
//! Wyart and Cates is in `thickening`, the two parts of the viscosity in `parts`.

use super::constant::is_constant;
use super::curves::{law_curve, own_flow_curve};
use super::data::{Data, data};
use super::group::{Group, groups};
use super::known::{self, Known, drawable};
use super::params::Params;
use super::parts::parts;
use super::remark::{Need, Remark};
use super::result::{FitQuality, Fits, Scope, Selection};
use super::rows::{Job, no_fit, quality, residuals, rows, weights, without_values};
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
        return Fits { skipped: true, ..Fits::default() };
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
    fits
}

/// A law against the solid fraction, at the state of lowest and of highest stress of every sample.
fn packing(model: &dyn Model, study: Study<'_>, group: &Group, params: &Params, fits: &mut Fits) {
    for end in [Selection::LowStress, Selection::HighStress] {
        let high = end == Selection::HighStress;
        let scope = group.scope(end);
        let pick = |s: &State| group.holds(s) && is_end(s, &study.states.states, high);
        let Some(data) = data(study, model.subject(), &pick) else {
            without(model, &scope, &Remark::NoStates { subject: model.subject() }, Vec::new(), params, fits);
            continue;
        };
        let stresses = stresses_fitted(&data);
        one(model, scope, data, params, fits, |job, fit, _, fits| {
            fits.law_curves.extend(law_curve(job, fit));
            fits.rows.iter_mut().rev().take(job.held.len()).for_each(|r| r.remarks.push(stresses.clone()));
        });
    }
}

/// A flow curve for every sample on its own.
fn flow_curves(model: &dyn Model, study: Study<'_>, group: &Group, params: &Params, fits: &mut Fits) {
    for sample in &group.samples {
        let scope = Scope::sample(sample);
        let Some(data) = data(study, model.subject(), &|s| s.sample == *sample) else {
            without(model, &scope, &Remark::NoStates { subject: model.subject() }, Vec::new(), params, fits);
            continue;
        };
        if model.plateaus() && is_constant(&data) {
            without(model, &scope, &Remark::NoRateDependence, vec![Need::WiderRates], params, fits);
            continue;
        }
        one(model, scope, data, params, fits, |job, fit, _, fits| {
            fits.flow_curves.extend(own_flow_curve(job, fit, study.samples));
        });
    }
}

/// Why there is no fit, and what would make one possible.
fn without(
    model: &dyn Model,
    scope: &Scope,
    why: &Remark,
    further_measurements: Vec<Need>,
    params: &Params,
    fits: &mut Fits,
) {
    let held = vec![None; model.parameters().len()];
    fits.rows.extend(without_values(model, scope, &held, why));
    let remarks = vec![why.clone()];
    fits.quality.push(FitQuality { further_measurements, remarks, ..no_fit(model, scope, params) });
}

/// One fit with its rows; `more` adds what the kind of model has besides, where curves may be drawn.
fn one(
    model: &dyn Model,
    scope: Scope,
    data: Data,
    params: &Params,
    fits: &mut Fits,
    more: impl FnOnce(&Job<'_>, &Fit<'_>, &[Known], &mut Fits),
) {
    let job = Job { model, scope, held: vec![None; model.parameters().len()], data };
    let fit = fit(job.model, &job.held, &job.data, params.loss, params.loss_scale);
    let known = known::parameters(&fit, &job.held);
    fits.rows.extend(rows(&job, &fit, &known));
    fits.quality.push(quality(&job, &fit, params, needs(&job, &known, fit.found.is_ok()).into_iter().collect()));
    fits.residuals.extend(residuals(&job, &fit));
    if drawable(&fit) {
        more(&job, &fit, &known, fits);
    }
}

/// Which measurement would give the parameters that have no value.
fn needs(job: &Job<'_>, known: &[Known], fitted: bool) -> Option<Need> {
    let at_least = job.held.len() as u32 + 1;
    let need = match job.model.subject() {
        Subject::FlowCurve if fitted => Need::WiderRates,
        Subject::FlowCurve => Need::Rates { rates: at_least },
        _ if fitted => Need::WiderFractions,
        _ => Need::Fractions { fractions: at_least },
    };
    known.iter().any(|k| k.value.is_none()).then_some(need)
}

/// Whether the state has the lowest (highest) stress among those of its sample with a relative viscosity.
fn is_end(state: &State, states: &[State], high: bool) -> bool {
    let stress = |s: &State| s.relative_viscosity.and(s.stress_pa).map(|i| i.value);
    let own = states.iter().filter(|s| s.sample == state.sample).filter_map(stress);
    let end = own.reduce(|a, b| if high { a.max(b) } else { a.min(b) });
    end.is_some() && stress(state) == end
}

fn stresses_fitted(data: &Data) -> Remark {
    let (low_pa, high_pa) = data.stress_range();
    Remark::Stresses { states: data.points.len() as u32, low_pa, high_pa }
}

/// Akaike weights among fits of the same scope, which are fits of the same data.
fn weigh(quality: &mut [FitQuality]) {
    let scopes: Vec<Scope> = quality.iter().map(|q| q.scope.clone()).collect();
    for scope in &scopes {
        let fitted: Vec<usize> =
            (0..quality.len()).filter(|i| quality[*i].scope == *scope && quality[*i].rss.is_some()).collect();
        let aicc: Vec<Option<f64>> = fitted.iter().map(|i| quality[*i].aicc).collect();
        let found = weights(&aicc).unwrap_or_default();
        fitted.iter().zip(found).for_each(|(i, w)| quality[*i].akaike_weight = Some(w));
    }
}

//! From the reversals of one condition to a state: repeats → loadings → state.

use super::params::{LowestGrade, Params};
use super::result::{Interval, LoadingMean, Remark, State, StudyReversal};
use super::set_points::Given;
use crate::numerics::float;
use crate::numerics::interval::{Mean, mean, median, z_of};
use crate::physics::materials::Sample;
use crate::physics::shares::{self, Shares, Within};
use crate::reversal::result::{Before, Estimate, Grade, Graded};
use std::collections::BTreeMap;

/// The state of `sample` at `given` from all its reversals.
pub(super) fn state(sample: &Sample, given: &Given, members: &[&StudyReversal], params: &Params) -> State {
    let means = loading_means(members, params);
    let mut state = State::unread(sample, given.label.clone(), given.controlled);
    (state.set_point_told, state.reversals_found) = (given.told, members.len() as u32);
    let within = within(members, params);
    (state.u_ln_viscosity_within, state.u_z_within) = (within.ln_viscosity, within.z);
    state.u_z_shared = params.shared_part * median_u_z(members, params);
    state.loading_means = means;
    fill_means(&mut state, sample, members, params);
    fill_shares(&mut state, members, params);
    state
}

/// −ln(1 − X) with its standard uncertainty, where the reversal enters the contact share.
fn entering_z(graded: &Graded, params: &Params) -> Option<Estimate> {
    let lowest = match params.lowest_grade {
        LowestGrade::A => Grade::A,
        LowestGrade::B => Grade::B,
        LowestGrade::C => Grade::C,
    };
    let share = graded.contact_share.filter(|x| graded.resolved && graded.grade <= lowest && x.value < 1.0)?;
    Some(Estimate { value: z_of(share.value), u: share.u / (1.0 - share.value) })
}

/// The stretch before, where the reversal enters the viscosity: everything that enters the contact share, and what
/// was steady but could not be read after the reversal.
fn entering_before<'a>(graded: &'a Graded, params: &Params) -> Option<&'a Before> {
    let before = graded.read.before.as_ref()?;
    let steady = before.steady && !before.steady_not_shown && graded.grade != Grade::F;
    let positive = before.viscosity_pa_s.value > 0.0 && before.viscosity_pa_s.value.is_finite();
    (positive && (steady || entering_z(graded, params).is_some())).then_some(before)
}

fn by_loading<'a>(members: &[&'a StudyReversal]) -> BTreeMap<&'a str, Vec<&'a StudyReversal>> {
    let mut loadings: BTreeMap<&str, Vec<&StudyReversal>> = BTreeMap::new();
    members.iter().for_each(|m| loadings.entry(m.identity.loading.as_str()).or_default().push(m));
    loadings
}

fn loading_means(members: &[&StudyReversal], params: &Params) -> Vec<LoadingMean> {
    by_loading(members).into_iter().filter_map(|(loading, repeats)| loading_mean(loading, &repeats, params)).collect()
}

/// Mean over the repeats of one loading; none where nothing steady was seen in it.
fn loading_mean(loading: &str, repeats: &[&StudyReversal], params: &Params) -> Option<LoadingMean> {
    let named = |keep: &dyn Fn(&Graded) -> Option<f64>| {
        let kept = repeats.iter().filter_map(|r| Some((r.reversal.clone(), keep(&r.graded)?)));
        kept.unzip::<String, f64, Vec<String>, Vec<f64>>()
    };
    let (viscosity_from, ln_viscosity) =
        named(&|j| entering_before(j, params).map(|b| float::ln(b.viscosity_pa_s.value)));
    let (share_from, z) = named(&|j| entering_z(j, params).map(|z| z.value));
    let (_, u_z) = named(&|j| entering_z(j, params).map(|z| z.u));
    (!ln_viscosity.is_empty()).then(|| LoadingMean {
        loading: loading.to_owned(),
        ln_viscosity: mean(&ln_viscosity),
        z: (!z.is_empty()).then(|| mean(&z)),
        u_z: (!u_z.is_empty()).then(|| median(&u_z)),
        resolved: z.len() as u32,
        found: repeats.len() as u32,
        viscosity_from,
        share_from,
    })
}

fn median_u_z(members: &[&StudyReversal], params: &Params) -> f64 {
    let all: Vec<f64> = members.iter().filter_map(|m| entering_z(&m.graded, params)).map(|z| z.u).collect();
    if all.is_empty() { 0.0 } else { median(&all) }
}

/// Standard uncertainties of the mean over all repeats, as the repeats state them.
fn within(members: &[&StudyReversal], params: &Params) -> Within {
    let of_mean = |u: Vec<f64>| match u.len() {
        0 => 0.0,
        n => u.iter().map(|u| u * u).sum::<f64>().sqrt() / n as f64,
    };
    let before = members.iter().filter_map(|m| entering_before(&m.graded, params));
    let ln_viscosity = before.map(|b| b.viscosity_pa_s.u / b.viscosity_pa_s.value).collect();
    let z = members.iter().filter_map(|m| entering_z(&m.graded, params)).map(|z| z.u).collect();
    Within { ln_viscosity: of_mean(ln_viscosity), z: of_mean(z) }
}

/// Viscosity, relative viscosity, stress and rate.
fn fill_means(state: &mut State, sample: &Sample, members: &[&StudyReversal], params: &Params) {
    let viscosity = shares::ln_viscosity(&state.loadings_for_shares(), state.within(), 0.0);
    state.viscosity_pa_s = viscosity.map(Mean::exponential);
    let liquid = sample.liquid.viscosity.map(|q| q.value).filter(|v| *v > 0.0);
    state.relative_viscosity = viscosity.zip(liquid).map(|(v, l)| v.about(v.value - float::ln(l)).exponential());
    state.stress_pa = measured(members, params, |b| b.stress_pa);
    state.rate_per_s = measured(members, params, |b| b.rate_per_s);
    state.degrees_of_freedom = viscosity.and_then(|v| v.degrees_of_freedom);
}

/// Geometric mean of a positive quantity before the reversals, over repeats and then over loadings.
fn measured(members: &[&StudyReversal], params: &Params, of: fn(&Before) -> Estimate) -> Option<Interval> {
    let mut within = Vec::new();
    let mut means = Vec::new();
    for repeats in by_loading(members).values() {
        let estimates: Vec<Estimate> =
            repeats.iter().filter_map(|r| entering_before(&r.graded, params)).map(of).collect();
        if estimates.is_empty() {
            continue;
        }
        within.extend(estimates.iter().map(|e| e.u / e.value));
        means.push(mean(&estimates.iter().map(|e| float::ln(e.value)).collect::<Vec<f64>>()));
    }
    let within = within.iter().map(|u| u * u).sum::<f64>().sqrt() / within.len() as f64;
    Mean::of_loadings(&means, within, 0.0).map(Mean::exponential)
}

/// The contact share and what follows from it, or the bound.
fn fill_shares(state: &mut State, members: &[&StudyReversal], params: &Params) {
    let usable = members.iter().filter(|m| m.graded.grade != Grade::F).count();
    let entering = members.iter().filter(|m| entering_z(&m.graded, params).is_some()).count();
    let loadings = state.loading_means.iter().filter(|l| l.z.is_some()).count();
    let only_loading = by_loading(members).len() == 1;
    let enough_loadings = loadings >= 2 || (loadings == 1 && only_loading);
    let enough_reversals = entering as f64 >= params.resolved_share * usable as f64 && entering > 0;
    if enough_loadings && enough_reversals {
        (state.loadings, state.reversals) = (loadings as u32, entering as u32);
        if let Some(found) = shares::shares(&state.loadings_for_shares(), state.within(), state.shared()) {
            set_shares(state, found);
        }
    } else {
        state.contact_share_bound = largest_bound(members);
        let [resolved, usable, loadings] = [entering, usable, loadings].map(|n| n as u32);
        state.remarks.push(Remark::NotResolved { resolved, usable, loadings });
    }
    if only_loading && usable > 0 {
        state.remarks.push(Remark::OneLoading);
    }
    if members.len() > usable {
        let [reversals, found] = [members.len() - usable, members.len()].map(|n| n as u32);
        state.remarks.push(Remark::NotUsable { reversals, found });
    }
}

/// Writes the shares of `found` into the state.
fn set_shares(state: &mut State, found: Shares) {
    state.contact_share = Some(found.contact_share);
    state.hydrodynamic_viscosity_pa_s = Some(found.hydrodynamic);
    state.contact_viscosity_pa_s = Some(found.contact);
    state.degrees_of_freedom = found.degrees_of_freedom;
}

fn largest_bound(members: &[&StudyReversal]) -> Option<f64> {
    let unresolved = members.iter().filter(|m| !m.graded.resolved && m.graded.grade != Grade::F);
    unresolved.filter_map(|m| m.graded.contact_share_low).max_by(f64::total_cmp)
}

/// Mean logarithm of the stress before over all reversals that have one: the order of states, not a result.
pub(super) fn ln_stress(members: &[&StudyReversal]) -> f64 {
    let before = members.iter().filter_map(|m| m.graded.read.before.as_ref());
    let ln: Vec<f64> = before.map(|b| float::ln(b.stress_pa.value.abs())).filter(|l| l.is_finite()).collect();
    if ln.is_empty() { f64::INFINITY } else { mean(&ln) }
}

//! Monte Carlo over instrument and sample terms, joined with the scatter of loadings, and the budget.
//!
//! JCGM 101: every term has one draw per trial, shared by all that it touches, so what is common to numerator and
//! denominator cancels by itself. The standard deviations over trials join the shared term of each state and of the
//! rise; t stays with the scatter between loadings alone, and `degrees_of_freedom` stays n − 1 (rule and reason in
//! `numerics::interval`).

use super::effects::{Effect, OfLoading, Parabola, Terms, liquid};
use super::params::Params;
use super::result::{Budget, BudgetRow};
use crate::numerics::draws::Draws;
use crate::numerics::fieller::Spread;
use crate::numerics::interval::{Interval, Mean, covariance_of_means, share_of};
use crate::numerics::{float, interval};
use crate::physics::geometry::Geometry;
use crate::physics::materials::Sample;
use crate::physics::rise::Ends;
use crate::physics::shares::{self, Shared};
use crate::states::result::{LoadingMean, State, States, rise};
use std::collections::BTreeMap;

/// Name of the source that the loadings themselves show.
const SCATTER: &str = "scatter between loadings";
/// Its name where there is one loading.
const WITHIN: &str = "scatter within the loading";
/// Name of the source that all reversals of a state share.
const SHARED: &str = "shared by all reversals";

/// Draws of every term, a row of trials each.
struct Trials<'a> {
    terms: Terms<'a>,
    draws: Vec<Vec<f64>>,
    liquids: BTreeMap<String, Vec<f64>>,
    n: usize,
}

/// States with joined intervals, and the budget.
pub fn joined(
    states: &States,
    samples: &[Sample],
    geometries: &BTreeMap<String, Geometry>,
    seed: u64,
    params: &Params,
) -> (States, Budget) {
    if params.skip {
        let remarks = vec!["terms of instrument and sample were left out by the study file".to_owned()];
        return (states.clone(), Budget { skipped: true, remarks, ..Budget::default() });
    }
    let trials = draw(Terms::of(&states.reversals, geometries), samples, seed, params.trials as usize);
    let (mut out, mut rows) = (states.clone(), Vec::new());
    for state in &mut out.states {
        let own = liquid(samples.iter().find(|s| s.name == state.sample));
        join_state(state, &trials, own.as_ref(), &mut rows);
    }
    for row in &mut out.thickening {
        let end = |label: &Option<String>| {
            out.states.iter().find(|s| s.sample == row.sample && Some(&s.set_point) == label.as_ref())
        };
        let (Some(low), Some(high)) = (end(&row.set_point_low), end(&row.set_point_high)) else { continue };
        let (joined, parts) = rise_terms(low, high, &trials);
        let (alone, all) = (rise(low, high, Spread::default()), rise(low, high, joined));
        row.settle(all.as_ref());
        if let (Some(alone), Some(_)) = (alone, row.contact_share_of_rise) {
            let scatter = if alone.loadings > 1 { SCATTER } else { WITHIN };
            let mut sources = vec![(scatter.to_owned(), alone.u_scatter), (SHARED.to_owned(), alone.u_shared)];
            let of = |spread: &Spread| spread.at(alone.share).max(0.0).sqrt() / alone.rise.abs();
            sources.extend(trials.terms.names.iter().cloned().zip(parts.iter().map(of)));
            rows.extend(budget("contact_share_of_rise", &row.sample, None, sources));
        }
    }
    (out, Budget { rows, skipped: false, remarks: Vec::new() })
}

fn draw<'a>(terms: Terms<'a>, samples: &[Sample], seed: u64, n: usize) -> Trials<'a> {
    let draws = terms.names.iter().map(|name| Draws::named(seed, name).normals(n)).collect();
    let names = samples.iter().filter_map(|s| liquid(Some(s))).map(|(name, _)| name);
    let liquids = names.map(|name| (name.clone(), Draws::named(seed, &name).normals(n))).collect();
    Trials { terms, draws, liquids, n }
}

impl Trials<'_> {
    /// Sum over terms of what `of` takes from each effect, trial by trial.
    fn sum(&self, effects: &[Effect], of: fn(&Effect) -> Parabola) -> Vec<f64> {
        let mut sum = vec![0.0; self.n];
        for (effect, draws) in effects.iter().zip(&self.draws) {
            let parabola = of(effect);
            sum.iter_mut().zip(draws).for_each(|(s, d)| *s += parabola.at(*d));
        }
        sum
    }

    /// Standard deviation over the draws of one term.
    fn u(&self, term: usize, parabola: Parabola) -> f64 {
        deviation(&self.draws[term].iter().map(|d| parabola.at(*d)).collect::<Vec<f64>>())
    }
}

/// Standard deviation.
fn deviation(values: &[f64]) -> f64 {
    (covariance_of_means(values, values) * values.len() as f64).sqrt()
}

/// Joins the intervals of one state and adds its part of the budget.
fn join_state(state: &mut State, trials: &Trials<'_>, own: Option<&(String, f64)>, rows: &mut Vec<BudgetRow>) {
    let effects = trials.terms.on_state(state);
    let ln_viscosity = trials.sum(&effects, |e| e.ln_viscosity);
    let loadings = state.loadings_for_shares();
    let within = state.within();
    let one = |shared: f64| shares::ln_viscosity(&loadings, within, shared);
    let joined = one(deviation(&ln_viscosity));
    state.viscosity_pa_s = joined.map(Mean::exponential);
    if let (Some(relative), Some((name, u))) = (state.relative_viscosity, own) {
        let line = Parabola::line(-u);
        let with_liquid: Vec<f64> =
            ln_viscosity.iter().zip(&trials.liquids[name]).map(|(v, d)| v + line.at(*d)).collect();
        let mean = one(deviation(&with_liquid)).map(|m| m.about(float::ln(relative.value)));
        state.relative_viscosity = mean.map(|m| Interval { value: relative.value, ..m.exponential() });
    }
    state.rate_per_s = state.rate_per_s.map(|r| r.widened(deviation(&trials.sum(&effects, |e| e.ln_rate))));
    let ln_stress = trials.sum(&effects, |e| e.ln_viscosity.plus(e.ln_rate));
    state.stress_pa = state.stress_pa.map(|s| s.widened(deviation(&ln_stress)));
    join_shares(state, trials, &effects, &ln_viscosity);
    let scatter = one(0.0).map_or(0.0, |m| m.u);
    rows.extend(state_budget(state, trials, &effects, own, scatter));
}

/// Joins contact share, hydrodynamic and contact viscosity, where the state has them.
fn join_shares(state: &mut State, trials: &Trials<'_>, effects: &[Effect], ln_viscosity: &[f64]) {
    let Some(share) = state.contact_share else { return };
    let z = trials.sum(effects, |e| e.z);
    let z_value = interval::z_of(share.value);
    let pairs = || ln_viscosity.iter().zip(&z);
    let hydrodynamic: Vec<f64> = pairs().map(|(v, z)| v - z).collect();
    let contact: Vec<f64> = pairs().map(|(v, z)| float::exp(*v) * share_of(z_value + z)).collect();
    let instrument = Shared {
        ln_viscosity: deviation(ln_viscosity),
        z: deviation(&z),
        ln_hydrodynamic: deviation(&hydrodynamic),
        contact: deviation(&contact),
    };
    let joined = shares::shares(&state.loadings_for_shares(), state.within(), state.shared().plus(instrument));
    if let Some(joined) = joined {
        state.contact_share = Some(joined.contact_share);
        state.hydrodynamic_viscosity_pa_s = Some(joined.hydrodynamic);
        state.contact_viscosity_pa_s = Some(joined.contact);
    }
}

/// Budget of viscosity, relative viscosity and contact share of one state; first-order in the scale of each.
fn state_budget(
    state: &State,
    trials: &Trials<'_>,
    effects: &[Effect],
    own: Option<&(String, f64)>,
    u_ln_scatter: f64,
) -> Vec<BudgetRow> {
    let label = Some(state.set_point.as_str());
    let named = |of: fn(&Effect) -> Parabola, scale: f64| {
        let u = |(k, name): (usize, &String)| (name.clone(), scale * trials.u(k, of(&effects[k])));
        trials.terms.names.iter().enumerate().map(u).collect::<Vec<(String, f64)>>()
    };
    let scatter = if state.loading_means.len() > 1 { SCATTER } else { WITHIN };
    let mut rows = Vec::new();
    if let Some(viscosity) = state.viscosity_pa_s {
        let mut sources = named(|e| e.ln_viscosity, viscosity.value);
        sources.push((scatter.to_owned(), viscosity.value * u_ln_scatter));
        rows.extend(budget("viscosity_pa_s", &state.sample, label, sources));
    }
    if let Some(relative) = state.relative_viscosity {
        let mut sources = named(|e| e.ln_viscosity, relative.value);
        sources.push((scatter.to_owned(), relative.value * u_ln_scatter));
        sources.extend(own.map(|(name, u)| (name.clone(), relative.value * u)));
        rows.extend(budget("relative_viscosity", &state.sample, label, sources));
    }
    if let Some(share) = state.contact_share {
        let slope = 1.0 - share.value;
        let u_z = shares::z(&state.loadings_for_shares(), state.within(), 0.0).map_or(0.0, |m| m.u);
        let scatter = if state.loadings > 1 { SCATTER } else { WITHIN };
        let mut sources = named(|e| e.z, slope);
        sources.extend([(scatter.to_owned(), slope * u_z), (SHARED.to_owned(), slope * state.u_z_shared)]);
        rows.extend(budget("contact_share", &state.sample, label, sources));
    }
    rows
}

/// Rows of one quantity, largest first.
fn budget(quantity: &str, sample: &str, set_point: Option<&str>, mut sources: Vec<(String, f64)>) -> Vec<BudgetRow> {
    sources.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    let sum: f64 = sources.iter().map(|(_, u)| u * u).sum();
    let row = |(source, u): (String, f64)| BudgetRow {
        quantity: quantity.to_owned(),
        sample: sample.to_owned(),
        set_point: set_point.map(str::to_owned),
        source,
        u,
        share: if sum > 0.0 { u * u / sum } else { 0.0 },
    };
    sources.into_iter().map(row).collect()
}

/// A loading with both ends, and what every term does to each.
struct Pair {
    low: (f64, f64),
    high: (f64, f64),
    effects_low: OfLoading,
    effects_high: OfLoading,
}

/// Variances of the means of N and D over trials: of all terms together, and of each alone.
fn rise_terms(low: &State, high: &State, trials: &Trials<'_>) -> (Spread, Vec<Spread>) {
    let pair = |l: &LoadingMean| {
        let h = high.loading_means.iter().find(|h| h.loading == l.loading)?;
        Some(Pair {
            low: (l.ln_viscosity, l.z?),
            high: (h.ln_viscosity, h.z?),
            effects_low: trials.terms.on_loading(l),
            effects_high: trials.terms.on_loading(h),
        })
    };
    let pairs: Vec<Pair> = low.loading_means.iter().filter_map(pair).collect();
    let all: Vec<usize> = (0..trials.terms.names.len()).collect();
    let of = |terms: &[usize]| spread_over_trials(&pairs, trials, terms);
    (of(&all), all.iter().map(|k| of(&[*k])).collect())
}

fn spread_over_trials(pairs: &[Pair], trials: &Trials<'_>, terms: &[usize]) -> Spread {
    if pairs.is_empty() || terms.is_empty() {
        return Spread::default();
    }
    let (mut n, mut d) = (vec![0.0; trials.n], vec![0.0; trials.n]);
    for pair in pairs {
        for trial in 0..trials.n {
            let moved = |value: (f64, f64), effects: &[Effect]| {
                terms.iter().fold(value, |(v, z), k| {
                    let draw = trials.draws[*k][trial];
                    (v + effects[*k].ln_viscosity.at(draw), z + effects[*k].z.at(draw))
                })
            };
            let (low, high) = (moved(pair.low, &pair.effects_low), moved(pair.high, &pair.effects_high));
            let ends = Ends { ln_ratio: high.0 - low.0, share_low: share_of(low.1), share_high: share_of(high.1) };
            n[trial] += ends.contact_rise() / pairs.len() as f64;
            d[trial] += ends.rise() / pairs.len() as f64;
        }
    }
    let of = |a: &[f64], b: &[f64]| covariance_of_means(a, b) * trials.n as f64;
    Spread { nn: of(&n, &n), nd: of(&n, &d), dd: of(&d, &d) }
}

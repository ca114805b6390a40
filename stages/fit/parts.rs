//! The two parts of the viscosity apart: how each follows the stress, and which of four explanations of the contact
//! shares the data prefer. No law of the viscosity is used.
//!
//! With z = −ln(1 − X), so that ln η_H = ln η − z, the candidate models are
//! - no contacts: z = 0
//! - constant share: z = c of the sample
//! - contacts carry the rise: z = ln η − h of the sample, the hydrodynamic part is the same at every stress
//! - both parts follow the stress: z = c of the sample + b ln η, b common (0 and 1 are the two before).
//!
//! z of a state has variance s²/n by the scatter of loadings, pooled over the group, and one error of the method that
//! all states share. The pooled scatter has ν degrees of freedom, so −2 ln L = (ν + n) ln(1 + S/ν) up to a constant:
//! the likelihood with the variance integrated out (A. Zellner 1971, from memory), S for many loadings.
//!
//! Trends are taken within each loading, which removes its filling, then averaged with t over loadings.

use super::group::Group;
use super::remark::{Candidate, Preference, Remark, Trend};
use super::result::{CONTACT_SLOPE, CandidateModel, FitRow, Fits, HYDRODYNAMIC_SLOPE, STRESS_TREND, Scope, Selection};
use super::rows::{corrected, empty_row, weights};
use super::rules::{FLAT, MISFIT, PREFERRED};
use crate::numerics::interval::{Mean, covariance_of_means, mean};
use crate::numerics::whitening::Whitening;
use crate::numerics::{chi_square, float, least_squares};
use crate::physics::models::Label;
use crate::states::result::{State, States};

/// Trends of every sample, and candidate models of the group.
pub(super) fn parts(states: &States, group: &Group, fits: &mut Fits) {
    for sample in &group.samples {
        let own: Vec<&State> = states.states.iter().filter(|s| s.sample == *sample).collect();
        fits.rows.extend(trends(sample, &own));
    }
    let all: Vec<&State> = states.states.iter().filter(|s| group.holds(s)).collect();
    fits.candidate_models.extend(candidate_models(&group.scope(Selection::All), &all));
}

/// One loading at the states where it has a contact share: ln stress, ln η_H, η_C/η̄.
struct Followed {
    ln_stress: Vec<f64>,
    ln_hydrodynamic: Vec<f64>,
    contact: Vec<f64>,
}

fn followed(loading: &str, states: &[&State]) -> Followed {
    let at = |s: &&&State| {
        let of = s.loading_means.iter().find(|l| l.loading == loading)?;
        Some((float::ln(s.stress_pa?.value), of.ln_viscosity, of.z?))
    };
    let rows: Vec<(f64, f64, f64)> = states.iter().filter_map(|s| at(&s)).collect();
    let level = float::exp(mean(&rows.iter().map(|r| r.1).collect::<Vec<_>>()));
    Followed {
        ln_stress: rows.iter().map(|r| r.0).collect(),
        ln_hydrodynamic: rows.iter().map(|r| r.1 - r.2).collect(),
        contact: rows.iter().map(|r| (float::exp(r.1) - float::exp(r.1 - r.2)) / level).collect(),
    }
}

/// Slope of the line of `y` against `x`; none with fewer than two places.
fn slope(x: &[f64], y: &[f64]) -> Option<f64> {
    let line = Whitening::new(x.len(), |i, j| f64::from(u8::from(i == j)))?.line(x, y)?;
    line.slope.is_finite().then_some(line.slope)
}

/// How both parts of a sample follow the stress, as two rows; none where no loading has two states with a share.
fn trends(sample: &str, states: &[&State]) -> Vec<FitRow> {
    let mut loadings: Vec<&str> = states.iter().flat_map(|s| &s.loading_means).map(|l| l.loading.as_str()).collect();
    loadings.sort_unstable();
    loadings.dedup();
    let all: Vec<Followed> = loadings.iter().map(|l| followed(l, states)).filter(|f| f.ln_stress.len() > 1).collect();
    let spans = || all.iter().flat_map(|f| f.ln_stress.iter().copied());
    let span = spans().fold(f64::NEG_INFINITY, f64::max) - spans().fold(f64::INFINITY, f64::min);
    let slopes = |of: fn(&Followed) -> &Vec<f64>| all.iter().filter_map(|f| slope(&f.ln_stress, of(f))).collect();
    let (hydrodynamic, contact): (Vec<f64>, Vec<f64>) = (slopes(|f| &f.ln_hydrodynamic), slopes(|f| &f.contact));
    let within = states.iter().map(|s| s.u_z_within).fold(0.0, f64::max) / span;
    let mean = |values: &[f64]| Mean::of_loadings(values, within, 0.0).filter(|_| span > 0.0);
    let (Some(h), Some(c)) = (mean(&hydrodynamic), mean(&contact)) else { return Vec::new() };
    let row = |part: Label, mean: &Mean, remark: Remark| FitRow {
        value: Some(mean.value),
        u_value: Some(mean.u),
        value_low: mean.half_width.map(|w| mean.value - w),
        value_high: mean.half_width.map(|w| mean.value + w),
        degrees_of_freedom: mean.degrees_of_freedom,
        remarks: vec![remark],
        ..empty_row(STRESS_TREND, &Scope::sample(sample), part)
    };
    vec![row(HYDRODYNAMIC_SLOPE, &h, hydrodynamic_part(&h, span)), row(CONTACT_SLOPE, &c, contact_part(&c))]
}

/// How the hydrodynamic part follows the stress over a span of ln σ.
fn hydrodynamic_part(slope: &Mean, span: f64) -> Remark {
    let Some(half) = slope.half_width else {
        return Remark::HydrodynamicPart { trend: Trend::OneLoading, change: None };
    };
    let (low, high) = (slope.value - half, slope.value + half);
    let flat = float::ln1p(FLAT) / span;
    let trend = if low > -flat && high < flat { Trend::Flat } else { rises_or_falls(low, high) };
    let change = |slope: f64| float::expm1(slope * span);
    Remark::HydrodynamicPart { trend, change: Some((change(low), change(high))) }
}

fn contact_part(slope: &Mean) -> Remark {
    let trend =
        slope.half_width.map_or(Trend::OneLoading, |half| rises_or_falls(slope.value - half, slope.value + half));
    Remark::ContactPart { trend }
}

fn rises_or_falls(low: f64, high: f64) -> Trend {
    if low > 0.0 {
        Trend::Rises
    } else if high < 0.0 {
        Trend::Falls
    } else {
        Trend::NotDecided
    }
}

/// The states of a group that have a share, as the candidate models take them.
struct Shares {
    z: Vec<f64>,
    ln_viscosity: Vec<f64>,
    sample: Vec<usize>,
    samples: usize,
    whitening: Whitening,
    /// ν; infinite where a single loading's own uncertainty is all there is.
    dof: f64,
}

fn shares(states: &[&State]) -> Option<Shares> {
    let of = |s: &&State| s.loading_means.iter().filter_map(|l| l.z).collect::<Vec<f64>>();
    let with: Vec<&State> = states.iter().filter(|s| !of(s).is_empty()).copied().collect();
    let groups: Vec<Vec<f64>> = with.iter().map(of).collect();
    let dof: f64 = groups.iter().map(|g| g.len() as f64 - 1.0).sum();
    let squares = |g: &Vec<f64>| covariance_of_means(g, g) * g.len() as f64 * (g.len() as f64 - 1.0);
    let scatter: f64 = groups.iter().filter(|g| g.len() > 1).map(squares).sum();
    let variance = |i: usize| {
        let own = with[i].u_z_within;
        // What a loading knows of itself bounds the scatter from below: two may agree by chance.
        (if dof > 0.0 { scatter / dof } else { 0.0 }).max(own * own) / groups[i].len() as f64
    };
    let shared = mean(&with.iter().map(|s| s.u_z_shared).collect::<Vec<_>>());
    let own = |i: usize, j: usize| if i == j { variance(i) } else { 0.0 };
    let whitening = Whitening::new(with.len(), |i, j| own(i, j) + shared * shared)?;
    let mut names: Vec<&str> = with.iter().map(|s| s.sample.as_str()).collect();
    let sample_names = names.clone();
    names.dedup();
    let place = |name: &&str| names.iter().position(|n| n == name).unwrap_or(0);
    let mean_of = |s: &&State| mean(&s.loading_means.iter().map(|l| l.ln_viscosity).collect::<Vec<_>>());
    (!with.is_empty()).then(|| Shares {
        z: groups.iter().map(|g| mean(g)).collect(),
        ln_viscosity: with.iter().map(mean_of).collect(),
        sample: sample_names.iter().map(place).collect(),
        samples: names.len(),
        whitening,
        dof: if dof > 0.0 { dof } else { f64::INFINITY },
    })
}

impl Shares {
    /// S of z − `offset` with one level a sample where `levels`, and further `columns`.
    fn sum_of_squares(&self, offset: &[f64], levels: bool, columns: &[&[f64]]) -> Option<(f64, usize)> {
        let n = self.z.len();
        let white = |v: Vec<f64>| {
            let mut v = v;
            self.whitening.apply(&mut v);
            v
        };
        let y = white(self.z.iter().zip(offset).map(|(z, o)| z - o).collect());
        let level = |s: usize| white(self.sample.iter().map(|of| f64::from(u8::from(*of == s))).collect());
        let levels = (0..if levels { self.samples } else { 0 }).map(level);
        let a: Vec<f64> = levels.chain(columns.iter().map(|c| white(c.to_vec()))).flatten().collect();
        let free = a.len() / n;
        if free == 0 {
            return Some((y.iter().map(|y| y * y).sum(), 0));
        }
        let x = if free < n { least_squares::linear(&a, &y)? } else { return None };
        let left = |i: usize| y[i] - x.iter().enumerate().map(|(k, x)| x * a[k * n + i]).sum::<f64>();
        let rss: f64 = (0..n).map(|i| left(i) * left(i)).sum();
        rss.is_finite().then_some((rss, free))
    }
}

/// The candidate models on the states of a group; empty where fewer than two states a sample have a share on the average.
fn candidate_models(scope: &Scope, states: &[&State]) -> Vec<CandidateModel> {
    let Some(data) = shares(states).filter(|d| d.z.len() >= 2 * d.samples) else { return Vec::new() };
    let none = vec![0.0; data.z.len()];
    let fitted = [
        data.sum_of_squares(&none, false, &[]),
        data.sum_of_squares(&none, true, &[]),
        data.sum_of_squares(&data.ln_viscosity, true, &[]),
        data.sum_of_squares(&none, true, &[&data.ln_viscosity]),
    ];
    let n = data.z.len() as f64;
    let candidate = |(candidate, found): (Candidate, Option<(f64, usize)>)| {
        let (rss, free) = found?;
        let deviance = if data.dof.is_finite() { (data.dof + n) * float::ln1p(rss / data.dof) } else { rss };
        Some(CandidateModel {
            scope: scope.clone(),
            candidate,
            data: data.z.len() as u32,
            free_parameters: free as u32,
            rss,
            deviance,
            aicc: corrected(deviance, n, free as f64),
            bic: deviance + free as f64 * float::ln(n),
            akaike_weight: None,
            preference: Preference::TooFewStates,
        })
    };
    let mut all: Vec<CandidateModel> = Candidate::ALL.into_iter().zip(fitted).filter_map(candidate).collect();
    let found = weights(&all.iter().map(|r| r.aicc).collect::<Vec<_>>());
    let preference = preference(&all, found.as_deref());
    for (at, candidate) in all.iter_mut().enumerate() {
        candidate.akaike_weight = found.as_ref().map(|w| w[at]);
        candidate.preference.clone_from(&preference);
    }
    all
}

/// What the weights mean.
fn preference(all: &[CandidateModel], weights: Option<&[f64]>) -> Preference {
    let Some(weights) = weights else { return Preference::TooFewStates };
    let mut order: Vec<usize> = (0..all.len()).collect();
    order.sort_by(|a, b| weights[*b].total_cmp(&weights[*a]));
    let (best, next) = (&all[order[0]], &all[order[1]]);
    let dof = f64::from(best.data) - f64::from(best.free_parameters);
    let none_fits = dof > 0.0 && chi_square::upper_tail(best.deviance, dof) < MISFIT;
    if weights[order[0]] >= PREFERRED {
        let odds = weights[order[0]] / weights[order[1]].max(f64::MIN_POSITIVE);
        return Preference::Preferred { candidate: best.candidate, next: next.candidate, odds, none_fits };
    }
    let possible = order.into_iter().filter(|i| weights[*i] > 1.0 - PREFERRED);
    Preference::NotDecided { possible: possible.map(|i| (all[i].candidate, weights[i])).collect(), none_fits }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    fn mean(value: f64, half: f64) -> Mean {
        Mean { value, u: half / 2.0, half_width: Some(half), degrees_of_freedom: Some(2.0) }
    }

    #[test]
    fn flat_is_said_only_where_the_interval_shows_it() {
        let span = 100f64.ln();
        let of = |slope: f64, half: f64| match hydrodynamic_part(&mean(slope, half), span) {
            Remark::HydrodynamicPart { trend, .. } => trend,
            other => panic!("{other:?}"),
        };
        assert_eq!([of(0.01, 0.02), of(0.01, 0.2), of(0.3, 0.1)], [Trend::Flat, Trend::NotDecided, Trend::Rises]);
        assert_eq!(contact_part(&mean(0.3, 0.1)), Remark::ContactPart { trend: Trend::Rises });
        assert_eq!(contact_part(&mean(0.3, 0.4)), Remark::ContactPart { trend: Trend::NotDecided });
    }
}

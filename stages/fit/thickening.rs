//! Wyart and Cates over all samples and stresses of one kind of particles: when it is not fitted, what follows from
//! it, the flow states of the measured states, and which measurement would tell more. The law is in
//! `physics::models`, the fit in `solve`.

use super::compute::Study;
use super::constant::is_constant;
use super::data::data;
use super::group::Group;
use super::known::{self, Known, derived, drawable, fraction, short};
use super::params::Params;
use super::result::{Border, FitRow, Fits, FlowDiagram, FlowState};
use super::rows::{Job, no_fit, quality, residuals, row, rows, words};
use super::rules::{FEWEST_FRACTIONS, NEAR_JAMMING};
use super::solve::{Fit, fit};
use crate::numerics::float;
use crate::physics::models::wyart_cates::{
    ALPHA, BETA, WyartCates, borders, discontinuous_onset, inverse_slope, jamming_stress, turning_points,
};
use crate::physics::models::{Model, Point, Subject};
use crate::reversal::result::Controlled;
use crate::states::result::States;

const ONE_FRACTION: &str = "not identified: one solid fraction does not tell the amplitude from the jamming fractions";
const TWO_FRACTIONS: &str =
    "not identified: two solid fractions determine amplitude and jamming fractions without any check on the law";
const MORE_FRACTIONS: &str = "measure at least three solid fractions of the same particles, spread from well below to \
                              near jamming";

/// What a group without a single usable state asks for: what the study file does not say, else other measurements.
fn missing(study: Study<'_>, group: &Group) -> &'static str {
    let mut own = study.samples.iter().filter(|sample| group.samples.contains(&sample.name));
    if own.all(|sample| sample.liquid.viscosity.is_some() && sample.volume_fraction.is_some()) {
        "measure steady states of which stress and viscosity can be read"
    } else {
        "give the liquid's viscosity and the solid fractions in the study file"
    }
}

/// Fits the law, and tells what follows.
pub(super) fn thickening(study: Study<'_>, group: &Group, params: &Params, fits: &mut Fits) {
    let model = &WyartCates;
    let mut held = vec![None; model.parameters().len()];
    (held[ALPHA], held[BETA]) = (params.alpha, params.beta);
    let scope = group.scope();
    let without = |why: &str, advice: &str, fits: &mut Fits| {
        fits.rows.extend(words(model, &scope, &held, why));
        let (further_measurements, remarks) = (vec![advice.to_owned()], vec![why.to_owned()]);
        fits.quality.push(super::result::FitQuality { further_measurements, remarks, ..no_fit(model, &scope, params) });
    };
    let Some(data) = data(study, Subject::Thickening, &|state| group.holds(state)) else {
        let why = "not fitted: no state has a relative viscosity, a stress and a solid fraction";
        return without(why, missing(study, group), fits);
    };
    let job = Job { model, scope: scope.clone(), held: held.clone(), data };
    match solid_fractions(&job) {
        1 => return without(ONE_FRACTION, MORE_FRACTIONS, fits),
        n if n < FEWEST_FRACTIONS => return without(TWO_FRACTIONS, MORE_FRACTIONS, fits),
        _ => {}
    }
    if let Some((why, advice)) = does_not_thicken(&job) {
        return without(&why, &advice, fits);
    }
    let fit = fit(job.model, &job.held, &job.data, params.loss, params.loss_scale);
    let mut known = known::parameters(&fit, &job.held);
    if let (Some(without), Some(with)) = (known[0].value, known[1].value)
        && with > without
    {
        known[1]
            .remarks
            .push("above phi_0: the viscosity falls as the stress rises, which this law does not mean".into());
    }
    fits.rows.extend(rows(&job, &fit, &known));
    fits.quality.push(quality(&job, &fit, params, advice(&job, &fit, &known)));
    fits.residuals.extend(residuals(&job, &fit));
    if !drawable(&fit) || known.iter().any(|k| k.value.is_none()) {
        return;
    }
    fits.rows.extend(onset(&job, &fit));
    for sample in 0..job.data.samples.len() {
        fits.rows.extend(regime(&job, &fit, sample));
    }
    fits.flow_states.extend(flow_states(&job, &fit, study.states));
    fits.diagrams.extend(diagram(&job, &fit));
    fits.flow_curves
        .extend((0..job.data.samples.len()).filter_map(|s| super::curves::flow_curve(&job, &fit, s, study.samples)));
}

fn solid_fractions(job: &Job<'_>) -> usize {
    let mut all: Vec<f64> = job.data.points.iter().map(|p| p.volume_fraction).collect();
    all.sort_by(f64::total_cmp);
    all.dedup();
    all.len()
}

fn stresses(job: &Job<'_>) -> (f64, f64) {
    let all = || job.data.points.iter().map(|p| p.stress_pa);
    (all().fold(f64::INFINITY, f64::min), all().fold(0.0, f64::max))
}

/// Words and advice where the viscosity of no sample depends on the stress: one viscosity a sample fits the data.
fn does_not_thicken(job: &Job<'_>) -> Option<(String, String)> {
    let (low, high) = stresses(job);
    let (low, high) = (short(low), short(high));
    is_constant(&job.data).then(|| {
        (
            format!(
                "not identified: from {low} to {high} Pa no viscosity depends on the stress beyond its uncertainty; \
                 either the onset stress lies outside or these particles do not thicken"
            ),
            format!("measure at stresses above {high} Pa, by a factor of ten at least"),
        )
    })
}

/// What stands in the way of the parameters without a value, and what would remove it.
fn advice(job: &Job<'_>, fit: &Fit<'_>, known: &[Known]) -> Vec<String> {
    let mut out = Vec::new();
    let missing = |k: usize| known[k].value.is_none();
    let (low, high) = stresses(job);
    if fit.found.is_err() || known::distrust(fit).is_some() || !(0..known.len()).any(missing) {
        return out;
    }
    if missing(0) {
        out.push(format!("phi_0: measure below {} Pa, where contacts are not yet frictional", short(low)));
    }
    if missing(1) || missing(2) {
        out.push(format!("phi_m, sigma_star: measure above {} Pa, until the viscosity stops rising", short(high)));
    }
    if missing(BETA) {
        out.push("beta: measure more stresses between the two ends of the rise, or hold stages.fit.beta".to_owned());
    }
    if missing(4) || missing(ALPHA) {
        let phi = job.data.points.iter().map(|p| p.volume_fraction).fold(0.0, f64::max);
        let nearest = fit.found.as_ref().map_or(f64::NAN, |f| phi / f.values[0]);
        let near = if nearest < NEAR_JAMMING { "nearer to jamming" } else { "further from jamming" };
        out.push(format!(
            "amplitude, alpha: the densest sample is at {:.2} of phi_0; measure a solid fraction {near}, or hold \
             stages.fit.alpha",
            nearest
        ));
    }
    out
}

/// Where thickening first turns discontinuous, as two more rows.
fn onset(job: &Job<'_>, fit: &Fit<'_>) -> Vec<FitRow> {
    let phi = derived(fit, None, &|p, _| discontinuous_onset(p).map(|o| o.0));
    let stress = derived_stress(fit, None, &|p, _| discontinuous_onset(p).map(|o| o.1));
    let row = |name: &str, unit: &str, known: Option<Known>| Some(row(fit, &job.scope, (name, unit), &known?));
    [row("phi_dst", "", phi), row("sigma_dst", "Pa", stress)].into_iter().flatten().collect()
}

/// A stress that follows, as the scale that it is: its interval is even in the logarithm and stays above zero.
fn derived_stress(fit: &Fit<'_>, sample: Option<usize>, of: Follows<'_>) -> Option<Known> {
    let ln = derived(fit, sample, &|p, phi| of(p, phi).map(float::ln))?;
    let value = float::exp(ln.value?);
    let interval = ln.interval.map(|(low, high)| (float::exp(low), float::exp(high)));
    Some(Known { value: Some(value), u: ln.u.map(|u| value * u), interval, ..ln })
}

/// What follows from parameters and a solid fraction.
type Follows<'a> = &'a dyn Fn(&[f64], f64) -> Option<f64>;

/// How far a sample is from discontinuous thickening, and its turning points and jamming stress where it has them.
fn regime(job: &Job<'_>, fit: &Fit<'_>, sample: usize) -> Vec<FitRow> {
    let name = &job.data.samples[sample].0;
    let scope = if job.scope == "all samples" { name.clone() } else { format!("{name}, {}", job.scope) };
    let mut out = Vec::new();
    let from_onset = derived(fit, Some(sample), &|p, phi| discontinuous_onset(p).map(|o| phi - o.0));
    let from_friction = derived(fit, Some(sample), &|p, phi| Some(phi - p[1]));
    let Some(mut known) = from_onset else { return out };
    known.remarks.push(regime_words(&known, from_friction.as_ref()).to_owned());
    out.push(row(fit, &scope, ("phi_beyond_dst", ""), &known));
    let stresses: [(&str, Follows<'_>); 3] = [
        ("sigma_up", &|p, phi| turning_points(p, phi).map(|t| t.0)),
        ("sigma_down", &|p, phi| turning_points(p, phi).and_then(|t| t.1)),
        ("sigma_jam", &|p, phi| jamming_stress(p, phi)),
    ];
    for (name, of) in stresses {
        out.extend(derived_stress(fit, Some(sample), of).map(|known| row(fit, &scope, (name, "Pa"), &known)));
    }
    out
}

/// Continuous, discontinuous, shear-jamming, or not decided, by the intervals of φ − φ_DST and φ − φ_m.
fn regime_words(from_onset: &Known, from_friction: Option<&Known>) -> &'static str {
    let jams = from_friction.and_then(|k| k.interval);
    match (from_onset.interval, jams) {
        (Some((_, high)), _) if high < 0.0 => "thickens continuously",
        (_, Some((low, _))) if low > 0.0 => "thickens discontinuously and jams at high stress",
        (Some((low, _)), Some((_, high))) if low > 0.0 && high < 0.0 => "thickens discontinuously, does not jam",
        (Some((low, _)), _) if low > 0.0 => "thickens discontinuously; whether it jams is not decided",
        _ => "whether it thickens continuously or discontinuously is not decided",
    }
}

/// The measured states by the slope of the law there.
fn flow_states(job: &Job<'_>, fit: &Fit<'_>, states: &States) -> Vec<FlowState> {
    let held = |sample: &str, set_point: &str| {
        let of = states.states.iter().find(|s| s.sample == sample && s.set_point == set_point);
        of.map_or(Controlled::Stress, |s| s.controlled)
    };
    let of = |i: usize| {
        let (sample, point) = (job.data.sample[i], job.data.points[i]);
        let slope = derived(fit, Some(sample), &|p, phi| {
            let slope = inverse_slope(p, Point { volume_fraction: phi, ..point });
            slope.is_finite().then_some(slope)
        });
        let (name, set_point) = (job.data.samples[sample].0.clone(), job.data.set_points[i].clone());
        let by_rate = held(&name, &set_point) == Controlled::Rate;
        let found = fit.found.as_ref().ok()?;
        let phi = fraction(fit, found, sample);
        let jumps = discontinuous_onset(&found.values).is_some_and(|o| phi > o.0);
        let (regime, remark) = place(slope.as_ref(), by_rate, jumps);
        Some(FlowState {
            scope: job.scope.clone(),
            sample: name,
            set_point,
            controlled: if by_rate { "rate" } else { "stress" }.to_owned(),
            volume_fraction: phi,
            stress_pa: point.stress_pa,
            inverse_slope: slope.as_ref().and_then(|k| k.value),
            u_inverse_slope: slope.as_ref().and_then(|k| k.u),
            regime: regime.to_owned(),
            remarks: remark.into_iter().map(str::to_owned).collect(),
        })
    };
    (0..job.data.points.len()).filter_map(of).collect()
}

/// Regime of a state, and what to mind at a held rate.
fn place(slope: Option<&Known>, by_rate: bool, jumps: bool) -> (&'static str, Option<&'static str>) {
    let Some((value, (low, high))) = slope.and_then(|k| Some((k.value?, k.interval?))) else {
        return ("jammed", Some("the fitted law is jammed here: nothing should flow"));
    };
    let regime = match (value < 0.0, jumps) {
        (true, _) => "unstable branch",
        (false, true) => "discontinuous",
        (false, false) => "continuous",
    };
    let remark = match (by_rate, high < 0.0, low < 0.0) {
        (true, true, _) => Some(
            "at a held rate this branch of the law is unstable: the flow parts into bands or jumps in time, and one \
             viscosity does not describe it",
        ),
        (true, false, true) => Some("at a held rate this state may lie on the unstable branch of the law"),
        _ => None,
    };
    (regime, remark)
}

/// Borders around the stresses that were measured, by a factor of ten on either side.
fn diagram(job: &Job<'_>, fit: &Fit<'_>) -> Option<FlowDiagram> {
    let p = &fit.found.as_ref().ok()?.values;
    let (low, high) = stresses(job);
    let x = |stress: f64| float::pow(p[2] / stress, p[BETA]);
    let names = ["rate maximum", "rate minimum", "jamming"];
    let all = names.into_iter().zip(borders(p, (x(10.0 * high), x(0.1 * low))));
    let borders = all.filter(|(_, points)| !points.is_empty());
    Some(FlowDiagram {
        scope: job.scope.clone(),
        borders: borders.map(|(name, points)| Border { name: name.to_owned(), points }).collect(),
        onset_stress_pa: p[2],
        jamming_fractions: (p[0], p[1]),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(low: f64, high: f64) -> Known {
        let (value, u) = (Some(0.5 * (low + high)), Some(0.25 * (high - low)));
        Known { value, u, interval: Some((low, high)), remarks: Vec::new(), open: (false, false) }
    }

    #[test]
    fn regimes_are_told_only_where_intervals_decide() {
        let words = |onset: (f64, f64), friction: (f64, f64)| {
            regime_words(&known(onset.0, onset.1), Some(&known(friction.0, friction.1)))
        };
        assert_eq!(words((-0.04, -0.01), (-0.06, -0.03)), "thickens continuously");
        assert_eq!(words((0.002, 0.01), (-0.02, -0.01)), "thickens discontinuously, does not jam");
        assert_eq!(words((0.002, 0.01), (-0.02, 0.01)), "thickens discontinuously; whether it jams is not decided");
        assert_eq!(words((0.02, 0.03), (0.01, 0.02)), "thickens discontinuously and jams at high stress");
        assert!(words((-0.01, 0.01), (-0.02, -0.01)).ends_with("not decided"));
    }

    #[test]
    fn an_unstable_branch_is_minded_at_a_held_rate_only() {
        assert_eq!(place(Some(&known(-2.0, -1.0)), false, true), ("unstable branch", None));
        let (regime, remark) = place(Some(&known(-2.0, -1.0)), true, true);
        assert!(regime == "unstable branch" && remark.is_some_and(|r| r.contains("is unstable")));
        assert!(place(Some(&known(-0.1, 0.5)), true, true).1.is_some_and(|r| r.contains("may lie")));
        assert_eq!(place(Some(&known(0.1, 0.5)), true, false), ("continuous", None));
    }
}

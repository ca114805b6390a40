//! Wyart and Cates over all samples and stresses of one kind of particles: when it is not fitted, what follows from
//! it, the flow states of the measured states, and which measurement would tell more. The law is in
//! `physics::models`, the fit in `solve`.

use super::compute::Study;
use super::constant::is_constant;
use super::data::data;
use super::group::Group;
use super::known::{self, Known, derived, drawable, fraction};
use super::params::Params;
use super::remark::{Course, Need, Remark, StateRemark};
use super::result::{Border, BorderKind, FitQuality, FitRow, Fits, FlowDiagram, FlowState, Regime, Scope, Selection};
use super::rows::{Job, no_fit, quality, residuals, row, rows, without_values};
use super::rules::{FEWEST_FRACTIONS, NEAR_JAMMING};
use super::solve::{Fit, fit};
use crate::numerics::float;
use crate::physics::models::wyart_cates::{
    ALPHA, BETA, PHI_BEYOND_DST, PHI_DST, SIGMA_DOWN, SIGMA_DST, SIGMA_JAM, SIGMA_UP, WyartCates, borders,
    discontinuous_onset, inverse_slope, jamming_stress, turning_points,
};
use crate::physics::models::{Label, Model, Point, Subject};
use crate::reversal::result::Controlled;
use crate::states::result::States;

/// What a group without a single usable state asks for: what the study file does not say, else other measurements.
fn need_without_states(study: Study<'_>, group: &Group) -> Need {
    let mut own = study.samples.iter().filter(|sample| group.samples.contains(&sample.name));
    if own.all(|sample| sample.liquid.viscosity.is_some() && sample.volume_fraction.is_some()) {
        Need::SteadyStates
    } else {
        Need::LiquidAndFractions
    }
}

/// Fits the law, and gives what follows.
pub(super) fn thickening(study: Study<'_>, group: &Group, params: &Params, fits: &mut Fits) {
    let model = &WyartCates;
    let mut held = vec![None; model.parameters().len()];
    (held[ALPHA], held[BETA]) = (params.alpha, params.beta);
    let scope = group.scope(Selection::All);
    let without = |why: Remark, need: Need, fits: &mut Fits| {
        fits.rows.extend(without_values(model, &scope, &held, &why));
        let (further_measurements, remarks) = (vec![need], vec![why]);
        fits.quality.push(FitQuality { further_measurements, remarks, ..no_fit(model, &scope, params) });
    };
    let Some(data) = data(study, Subject::Thickening, &|state| group.holds(state)) else {
        let why = Remark::NoStates { subject: Subject::Thickening };
        return without(why, need_without_states(study, group), fits);
    };
    let job = Job { model, scope: scope.clone(), held: held.clone(), data };
    if let Some((why, need)) = obstacle(&job) {
        return without(why, need, fits);
    }
    let fit = fit(job.model, &job.held, &job.data, params.loss, params.loss_scale);
    let mut known = known::parameters(&fit, &job.held);
    if let (Some(without), Some(with)) = (known[0].value, known[1].value)
        && with > without
    {
        known[1].remarks.push(Remark::FallsWithStress);
    }
    fits.rows.extend(rows(&job, &fit, &known));
    fits.quality.push(quality(&job, &fit, params, needs(&job, &fit, &known)));
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

/// What stands in the way of the law before any fit, and what would remove it.
fn obstacle(job: &Job<'_>) -> Option<(Remark, Need)> {
    let fractions = solid_fractions(job);
    if fractions < FEWEST_FRACTIONS {
        let need = Need::SpreadFractions { fractions: FEWEST_FRACTIONS as u32 };
        return Some((Remark::FewFractions { fractions: fractions as u32 }, need));
    }
    // One viscosity a sample fits the data.
    let (low_pa, high_pa) = job.data.stress_range();
    let flat = Remark::NoStressDependence { low_pa, high_pa };
    is_constant(&job.data).then_some((flat, Need::HigherStresses { above_pa: high_pa }))
}

/// What would give the parameters that a fit leaves without a value.
fn needs(job: &Job<'_>, fit: &Fit<'_>, known: &[Known]) -> Vec<Need> {
    let missing = |k: usize| known[k].value.is_none();
    let (below_pa, above_pa) = job.data.stress_range();
    let (Ok(found), None) = (&fit.found, known::distrust(fit)) else { return Vec::new() };
    let densest = job.data.points.iter().map(|p| p.volume_fraction).fold(0.0, f64::max) / found.values[0];
    let all = [
        (missing(0), Need::BelowOnset { below_pa }),
        (missing(1) || missing(2), Need::BeyondRise { above_pa }),
        (missing(BETA), Need::WithinRise),
        (missing(4) || missing(ALPHA), Need::OtherFraction { densest, nearer: densest < NEAR_JAMMING }),
    ];
    all.into_iter().filter_map(|(wanted, need)| wanted.then_some(need)).collect()
}

/// Where thickening first turns discontinuous, as two more rows.
fn onset(job: &Job<'_>, fit: &Fit<'_>) -> Vec<FitRow> {
    let phi = derived(fit, None, &|p, _| discontinuous_onset(p).map(|o| o.volume_fraction));
    let stress = derived_stress(fit, None, &|p, _| discontinuous_onset(p).map(|o| o.stress_pa));
    let row = |quantity: Label, known: Option<Known>| Some(row(fit, &job.scope, quantity, &known?));
    [row(PHI_DST, phi), row(SIGMA_DST, stress)].into_iter().flatten().collect()
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
    let scope = Scope { states: Selection::Sample(name.clone()), group: job.scope.group.clone() };
    let mut out = Vec::new();
    let from_onset = derived(fit, Some(sample), &|p, phi| discontinuous_onset(p).map(|o| phi - o.volume_fraction));
    let from_friction = derived(fit, Some(sample), &|p, phi| Some(phi - p[1]));
    let Some(mut known) = from_onset else { return out };
    let course = course(&known, from_friction.as_ref());
    known.remarks.push(Remark::Thickens { course });
    out.push(row(fit, &scope, PHI_BEYOND_DST, &known));
    let stresses: [(Label, Follows<'_>); 3] = [
        (SIGMA_UP, &|p, phi| turning_points(p, phi).map(|t| t.maximum_pa)),
        (SIGMA_DOWN, &|p, phi| turning_points(p, phi).and_then(|t| t.minimum_pa)),
        (SIGMA_JAM, &|p, phi| jamming_stress(p, phi)),
    ];
    for (quantity, follows) in stresses {
        out.extend(derived_stress(fit, Some(sample), follows).map(|known| row(fit, &scope, quantity, &known)));
    }
    out
}

/// Continuous, discontinuous, shear-jamming, or not decided, by the intervals of φ − φ_DST and φ − φ_m.
fn course(from_onset: &Known, from_friction: Option<&Known>) -> Course {
    let jams = from_friction.and_then(|k| k.interval);
    match (from_onset.interval, jams) {
        (Some((_, high)), _) if high < 0.0 => Course::Continuous,
        (_, Some((low, _))) if low > 0.0 => Course::Jams,
        (Some((low, _)), Some((_, high))) if low > 0.0 && high < 0.0 => Course::Discontinuous,
        (Some((low, _)), _) if low > 0.0 => Course::DiscontinuousMayJam,
        _ => Course::NotDecided,
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
        let controlled = held(&name, &set_point);
        let found = fit.found.as_ref().ok()?;
        let phi = fraction(fit, found, sample);
        let jumps = discontinuous_onset(&found.values).is_some_and(|o| phi > o.volume_fraction);
        let (regime, remark) = place(slope.as_ref(), controlled, jumps);
        Some(FlowState {
            scope: job.scope.clone(),
            sample: name,
            set_point,
            controlled,
            volume_fraction: phi,
            stress_pa: point.stress_pa,
            inverse_slope: slope.as_ref().and_then(|k| k.value),
            u_inverse_slope: slope.as_ref().and_then(|k| k.u),
            regime,
            remark,
        })
    };
    (0..job.data.points.len()).filter_map(of).collect()
}

/// Regime of a state, and what to mind at a held rate.
fn place(slope: Option<&Known>, controlled: Controlled, jumps: bool) -> (Regime, Option<StateRemark>) {
    let Some((value, (low, high))) = slope.and_then(|k| Some((k.value?, k.interval?))) else {
        return (Regime::Jammed, Some(StateRemark::Jammed));
    };
    let regime = match (value < 0.0, jumps) {
        (true, _) => Regime::UnstableBranch,
        (false, true) => Regime::Discontinuous,
        (false, false) => Regime::Continuous,
    };
    let remark = match (controlled == Controlled::Rate, high < 0.0, low < 0.0) {
        (true, true, _) => Some(StateRemark::Unstable),
        (true, false, true) => Some(StateRemark::MayBeUnstable),
        _ => None,
    };
    (regime, remark)
}

/// Borders around the stresses that were measured, by a factor of ten on either side.
fn diagram(job: &Job<'_>, fit: &Fit<'_>) -> Option<FlowDiagram> {
    let p = &fit.found.as_ref().ok()?.values;
    let (low, high) = job.data.stress_range();
    let x = |stress: f64| float::pow(p[2] / stress, p[BETA]);
    let all = BorderKind::ALL.into_iter().zip(borders(p, (x(10.0 * high), x(0.1 * low))));
    let borders = all.filter(|(_, points)| !points.is_empty());
    Some(FlowDiagram {
        scope: job.scope.clone(),
        borders: borders.map(|(kind, points)| Border { kind, points }).collect(),
        onset_stress_pa: p[2],
        frictionless_jamming: p[0],
        frictional_jamming: p[1],
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
        let decided = |onset: (f64, f64), friction: (f64, f64)| {
            course(&known(onset.0, onset.1), Some(&known(friction.0, friction.1)))
        };
        assert_eq!(decided((-0.04, -0.01), (-0.06, -0.03)), Course::Continuous);
        assert_eq!(decided((0.002, 0.01), (-0.02, -0.01)), Course::Discontinuous);
        assert_eq!(decided((0.002, 0.01), (-0.02, 0.01)), Course::DiscontinuousMayJam);
        assert_eq!(decided((0.02, 0.03), (0.01, 0.02)), Course::Jams);
        assert_eq!(decided((-0.01, 0.01), (-0.02, -0.01)), Course::NotDecided);
    }

    #[test]
    fn an_unstable_branch_has_a_remark_at_a_held_rate_only() {
        let at = |interval: (f64, f64), controlled| place(Some(&known(interval.0, interval.1)), controlled, true);
        assert_eq!(at((-2.0, -1.0), Controlled::Stress), (Regime::UnstableBranch, None));
        assert_eq!(at((-2.0, -1.0), Controlled::Rate), (Regime::UnstableBranch, Some(StateRemark::Unstable)));
        assert_eq!(at((-0.1, 0.5), Controlled::Rate), (Regime::Discontinuous, Some(StateRemark::MayBeUnstable)));
        assert_eq!(place(Some(&known(0.1, 0.5)), Controlled::Rate, false), (Regime::Continuous, None));
    }
}

//! What may be said of a fit and its parameters: a value with its interval, or why there is none. No table, no figure.

use super::influence::{Wild, wild};
use super::profile::Profile;
use super::remark::{Allowance, Remark, Side};
use super::rules::{CLOSEST_PACKING, LOOSEST_PACKING, MISFIT, MISSES, WIDEST_FRACTION, WIDEST_SCALE};
use super::solve::{Fit, Found, Spread, spread};
use crate::numerics::chi_square;
use crate::physics::models::Point;

/// Parameters that are solid fractions at which a suspension jams.
const JAMMING_FRACTIONS: [&str; 3] = ["phi_0", "phi_m", "phi_max"];

/// What is known of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Known {
    /// The value; none where it is not identified.
    pub value: Option<f64>,
    /// Standard uncertainty; none where held or not identified.
    pub u: Option<f64>,
    /// 95 % interval.
    pub interval: Option<(f64, f64)>,
    /// What is to be said of it.
    pub remarks: Vec<Remark>,
    /// Sides on which the data do not bound it: below, above.
    pub open: (bool, bool),
}

impl Known {
    fn without_value(why: Remark) -> Self {
        Self { value: None, u: None, interval: None, remarks: vec![why], open: (false, false) }
    }
}

/// Why no value of a fit is given, if so.
pub(super) fn distrust(fit: &Fit<'_>) -> Option<Remark> {
    let found = fit.found.as_ref().ok()?;
    if let Some(wild) = wild(&fit.problem, found).filter(|w| w.decides) {
        return Some(wild_state(fit, wild));
    }
    let variance = found.robust.as_ref().map_or(found.variance, |robust| robust.variance);
    let misses = fit.problem.knows_errors() && variance > MISSES * MISSES;
    misses.then(|| Remark::Misses { standard_uncertainties: variance.sqrt() })
}

fn wild_state(fit: &Fit<'_>, wild: Wild) -> Remark {
    let data = fit.problem.data;
    Remark::WildState {
        sample: data.samples[data.sample[wild.datum]].0.clone(),
        set_point: data.set_points[wild.datum].clone(),
        standard_deviations: wild.off,
        decides: wild.decides,
    }
}

/// What is to be said of the fit as a whole.
pub(super) fn remarks(fit: &Fit<'_>) -> Vec<Remark> {
    let found = match &fit.found {
        Ok(found) => found,
        Err(why) => return vec![why.clone()],
    };
    let wild = wild(&fit.problem, found).filter(|w| !w.decides).map(|w| wild_state(fit, w));
    let apart = found.covariance.is_some() || fit.problem.free().is_empty();
    let on_bound =
        |(k, bound): &(usize, f64)| Remark::BoundElsewhere { parameter: fit.problem.name(*k), bound: *bound };
    misfit(fit, found)
        .into_iter()
        .chain(wild)
        .chain((!apart).then_some(Remark::NotSeparated))
        .chain(fit.on_bounds.iter().map(on_bound))
        .chain((!fit.problem.knows_errors()).then_some(Remark::OneLoading))
        .chain(found.robust.as_ref().map(|_| Remark::RobustLoss))
        .collect()
}

fn misfit(fit: &Fit<'_>, found: &Found) -> Option<Remark> {
    let allowance = match (distrust(fit), &found.robust) {
        (Some(_), _) => Allowance::NoValue,
        (None, None) => Allowance::Widened,
        (None, Some(_)) => Allowance::InTheLoss,
    };
    let (rss, degrees_of_freedom) = (found.rss, found.dof);
    let misfit = fit.problem.knows_errors() && chi_square::upper_tail(rss, degrees_of_freedom) < MISFIT;
    misfit.then_some(Remark::Misfit { rss, degrees_of_freedom, allowance })
}

/// What the fit knows of each parameter of the model.
pub(super) fn parameters(fit: &Fit<'_>, held: &[Option<f64>]) -> Vec<Known> {
    let distrust = distrust(fit);
    let of = |k: usize| match (held[k], &fit.found) {
        (Some(value), _) => Known { value: Some(value), ..Known::without_value(Remark::Held) },
        // Why stands with the whole fit.
        (None, Err(why)) => Known { remarks: Vec::new(), ..Known::without_value(why.clone()) },
        (None, Ok(found)) => match &distrust {
            Some(why) => Known::without_value(why.clone()),
            None => parameter(fit, found, k),
        },
    };
    (0..held.len()).map(of).collect()
}

fn parameter(fit: &Fit<'_>, found: &Found, k: usize) -> Known {
    let problem = &fit.problem;
    let profile = Profile { problem, k, values: &found.values, shifts: &found.shifts, rss: found.rss };
    if let Some((_, bound)) = fit.on_bounds.iter().find(|b| b.0 == k) {
        return on_bound(fit, found, &profile, *bound);
    }
    let column = problem.free().iter().position(|f| *f == k).unwrap_or(0);
    let mut gradient = vec![0.0; found.q.len()];
    gradient[column] = 1.0;
    let Some(Spread { u, half }) = spread(problem, found, &gradient).filter(|s| s.u > 0.0 && s.half.is_finite()) else {
        return Known::without_value(Remark::Replaceable);
    };
    // On a linear model the sum of squares has risen by this much at the ends of the interval.
    let target = half / found.covariance.as_ref().map_or(u, |c| c.u(column));
    let (low, high) = (profile.end(-half, target), profile.end(half, target));
    let value = found.values[k];
    let (low, high) = match (low, high) {
        (Some(low), Some(high)) => (low, high),
        ends => {
            return Known {
                open: (ends.0.is_none(), ends.1.is_none()),
                ..Known::without_value(one_sided(problem.name(k), ends))
            };
        }
    };
    let parameter = problem.parameter(k);
    let wide = match (parameter.scale, parameter.label.unit) {
        (true, _) => high > WIDEST_SCALE * WIDEST_SCALE * low,
        (false, "") => high - low > 2.0 * WIDEST_FRACTION && parameter.high <= 1.0,
        _ => false,
    };
    if wide {
        return Known { open: (true, true), ..Known::without_value(Remark::Wide { low, high }) };
    }
    let u = if parameter.scale { value * u } else { u };
    let remarks = implausible(parameter.label.name, (low, high)).into_iter().collect();
    Known { value: Some(value), u: Some(u), interval: Some((low, high)), remarks, open: (false, false) }
}

/// What is to be said of a jamming fraction whose interval lies outside of what is known of spheres.
pub(super) fn implausible(name: &str, (low, high): (f64, f64)) -> Option<Remark> {
    if !JAMMING_FRACTIONS.contains(&name) {
        return None;
    }
    let denser = (low > CLOSEST_PACKING).then_some(Remark::DenserThanPacking);
    denser.or_else(|| (high < LOOSEST_PACKING).then_some(Remark::LooserThanJamming))
}

fn one_sided(parameter: String, ends: (Option<f64>, Option<f64>)) -> Remark {
    match ends {
        (Some(bound), None) => Remark::OneSided { parameter, side: Side::Below, bound },
        (None, Some(bound)) => Remark::OneSided { parameter, side: Side::Above, bound },
        _ => Remark::Unbounded { parameter },
    }
}

/// A parameter on its bound has no value; how far inside it may lie is said.
fn on_bound(fit: &Fit<'_>, found: &Found, profile: &Profile<'_, '_>, bound: f64) -> Known {
    let parameter = fit.problem.parameter(profile.k);
    let low = bound == parameter.low;
    let span = fit.problem.coordinate(profile.k, parameter.high) - fit.problem.coordinate(profile.k, parameter.low);
    let step = 1e-3 * span * if low { 1.0 } else { -1.0 };
    let reach = profile.end(step, found.t * found.variance.sqrt());
    let side = if low { Side::Below } else { Side::Above };
    let parameter = fit.problem.name(profile.k);
    Known { open: (low, !low), ..Known::without_value(Remark::OnBound { parameter, bound, side, reach }) }
}

/// Whether curves of the fit may be drawn.
pub(super) fn drawable(fit: &Fit<'_>) -> bool {
    fit.found.as_ref().is_ok_and(|f| f.covariance.is_some()) && distrust(fit).is_none()
}

/// ln η at `point` with its 95 % half-width. With `sample` the point moves with the fitted solid fraction of that
/// sample, whose error then counts. None without covariance, or where the model is jammed.
pub(super) fn predict(fit: &Fit<'_>, sample: Option<usize>, point: Point) -> Option<(f64, f64)> {
    let (problem, found) = (&fit.problem, fit.found.as_ref().ok()?);
    let ln = problem.model.ln_viscosity(&found.values, point);
    let mut by_parameter = vec![0.0; found.values.len()];
    let by_fraction = problem.model.derivatives(&found.values, point, &mut by_parameter);
    let by_shift = sample.map(|s| (s, by_fraction * problem.data.samples[s].1));
    let spread = spread(problem, found, &gradient(fit, found, &by_parameter, by_shift))?;
    (ln.is_finite() && spread.half.is_finite()).then_some((ln, spread.half))
}

/// Derivatives by the coordinates of the minimiser, from those by parameters and by the shift of one sample.
fn gradient(fit: &Fit<'_>, found: &Found, by_parameter: &[f64], by_shift: Option<(usize, f64)>) -> Vec<f64> {
    let (problem, free) = (&fit.problem, fit.problem.free());
    let mut out = vec![0.0; found.q.len()];
    for (column, k) in free.iter().enumerate() {
        out[column] = by_parameter[*k] * if problem.parameter(*k).scale { found.values[*k] } else { 1.0 };
    }
    if let Some((sample, by)) = by_shift
        && let Some(at) = problem.shifting.iter().position(|s| *s == sample)
    {
        out[free.len() + at] = by;
    }
    out
}

/// Solid fraction of a sample as the fit shifts it.
pub(super) fn fraction(fit: &Fit<'_>, found: &Found, sample: usize) -> f64 {
    let data = fit.problem.data;
    let stated = data.sample.iter().position(|of| *of == sample).map_or(f64::NAN, |i| data.points[i].volume_fraction);
    stated + found.shifts[sample] * data.samples[sample].1
}

/// A quantity that follows from the parameters, and from the solid fraction of a sample where one is given, with
/// standard uncertainty and 95 % interval; derivatives by central differences over a thousandth of each standard
/// uncertainty. None where it has no value at or beside the solution.
pub(super) fn derived(fit: &Fit<'_>, sample: Option<usize>, of: &dyn Fn(&[f64], f64) -> Option<f64>) -> Option<Known> {
    let (problem, found) = (&fit.problem, fit.found.as_ref().ok()?);
    let covariance = found.covariance.as_ref()?;
    let phi = sample.map_or(f64::NAN, |s| fraction(fit, found, s));
    let value = of(&found.values, phi)?;
    let mut by_parameter = vec![0.0; found.values.len()];
    for (column, k) in problem.free().into_iter().enumerate() {
        let scale = if problem.parameter(k).scale { found.values[k] } else { 1.0 };
        let step = 1e-3 * covariance.u(column) * scale;
        let moved = |by: f64| {
            let mut values = found.values.clone();
            values[k] += by;
            of(&values, phi)
        };
        by_parameter[k] = (moved(step)? - moved(-step)?) / (2.0 * step);
    }
    let by_shift = match sample.map(|s| (s, problem.data.samples[s].1)).filter(|s| s.1 > 0.0) {
        None => None,
        Some((s, u)) => {
            let step = 1e-3 * u;
            Some((s, (of(&found.values, phi + step)? - of(&found.values, phi - step)?) / 2e-3))
        }
    };
    let Spread { u, half } = spread(problem, found, &gradient(fit, found, &by_parameter, by_shift))?;
    let remarks = vec![Remark::Follows];
    let interval = Some((value - half, value + half));
    Some(Known { value: Some(value), u: Some(u), interval, remarks, open: (false, false) })
}

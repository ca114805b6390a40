//! What stands beside the headline value: early plateau, minimum, recovery strains, and the bound for traces that
//! begin too late. None of them is the headline, and each has its own name.

use super::bins::{Bin, smoothed};
use super::headline::Minimum;
use super::noise;
use super::params::Secondary;
use super::result::Noise;
use super::rules::{ONE_SIDED, TWO_SIDED};
use super::transient::{LN_CONTACT_STRAIN, LN_DELAY, whitening};
use crate::numerics::float::{exp, ln};

/// Points of the curve that is looked through and drawn.
const POINTS: usize = 160;

/// Strains from `first` to `last`, even in their logarithm.
pub(super) fn strains(first: f64, last: f64) -> Vec<f64> {
    let (a, b) = (ln(first.max(1e-4)), ln(last.max(2e-4)));
    (0..POINTS).map(|k| exp(a + (b - a) * k as f64 / (POINTS - 1) as f64)).collect()
}

/// Level of the early plateau over the viscosity before: the earliest stretch with Γ_b ≥ ratio·Γ_a whose slope
/// against ln Γ is not significant and whose change is small; none where there is no flat stretch.
pub(super) fn plateau(bins: &[Bin], noise: &Noise, settings: &Secondary) -> Option<f64> {
    (0..bins.len()).find_map(|a| {
        let b = (a..bins.len()).find(|b| bins[*b].strain >= settings.plateau_ratio * bins[a].strain)?;
        (bins[b].strain <= settings.plateau_end).then(|| flat(&bins[a..=b], noise, settings))?
    })
}

fn flat(part: &[Bin], noise: &Noise, settings: &Secondary) -> Option<f64> {
    if part.len() < 3 {
        return None;
    }
    let level = smoothed(part);
    let place: Vec<f64> = part.iter().map(|b| ln(b.strain)).collect();
    let ratio: Vec<f64> = part.iter().map(|b| b.ratio).collect();
    let line = whitening(part, noise, &level, 0.0)?.line(&place, &ratio)?;
    let change = line.slope * (place[place.len() - 1] - place[0]);
    let is_flat = line.slope.abs() < TWO_SIDED * line.u_slope && change.abs() < settings.plateau_change * line.level;
    is_flat.then_some(line.level)
}

/// Strain and level of the lowest place of the curve between the first usable strain and `end`.
///
/// Of the fitted curve, so free of the bias that the lowest of noisy readings has; without its early exponentials,
/// which belong to drive and release.
pub(super) fn lowest(curve: &[(f64, f64)], end: f64) -> Option<(f64, f64)> {
    let inside = curve.iter().copied().filter(|(strain, _)| *strain <= end);
    inside.min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Strain of the last upward crossing of `part` of the way from the minimum back to the value before.
pub(super) fn recovery(curve: &[(f64, f64)], minimum: (f64, f64), part: f64) -> Option<f64> {
    let target = minimum.1 + part * (1.0 - minimum.1);
    let up = |w: &&[(f64, f64)]| w[0].0 >= minimum.0 && w[0].1 < target && w[1].1 >= target;
    curve.windows(2).rfind(up).map(|w| w[0].0 + (w[1].0 - w[0].0) * (target - w[0].1) / (w[1].1 - w[0].1))
}

/// The contacts' own strain to 63.2 %: γ_0 + γ_c.
pub(super) fn contact_recovery(best: &Minimum) -> f64 {
    let delay = if best.form.delay { exp(best.theta[LN_DELAY]) } else { 0.0 };
    delay + exp(best.theta[LN_CONTACT_STRAIN])
}

/// Lower bound of the contact share: 1 − min/(1 − d_max) less 1.645 u ([`ONE_SIDED`]), where min is the lowest
/// place of the trace averaged over five bins. A late reading is no bound by itself, because the liquid's share
/// dips by up to d_max. None where it is not positive: no information.
pub(super) fn bound(bins: &[Bin], noise: &Noise, u_before: f64, settings: &Secondary) -> Option<f64> {
    let level = smoothed(bins);
    let lowest = (0..bins.len()).min_by(|a, b| level[*a].total_cmp(&level[*b]))?;
    let readings: f64 = bins[lowest.saturating_sub(2)..bins.len().min(lowest + 3)].iter().map(|b| b.readings).sum();
    let variance = noise::white(noise, readings)
        + (noise::covariance(noise, 0.0) + u_before * u_before) * level[lowest] * level[lowest];
    let liquid = 1.0 - settings.largest_dip;
    let bound = 1.0 - (level[lowest] + ONE_SIDED * variance.sqrt()) / liquid;
    (bound > 0.0).then_some(bound)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    const NOISE: Noise = Noise { white: 0.005, correlated: 0.003, length: 0.1 };

    fn bins(curve: impl Fn(f64) -> f64) -> Vec<Bin> {
        strains(0.002, 4.0).into_iter().step_by(4).map(|x| Bin { strain: x, ratio: curve(x), readings: 5.0 }).collect()
    }

    #[test]
    fn a_flat_start_is_a_plateau_and_a_slope_is_none() {
        let found =
            plateau(&bins(|x| if x < 0.1 { 0.4 } else { 0.4 + 0.2 * (x / 0.1).ln() }), &NOISE, &Secondary::default());
        assert!((found.unwrap() - 0.4).abs() < 1e-9);
        assert_eq!(plateau(&bins(|x| 0.4 + 0.1 * (x / 0.002).ln()), &NOISE, &Secondary::default()), None);
    }

    #[test]
    fn minimum_and_recovery_of_a_known_curve() {
        // The published made-up record: 30 − 22e^{−Γ/1.6} + 5e^{−Γ/0.15} has its minimum at 0.14657.
        let curve: Vec<(f64, f64)> = strains(0.001, 20.0)
            .into_iter()
            .map(|x| (x, (30.0 - 22.0 * (-x / 1.6_f64).exp() + 5.0 * (-x / 0.15_f64).exp()) / 30.0))
            .collect();
        let minimum = lowest(&curve, 2.0).unwrap();
        // Points are 6 % apart; the level is flat there.
        assert!((minimum.0 - 0.14657).abs() < 0.006 && (minimum.1 * 30.0 - 11.80773).abs() < 0.005, "{minimum:?}");
        let half = recovery(&curve, minimum, 0.632).unwrap();
        // 22e^{−Γ/1.6} = 0.368·18.192 by hand: 1.90 (the fast term is gone by then).
        assert!((half - 1.6 * (22.0_f64 / (0.368 * 18.192)).ln()).abs() < 0.01, "{half}");
        assert_eq!(recovery(&curve[..40], minimum, 0.9), None);
    }

    #[test]
    fn a_bound_needs_a_fall_beyond_what_the_dip_alone_can_do() {
        let deep = bound(&bins(|_| 0.2), &NOISE, 0.003, &Secondary::default()).unwrap();
        assert!(deep > 0.6 && deep < 1.0 - 0.2 / 0.55, "{deep}");
        assert_eq!(bound(&bins(|_| 0.56), &NOISE, 0.003, &Secondary::default()), None);
    }
}

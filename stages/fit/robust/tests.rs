//! Covariances of robust losses: against a printed example, and against what estimates scatter.

use super::*;
use crate::fit::known;
use crate::fit::params::Params;
use crate::fit::remark::Remark;
use crate::fit::solve::{Fit, covariance_of, fit};
use crate::fit::tests::{Normals, TRUTH, find, fits, made_up, only, place, plain, state, study, with_errors};
use crate::physics::models::power_law::PowerLaw;
use crate::physics::models::{Description, Model, Parameter, Point, Subject};

#[test]
fn the_loss_on_normal_errors_is_that_of_the_books() {
    // Huber's ψ with 1.345 has 95 % efficiency on normal errors (so in the notes of
    // several public programs).
    let efficiency = 1.0 / of_normal_errors(Loss::Huber, 1.345);
    assert!((efficiency - 0.95).abs() < 5e-4, "{efficiency}");
    assert!((of_normal_errors(Loss::Squares, 1.0) - 1.0).abs() < 1e-9);
}

#[test]
fn slopes_are_those_of_the_weights() {
    for loss in [Loss::PseudoHuber, Loss::Huber] {
        for u in [-3.0, -0.4, 0.2, 1.0, 5.0] {
            let psi = |u: f64| u * weight(u, loss, 1.345);
            let numeric = (psi(u + 1e-6) - psi(u - 1e-6)) / 2e-6;
            assert!((slope(u, loss, 1.345) - numeric).abs() < 1e-9, "{loss:?} {u}");
        }
    }
}

/// A plane over three variables, which stand in the three numbers of a point.
struct Plane;

const PLANE: [Parameter; 4] =
    [place("level", -1e3, 1e3), place("air", -1e3, 1e3), place("water", -1e3, 1e3), place("acid", -1e3, 1e3)];

impl Model for Plane {
    fn description(&self) -> &'static Description {
        const { &made_up(Subject::Packing, &PLANE) }
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        p[0] + p[1] * point.volume_fraction + p[2] * point.stress_pa + p[3] * point.rate_per_s
    }

    fn derivatives(&self, _: &[f64], point: Point, out: &mut [f64]) -> f64 {
        out.copy_from_slice(&[1.0, point.volume_fraction, point.stress_pa, point.rate_per_s]);
        0.0
    }

    fn starts(&self, _: &[(Point, f64)]) -> Vec<Vec<f64>> {
        vec![vec![0.0; 4]]
    }
}

fn u(fit: &Fit<'_>, k: usize) -> f64 {
    let found = fit.found.as_ref().unwrap();
    let unit: Vec<f64> = (0..found.q.len()).map(|j| f64::from(u8::from(j == k))).collect();
    covariance_of(&fit.problem, found, &unit, &unit).unwrap().sqrt()
}

/// Brownlee's stack loss by Huber's loss, as printed (`../reference/README.md`).
#[test]
fn the_covariance_is_the_one_in_print() {
    let text = include_str!("../reference/stackloss.csv");
    let rows: Vec<Vec<f64>> =
        text.lines().skip(1).map(|l| l.split(',').map(|c| c.parse().unwrap()).collect()).collect();
    let point = |r: &Vec<f64>| Point { volume_fraction: r[1], stress_pa: r[2], rate_per_s: r[3] };
    let data = with_errors(
        plain(rows.iter().map(point).collect(), rows.iter().map(|r| r[0]).collect()),
        2.440_536_091_721_074,
    );
    let fit = fit(&Plane, &[None; 4], &data, Loss::Huber, 1.345);
    let values = [-41.026_498_35, 0.829_384_33, 0.926_065_97, -0.127_846_72];
    let errors = [9.791_898_54, 0.111_005_21, 0.302_930_16, 0.128_649_61];
    for k in 0..4 {
        // Eight decimals are printed, of an iteration that stops at about that.
        let got = fit.found.as_ref().unwrap().values[k];
        assert!((got - values[k]).abs() < 2e-7 * (1.0 + values[k].abs()), "{k}: {got}");
        assert!((u(&fit, k) / errors[k] - 1.0).abs() < 1e-6, "{k}: {}", u(&fit, k));
    }
}

/// A power law whose readings are ten times as far off every tenth time, on the average. Uncertainties are what the
/// estimates scatter, and profile intervals hold the truth, whether errors are stated or follow from the residuals alone.
#[test]
fn uncertainties_are_what_estimates_scatter() {
    let rates: Vec<f64> = (0..25).map(|i| 0.1 * 10f64.powf(f64::from(i) / 8.0)).collect();
    let studies = 600;
    for (loss, stated) in
        [(Loss::Huber, false), (Loss::Huber, true), (Loss::PseudoHuber, false), (Loss::PseudoHuber, true)]
    {
        let mut normals = Normals::new(77);
        let (mut squares, mut variances, mut held) = ([0.0; 2], [0.0; 2], [0; 2]);
        for _ in 0..studies {
            let mut noise = || if normals.draw() > 1.2816 { 0.2 * normals.draw() } else { 0.02 * normals.draw() };
            let ln = rates.iter().map(|rate| 0.7 - 0.4 * rate.ln() + noise()).collect();
            let data = plain(rates.iter().map(|r| Point::at_rate(*r)).collect(), ln);
            let data = if stated { with_errors(data, 0.02) } else { data };
            let fit = fit(&PowerLaw, &[None; 2], &data, loss, 1.345);
            let known = known::parameters(&fit, &[None; 2]);
            for (k, truth) in [(0, 0.7), (1, 0.6)] {
                let at = |value: f64| if k == 0 { value.ln() } else { value };
                squares[k] += (fit.found.as_ref().unwrap().q[k] - truth).powi(2);
                variances[k] += u(&fit, k).powi(2);
                held[k] += i32::from(known[k].interval.is_some_and(|i| at(i.0) <= truth && truth <= at(i.1)));
            }
        }
        for k in 0..2 {
            // Both sums have a relative standard error of some 6 %; the formula is one for many data.
            let ratio = variances[k] / squares[k];
            assert!(ratio > 0.8 && ratio < 1.25, "{loss:?} {stated} {k}: {ratio}");
            // 95 %: less than 550 of 600 has a probability of 10⁻⁴ (binomial).
            assert!(held[k] >= 550, "{loss:?} {stated} {k}: {held:?}");
        }
    }
}

/// Whole studies with errors that states share, and every twentieth state far off.
#[test]
fn wild_states_leave_intervals_that_hold() {
    let (mut held, studies) = ([0; 5], 60);
    for seed in 0..studies {
        let mut normals = Normals::new(5000 + seed);
        let (mut states, samples) = study(&[0.47, 0.51, 0.54], 3, &mut normals);
        for at in 0..states.states.len() {
            if normals.draw() > 1.645 {
                let (sample, by) = (&samples[at / 8], 0.3 * normals.draw());
                let old = &states.states[at];
                let ln: Vec<f64> = old.loading_means.iter().map(|l| l.ln_viscosity - 0.5f64.ln() + by).collect();
                states.states[at] = state(sample, old.stress_pa.unwrap().value, &ln);
            }
        }
        let fits = fits(&states, &samples, &Params { loss: Loss::Huber, ..only("wyart-cates") });
        for (k, (name, truth)) in ["phi_0", "phi_m", "sigma_star", "beta", "amplitude"].iter().zip(TRUTH).enumerate() {
            let row = find(&fits, name);
            held[k] +=
                i32::from(row.value_low.is_some_and(|l| l <= truth) && row.value_high.is_some_and(|h| truth <= h));
            assert_eq!((row.aicc, row.bic), (None, None));
            assert!(row.remarks.contains(&Remark::RobustLoss), "{row:?}");
        }
    }
    // 95 % hold; less than 49 of 60 has a probability of 10⁻⁴ (binomial). Of 200 studies 178 or more held, each.
    assert!(held.iter().all(|h| *h >= 49), "{held:?}");
}

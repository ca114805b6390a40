//! Tests of fits: against another program's answers, on studies with known answers, and where there is no answer.

use super::compute::{criteria, fits};
use super::data::{Data, scatter};
use super::params::{Model as Choice, Params};
use super::result::{FitRow, Fits};
use super::solve::fit;
use crate::numerics::interval::Interval;
use crate::numerics::least_squares::{Effort, Residuals, minimise};
use crate::numerics::normal;
use crate::physics::materials::{Liquid, Sample};
use crate::physics::models::krieger_dougherty::KriegerDougherty;
use crate::physics::models::maron_pierce::MaronPierce;
use crate::physics::models::wyart_cates::WyartCates;
use crate::physics::models::{Model, Point};
use crate::physics::quantity::Quantity;
use crate::reversal::result::Controlled;
use crate::states::result::{LoadingMean, State, States};
use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

// Another program's answers.

const SCIPY: &str = include_str!("reference/scipy.json");

fn case(name: &str) -> serde_json::Value {
    serde_json::from_str::<serde_json::Value>(SCIPY).unwrap()["cases"][name].clone()
}

fn numbers(value: &serde_json::Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

/// Rows of a data file: solid fraction, then stress where there is one, then the rest.
fn rows(text: &str) -> Vec<Vec<f64>> {
    text.lines().skip(1).map(|l| l.split(',').map(|c| c.parse().unwrap()).collect()).collect()
}

/// Data of equal, unknown weight, without error in the solid fraction.
fn plain(points: Vec<Point>, ln: Vec<f64>) -> Data {
    let n = ln.len();
    Data {
        points,
        ln,
        sample: vec![0; n],
        samples: vec![("S".to_owned(), 0.0)],
        whitening: None,
        scatter_dof: f64::INFINITY,
    }
}

fn meets(name: &str, text: &str, model: &dyn Model, held: &[Option<f64>], with_stress: bool) {
    let case = case(name);
    let rows = rows(text);
    let stress = |r: &Vec<f64>| if with_stress { r[1] } else { 1.0 };
    let points = rows.iter().map(|r| Point { volume_fraction: r[0], stress_pa: stress(r) }).collect();
    let ln = rows.iter().map(|r| r[if with_stress { 2 } else { 1 }]).collect();
    let fit = fit(model, held, &plain(points, ln));
    let (estimates, errors) = (numbers(&case["estimate"]), numbers(&case["se_scaled"]));
    let free = (0..held.len()).filter(|k| held[*k].is_none());
    for (at, k) in free.enumerate() {
        let (mut value, mut u) = (fit.known[k].value.unwrap(), fit.known[k].u.unwrap());
        if case["parameters"][at] == "lnA" {
            (value, u) = (value.ln(), u / value);
        }
        assert!((value / estimates[at] - 1.0).abs() < 1e-6, "{name} {at}: {value}");
        assert!((u / errors[at] - 1.0).abs() < 1e-5, "{name} {at}: {u}");
    }
    assert!((fit.rss.unwrap() / case["rss"].as_f64().unwrap() - 1.0).abs() < 1e-8, "{name}");
    assert_eq!(fit.dof, case["dof"].as_f64().unwrap());
}

#[test]
fn logarithmic_fits_agree_with_scipy() {
    meets("08_maron_pierce_log", include_str!("reference/08_maron_pierce_log.csv"), &MaronPierce, &[None], false);
    let held = [None, None, None, Some(1.0), Some(1.0), Some(2.0)];
    meets("09_wyart_cates_log", include_str!("reference/09_wyart_cates_log.csv"), &WyartCates, &held, true);
    let held = [None, None, None, None, None, Some(2.0)];
    meets("10_wyart_cates_beta_log", include_str!("reference/10_wyart_cates_beta_log.csv"), &WyartCates, &held, true);
}

/// The models on η_r itself with a weight per datum, as two of the cases have it.
struct Linear<'a> {
    model: &'a dyn Model,
    rows: Vec<Vec<f64>>,
}

impl Residuals for Linear<'_> {
    fn len(&self) -> usize {
        self.rows.len()
    }

    fn residuals(&self, p: &[f64], out: &mut [f64]) {
        for (r, row) in out.iter_mut().zip(&self.rows) {
            let point = Point { volume_fraction: row[0], stress_pa: 1.0 };
            *r = (self.model.ln_relative_viscosity(p, point).exp() - row[1]) / row[2];
        }
    }

    fn jacobian(&self, p: &[f64], out: &mut [f64]) {
        for (i, row) in self.rows.iter().enumerate() {
            let point = Point { volume_fraction: row[0], stress_pa: 1.0 };
            let (value, mut by) = (self.model.ln_relative_viscosity(p, point).exp(), vec![0.0; p.len()]);
            self.model.derivatives(p, point, &mut by);
            by.iter().enumerate().for_each(|(k, by)| out[k * self.rows.len() + i] = value * by / row[2]);
        }
    }
}

#[test]
fn weighted_fits_agree_with_scipy() {
    let all: [(&str, &str, &dyn Model); 2] = [
        (
            "06_krieger_dougherty_weighted",
            include_str!("reference/06_krieger_dougherty_weighted.csv"),
            &KriegerDougherty,
        ),
        ("07_maron_pierce_weighted", include_str!("reference/07_maron_pierce_weighted.csv"), &MaronPierce),
    ];
    for (name, text, model) in all {
        let case = case(name);
        let problem = Linear { model, rows: rows(text) };
        let solution = minimise(&problem, &numbers(&case["start"]), Effort::default());
        let variance = solution.sum_of_squares / case["dof"].as_f64().unwrap();
        let errors = numbers(&case["se_scaled"]);
        for (k, want) in numbers(&case["estimate"]).into_iter().enumerate() {
            assert!((solution.parameters[k] / want - 1.0).abs() < 1e-6, "{name} {k}");
            let u = solution.covariance.as_ref().unwrap().u(k) * variance.sqrt();
            assert!((u / errors[k] - 1.0).abs() < 1e-5, "{name} {k}");
        }
    }
}

#[test]
fn criteria_agree_with_the_hand_example() {
    // n = 20, two parameters, RSS = 4: −2 ln L = 20 ln 0.2 + 20(1 + ln 2π), k = 3 (Burnham & Anderson 2002, by hand).
    let (aicc, bic) = criteria(4.0, 20, 2);
    assert!((aicc.unwrap() - 32.068_783_079_504_9).abs() < 1e-10);
    assert!((bic.unwrap() - 33.555_979_900_166_87).abs() < 1e-10);
    // Misra1a of NIST StRD, certified sum of squares.
    assert!((criteria(0.124_551_388_94, 14, 2).0.unwrap() + 17.979_040_084_264_597).abs() < 1e-9);
    assert_eq!(criteria(1.0, 4, 2).0, None, "too few data for the correction");
    assert_eq!(criteria(0.0, 10, 2), (None, None));
}

// Studies.

const TRUTH: [f64; 6] = [0.65, 0.57, 5.0, 0.9, 1.1, 2.0];

struct Normals(ChaCha12Rng);

impl Normals {
    fn new(seed: u64) -> Self {
        Self(ChaCha12Rng::seed_from_u64(seed))
    }

    fn draw(&mut self) -> f64 {
        normal::quantile((self.0.next_u64() >> 11) as f64 / 2f64.powi(53) + 2f64.powi(-54))
    }
}

fn sample(name: &str, phi: f64) -> Sample {
    Sample {
        name: name.to_owned(),
        liquid: Liquid {
            name: "carrier".to_owned(),
            viscosity: Some(Quantity { value: 0.5, u: 0.005 }),
            density: None,
            composition: None,
        },
        particles: None,
        volume_fraction: Some(Quantity { value: phi, u: 0.002 }),
        control: false,
    }
}

fn exactly(value: f64) -> Option<Interval> {
    Some(Interval { value, u: 0.0, low: None, high: None })
}

/// A state of a sample with these ln η_r, one per loading.
fn state(sample: &Sample, stress_pa: f64, ln_relative: &[f64]) -> State {
    let liquid = sample.liquid.viscosity.unwrap().value;
    let mean = ln_relative.iter().sum::<f64>() / ln_relative.len() as f64;
    let loading = |(i, ln): (usize, &f64)| LoadingMean {
        loading: format!("L{i}"),
        ln_viscosity: ln + liquid.ln(),
        z: None,
        u_z: None,
        resolved: 0,
        found: 1,
        viscosity_from: Vec::new(),
        share_from: Vec::new(),
    };
    State {
        sample: sample.name.clone(),
        volume_fraction: sample.volume_fraction.map(|q| q.value),
        u_volume_fraction: sample.volume_fraction.map(|q| q.u),
        set_point: format!("{stress_pa} Pa"),
        set_point_told: true,
        controlled: Controlled::Stress,
        stress_pa: exactly(stress_pa),
        rate_per_s: None,
        viscosity_pa_s: exactly(liquid * mean.exp()),
        hydrodynamic_viscosity_pa_s: None,
        contact_viscosity_pa_s: None,
        relative_viscosity: exactly(mean.exp()),
        contact_share: None,
        contact_share_bound: None,
        degrees_of_freedom: None,
        loadings: 0,
        reversals: 0,
        reversals_found: 0,
        remarks: Vec::new(),
        loading_means: ln_relative.iter().enumerate().map(loading).collect(),
        u_z_shared: 0.0,
        u_z_within: 0.0,
        u_ln_viscosity_within: 0.0,
    }
}

const STRESSES: [f64; 8] = [0.3, 1.0, 2.5, 5.0, 10.0, 25.0, 80.0, 250.0];

/// A study that follows the model with every error drawn: solid fraction, liquid, filling, and each loading.
fn study(fractions: &[f64], loadings: usize, normals: &mut Normals) -> (States, Vec<Sample>) {
    study_of(&TRUTH, fractions, loadings, normals)
}

fn study_of(truth: &[f64], fractions: &[f64], loadings: usize, normals: &mut Normals) -> (States, Vec<Sample>) {
    let samples: Vec<Sample> = fractions.iter().enumerate().map(|(i, f)| sample(&format!("S{i}"), *f)).collect();
    let liquid = 0.01 * normals.draw();
    let mut states = States::default();
    for sample in &samples {
        let phi = sample.volume_fraction.unwrap();
        let volume_fraction = phi.value + phi.u * normals.draw();
        let fillings: Vec<f64> = (0..loadings).map(|_| 0.03 * normals.draw()).collect();
        for stress_pa in STRESSES {
            let ln = WyartCates.ln_relative_viscosity(truth, Point { volume_fraction, stress_pa }) + liquid;
            let ln: Vec<f64> = fillings.iter().map(|f| ln + f + 0.01 * normals.draw()).collect();
            states.states.push(state(sample, stress_pa, &ln));
        }
    }
    (states, samples)
}

fn only(model: Choice) -> Params {
    Params { models: vec![model], ..Params::default() }
}

fn find<'a>(fits: &'a Fits, parameter: &str) -> &'a FitRow {
    fits.rows.iter().find(|r| r.parameter == parameter).unwrap()
}

#[test]
fn wyart_cates_finds_the_truth_within_its_interval() {
    let mut held = [0; 5];
    let studies = 200;
    for seed in 0..studies {
        let (states, samples) = study(&[0.47, 0.51, 0.54], 3, &mut Normals::new(seed));
        let fits = fits(&states, &samples, &only(Choice::WyartCates));
        for (k, (name, truth)) in ["phi_0", "phi_m", "sigma_star", "beta", "amplitude"].iter().zip(TRUTH).enumerate() {
            let row = find(&fits, name);
            held[k] +=
                i32::from(row.value_low.is_some_and(|l| l <= truth) && row.value_high.is_some_and(|h| truth <= h));
        }
        assert_eq!(find(&fits, "alpha").value, Some(2.0));
        assert!(find(&fits, "alpha").remarks.contains(&"held".to_owned()));
    }
    // Of 200 studies 95 % hold; less than 178 has a probability of 10⁻⁴ (binomial).
    assert!(held.iter().all(|h| *h >= 178), "{held:?}");
}

#[test]
fn curves_pass_through_the_data_and_carry_a_band() {
    let (states, samples) = study(&[0.47, 0.51, 0.54], 3, &mut Normals::new(5));
    let fits = fits(&states, &samples, &only(Choice::WyartCates));
    assert_eq!(fits.flow_curves.len(), 3);
    for curve in &fits.flow_curves {
        assert!(curve.points.iter().all(|p| p.low < p.relative_viscosity && p.relative_viscosity < p.high));
        let seen = states.states.iter().find(|s| s.sample == curve.sample).unwrap();
        let near = curve
            .points
            .iter()
            .min_by(|a, b| (a.stress_pa / 0.3).ln().abs().total_cmp(&(b.stress_pa / 0.3).ln().abs()));
        let off = (near.unwrap().relative_viscosity / seen.relative_viscosity.unwrap().value).ln();
        assert!(off.abs() < 0.06, "{}: {off}", curve.sample);
        let rate = near.unwrap().rate_per_s.unwrap();
        assert!((rate * 0.5 * near.unwrap().relative_viscosity / near.unwrap().stress_pa - 1.0).abs() < 1e-12);
    }
    let onset = find(&fits, "phi_dst");
    let truth = crate::physics::models::wyart_cates::discontinuous_onset(&TRUTH).unwrap().0;
    assert!(onset.value_low.unwrap() < truth && truth < onset.value_high.unwrap(), "{onset:?}");
}

#[test]
fn one_solid_fraction_ends_in_words_and_not_in_numbers() {
    let (states, samples) = study(&[0.51], 3, &mut Normals::new(1));
    let fits = fits(&states, &samples, &Params::default());
    assert!(fits.rows.len() >= 6 + 2 + 4);
    for row in fits.rows.iter().filter(|r| r.parameter != "alpha") {
        assert_eq!((row.value, row.u_value), (None, None), "{row:?}");
        assert!(row.remarks.iter().any(|r| r.starts_with("not ")), "{row:?}");
    }
    assert!(fits.flow_curves.is_empty() && fits.law_curves.is_empty());
}

#[test]
fn samples_that_do_not_thicken_identify_no_stress() {
    let mut normals = Normals::new(3);
    let samples = [sample("S0", 0.45), sample("S1", 0.5), sample("S2", 0.53)];
    let mut states = States::default();
    for sample in &samples {
        let phi = sample.volume_fraction.unwrap().value;
        for stress_pa in STRESSES {
            let ln: Vec<f64> = (0..3).map(|_| -2.0 * (1.0 - phi / 0.62).ln() + 0.01 * normals.draw()).collect();
            states.states.push(state(sample, stress_pa, &ln));
        }
    }
    let fits = fits(&states, &samples, &only(Choice::WyartCates));
    for name in ["sigma_star", "beta"] {
        assert_eq!(find(&fits, name).value, None, "{:?}", find(&fits, name));
    }
}

#[test]
fn samples_of_which_one_follows_another_law_do_not_fit_and_it_is_said() {
    let (mut states, samples) = study(&[0.47, 0.51, 0.54], 3, &mut Normals::new(8));
    let flat: Vec<f64> = states.states[8].loading_means.iter().map(|l| l.ln_viscosity - 0.5f64.ln()).collect();
    for (at, stress_pa) in STRESSES.iter().enumerate() {
        states.states[8 + at] = state(&samples[1], *stress_pa, &flat);
    }
    let fits = fits(&states, &samples, &only(Choice::WyartCates));
    let row = find(&fits, "phi_0");
    assert!(row.remarks.iter().any(|r| r.starts_with("does not fit")), "{row:?}");
    // So far off that no parameter means anything, and no curve is drawn.
    assert_eq!((row.value, fits.flow_curves.len()), (None, 0), "{row:?}");
    assert!(row.remarks[0].starts_with("no value: the data miss the model"), "{row:?}");
}

#[test]
fn packings_of_both_ends_come_out() {
    // With amplitude 1 the ends of the model are the law of Maron and Pierce: φ_0, and φ_J at 250 Pa.
    let truth = [0.65, 0.57, 5.0, 0.9, 1.0, 2.0];
    let high = 0.65 - 0.08 * (-(0.02f64).powf(0.9)).exp();
    let (states, samples) = study_of(&truth, &[0.42, 0.46, 0.5, 0.53, 0.55], 3, &mut Normals::new(2));
    let fits = fits(&states, &samples, &only(Choice::MaronPierce));
    let of = |scope: &str| fits.rows.iter().find(|r| r.scope == scope).unwrap();
    for (scope, truth) in [("low stress", 0.65), ("high stress", high)] {
        let row = of(scope);
        assert!(row.value_low.unwrap() < truth && truth < row.value_high.unwrap(), "{truth}: {row:?}");
        assert!(row.u_value.unwrap() < 0.003, "{row:?}");
    }
    assert!(of("low stress").remarks.iter().any(|r| r.starts_with("states from 0.3")));
    assert_eq!(fits.law_curves.len(), 2);
    assert!(fits.law_curves.iter().all(|c| c.points.iter().all(|p| p.high.is_finite() && p.low <= p.high)));
}

#[test]
fn the_scatter_of_loadings_is_taken_apart() {
    let mut normals = Normals::new(4);
    let all: Vec<State> = (0..40).flat_map(|_| study(&[0.47, 0.51, 0.54], 3, &mut normals).0.states).collect();
    let scatter = scatter(&all).unwrap();
    // 40 × 3 fillings of three loadings: 4 % standard error of a standard deviation; three of them.
    assert!((scatter.own / 0.01 - 1.0).abs() < 0.12, "{scatter:?}");
    assert!((scatter.filling / 0.03 - 1.0).abs() < 0.14, "{scatter:?}");
}

#[test]
fn one_loading_takes_its_errors_from_the_residuals_and_says_so() {
    let (states, samples) = study(&[0.47, 0.51, 0.54], 1, &mut Normals::new(6));
    let fits = fits(&states, &samples, &only(Choice::WyartCates));
    assert!(find(&fits, "phi_0").remarks.iter().any(|r| r.starts_with("one loading per state")));
}

#[test]
fn left_out_means_empty_and_said() {
    let (states, samples) = study(&[0.47, 0.51], 3, &mut Normals::new(7));
    let fits = fits(&states, &samples, &Params { skip: true, ..Params::default() });
    assert!(fits.rows.is_empty() && fits.skipped && fits.remarks[0].contains("left out"));
    let empty = super::fits(&States::default(), &samples, &Params::default());
    assert!(empty.rows.iter().all(|r| r.value.is_none() || r.parameter == "alpha"));
    assert!(!empty.rows.is_empty());
}

#[test]
fn results_are_json_without_holes() {
    let (states, samples) = study(&[0.47, 0.51, 0.54], 3, &mut Normals::new(9));
    let fits = fits(&states, &samples, &Params::default());
    let text = serde_json::to_string(&fits).unwrap();
    assert_eq!(serde_json::from_str::<Fits>(&text).unwrap(), fits);
}

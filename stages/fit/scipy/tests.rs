//! Fits held against another program's answers: `reference/scipy.json`. Tests only; the name of the file keeps it out
//! of the code hash.

use super::known;
use super::params::Loss;
use super::remark::{Remark, Side};
use super::solve::fit;
use super::tests::{made_up, place, plain, with_errors};
use crate::numerics::least_squares::{Effort, Residuals, Solution, minimise};
use crate::numerics::least_squares_near::minimise_near;
use crate::physics::models::herschel_bulkley::HerschelBulkley;
use crate::physics::models::krieger_dougherty::KriegerDougherty;
use crate::physics::models::maron_pierce::MaronPierce;
use crate::physics::models::power_law::PowerLaw;
use crate::physics::models::wyart_cates::WyartCates;
use crate::physics::models::{Description, Model, Parameter, Point, Subject};

const SCIPY: &str = include_str!("../reference/scipy.json");

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

fn meets(name: &str, text: &str, model: &dyn Model, held: &[Option<f64>], with_stress: bool) {
    let case = case(name);
    let rows = rows(text);
    let stress = |r: &Vec<f64>| if with_stress { r[1] } else { 1.0 };
    let points = rows.iter().map(|r| Point::at_stress(r[0], stress(r))).collect();
    let ln = rows.iter().map(|r| r[if with_stress { 2 } else { 1 }]).collect();
    let data = plain(points, ln);
    let fit = fit(model, held, &data, Loss::Squares, 1.0);
    let found = fit.found.as_ref().unwrap();
    let (estimates, errors) = (numbers(&case["estimate"]), numbers(&case["se_scaled"]));
    let free = (0..held.len()).filter(|k| held[*k].is_none());
    for (at, k) in free.enumerate() {
        let (mut value, mut u) = (found.values[k], found.covariance.as_ref().unwrap().u(at) * found.variance.sqrt());
        u *= if fit.problem.parameter(k).scale { value } else { 1.0 };
        if case["parameters"][at] == "lnA" {
            (value, u) = (value.ln(), u / value);
        }
        assert!((value / estimates[at] - 1.0).abs() < 1e-6, "{name} {at}: {value}");
        assert!((u / errors[at] - 1.0).abs() < 1e-5, "{name} {at}: {u}");
    }
    assert!((found.rss / case["rss"].as_f64().unwrap() - 1.0).abs() < 1e-8, "{name}");
    assert_eq!(found.dof, case["dof"].as_f64().unwrap());
}

#[test]
fn logarithmic_fits_agree_with_scipy() {
    meets("08_maron_pierce_log", include_str!("../reference/08_maron_pierce_log.csv"), &MaronPierce, &[None], false);
    let held = [None, None, None, Some(1.0), Some(1.0), Some(2.0)];
    meets("09_wyart_cates_log", include_str!("../reference/09_wyart_cates_log.csv"), &WyartCates, &held, true);
    let held = [None, None, None, None, None, Some(2.0)];
    meets(
        "10_wyart_cates_beta_log",
        include_str!("../reference/10_wyart_cates_beta_log.csv"),
        &WyartCates,
        &held,
        true,
    );
}

/// A model on the viscosity, or for flow curves the stress, itself with a weight per datum.
struct Linear<'a> {
    model: &'a dyn Model,
    rows: Vec<Vec<f64>>,
}

impl Linear<'_> {
    fn at(&self, row: &[f64]) -> Point {
        Point { volume_fraction: row[0], stress_pa: 1.0, rate_per_s: row[0] }
    }

    /// What makes the response of the viscosity.
    fn by(&self, row: &[f64]) -> f64 {
        let weight = if row.len() > 2 { row[2] } else { 1.0 };
        let stress = self.model.subject() == Subject::FlowCurve;
        (if stress { row[0] } else { 1.0 }) / weight
    }
}

impl Residuals for Linear<'_> {
    fn len(&self) -> usize {
        self.rows.len()
    }

    fn residuals(&self, p: &[f64], out: &mut [f64]) {
        for (r, row) in out.iter_mut().zip(&self.rows) {
            let weight = if row.len() > 2 { row[2] } else { 1.0 };
            *r = self.model.ln_viscosity(p, self.at(row)).exp() * self.by(row) - row[1] / weight;
        }
    }

    fn jacobian(&self, p: &[f64], out: &mut [f64]) {
        for (i, row) in self.rows.iter().enumerate() {
            let (value, mut by) = (self.model.ln_viscosity(p, self.at(row)).exp(), vec![0.0; p.len()]);
            self.model.derivatives(p, self.at(row), &mut by);
            by.iter().enumerate().for_each(|(k, by)| out[k * self.rows.len() + i] = value * by * self.by(row));
        }
    }
}

/// Parameters, scaled covariance and cost of the cases that have a model of this house.
#[test]
fn fits_agree_with_scipy() {
    let all: [(&str, &str, &dyn Model); 6] = [
        ("01_power_law", include_str!("../reference/01_power_law.csv"), &PowerLaw),
        ("02_power_law_weighted", include_str!("../reference/02_power_law_weighted.csv"), &PowerLaw),
        ("03_herschel_bulkley", include_str!("../reference/03_herschel_bulkley.csv"), &HerschelBulkley),
        (
            "04_herschel_bulkley_weighted",
            include_str!("../reference/04_herschel_bulkley_weighted.csv"),
            &HerschelBulkley,
        ),
        (
            "06_krieger_dougherty_weighted",
            include_str!("../reference/06_krieger_dougherty_weighted.csv"),
            &KriegerDougherty,
        ),
        ("07_maron_pierce_weighted", include_str!("../reference/07_maron_pierce_weighted.csv"), &MaronPierce),
    ];
    for (name, text, model) in all {
        let case = case(name);
        let problem = Linear { model, rows: rows(text) };
        agrees(name, &case, &minimise(&problem, &numbers(&case["start"]), Effort::default()));
    }
}

/// Estimates, scaled covariance and cost, to the tolerances that the file states.
fn agrees(name: &str, case: &serde_json::Value, solution: &Solution) {
    let variance = solution.sum_of_squares / case["dof"].as_f64().unwrap();
    assert!((0.5 * solution.sum_of_squares / case["cost"].as_f64().unwrap() - 1.0).abs() < 1e-8, "{name}");
    let (covariance, want) = (solution.covariance.as_ref().unwrap(), case["cov_scaled"].as_array().unwrap());
    for (j, estimate) in numbers(&case["estimate"]).into_iter().enumerate() {
        assert!((solution.parameters[j] / estimate - 1.0).abs() < 1e-6, "{name} {j}");
        for (k, want) in numbers(&want[j]).into_iter().enumerate() {
            let size = covariance.u(j) * covariance.u(k) * variance;
            assert!((covariance.element(j, k) * variance - want).abs() < 2e-5 * size, "{name} {j} {k}");
        }
    }
}

/// A law of one variable: its value, then its derivatives.
type Law = fn(&[f64], f64) -> Vec<f64>;

/// A law that is none of the house, on data of equal weight.
struct Curve(Law, Vec<Vec<f64>>);

impl Residuals for Curve {
    fn len(&self) -> usize {
        self.1.len()
    }

    fn residuals(&self, p: &[f64], out: &mut [f64]) {
        out.iter_mut().zip(&self.1).for_each(|(r, row)| *r = self.0(p, row[0])[0] - row[1]);
    }

    fn jacobian(&self, p: &[f64], out: &mut [f64]) {
        for (i, row) in self.1.iter().enumerate() {
            let all = self.0(p, row[0]);
            (0..p.len()).for_each(|k| out[k * self.1.len() + i] = all[k + 1]);
        }
    }
}

/// η_ss − (η_ss − η_0) e^(−γ/γ_c): parameters η_ss, η_0, γ_c.
fn recovery(p: &[f64], strain: f64) -> Vec<f64> {
    let (e, fall) = ((-strain / p[2]).exp(), p[0] - p[1]);
    vec![p[0] - fall * e, 1.0 - e, e, -fall * e * strain / (p[2] * p[2])]
}

/// η_ss − A e^(−γ/γ_1) + B e^(−γ/γ_2): parameters η_ss, A, γ_1, B, γ_2.
fn two_scales(p: &[f64], strain: f64) -> Vec<f64> {
    let (slow, quick) = ((-strain / p[2]).exp(), (-strain / p[4]).exp());
    let by = |amplitude: f64, e: f64, scale: f64| amplitude * e * strain / (scale * scale);
    vec![p[0] - p[1] * slow + p[3] * quick, 1.0, -slow, -by(p[1], slow, p[2]), quick, by(p[3], quick, p[4])]
}

/// Transients after a reversal, which the stage of fits does not see: they test the solver, from the start near the
/// minimum and from afar alike.
#[test]
fn recoveries_agree_with_scipy() {
    let all: [(&str, &str, Law); 5] = [
        ("11_recovery", include_str!("../reference/11_recovery.csv"), recovery),
        ("12_recovery_late_start", include_str!("../reference/12_recovery_late_start.csv"), recovery),
        (
            "14_recovery_outliers_least_squares",
            include_str!("../reference/14_recovery_outliers_least_squares.csv"),
            recovery,
        ),
        ("15_reversal_two_scale", include_str!("../reference/15_reversal_two_scale.csv"), two_scales),
        ("16_recovery_ar1_noise", include_str!("../reference/16_recovery_ar1_noise.csv"), recovery),
    ];
    for (name, text, law) in all {
        let (case, curve) = (case(name), Curve(law, rows(text)));
        let far = minimise(&curve, &numbers(&case["start"]), Effort::default());
        agrees(name, &case, &far);
        let secondary: Vec<f64> = far.parameters.iter().map(|p| 1.01 * p).collect();
        let near = minimise_near(&curve, &secondary, Effort::default());
        assert!((0.5 * near.sum_of_squares / case["cost"].as_f64().unwrap() - 1.0).abs() < 1e-8, "{name}");
        for (got, want) in near.parameters.iter().zip(numbers(&case["estimate"])) {
            assert!((got / want - 1.0).abs() < 1e-6, "{name}: {got} {want}");
        }
    }
}

/// Recovery after a reversal, η itself against strain: a model that is none of the house, with outliers.
struct Recovery;

const RECOVERY: [Parameter; 3] = [place("steady", 0.0, 1e3), place("start", 0.0, 1e3), place("strain", 0.0, 1e3)];

impl Model for Recovery {
    fn description(&self) -> &'static Description {
        const { &made_up(Subject::FlowCurve, &RECOVERY) }
    }

    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        recovery(p, point.rate_per_s)[0]
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        out.copy_from_slice(&recovery(p, point.rate_per_s)[1..]);
        0.0
    }

    fn starts(&self, _: &[(Point, f64)]) -> Vec<Vec<f64>> {
        vec![vec![25.0, 10.0, 1.0]]
    }
}

#[test]
fn a_robust_loss_agrees_with_scipy_and_is_not_pulled_by_wild_data() {
    let case = case("13_recovery_outliers_soft_l1");
    let rows = rows(include_str!("../reference/13_recovery_outliers_soft_l1.csv"));
    let (points, y) = rows.iter().map(|r| (Point::at_rate(r[0]), r[1])).unzip();
    let data = with_errors(plain(points, y), case["f_scale"].as_f64().unwrap());
    let values = |loss| fit(&Recovery, &[None; 3], &data, loss, 1.0).found.unwrap().values;
    for (got, want) in values(Loss::PseudoHuber).iter().zip(numbers(&case["estimate"])) {
        // The rounds of weights stop at 10⁻⁷.
        assert!((got / want - 1.0).abs() < 1e-6, "{got} {want}");
    }
    let off = |values: Vec<f64>| (values[2] - 1.3).abs();
    assert!(off(values(Loss::Huber)) < off(values(Loss::Squares)));
}

/// σ itself instead of ln η, as the case with a bound has it.
struct Stress(HerschelBulkley);

impl Model for Stress {
    fn description(&self) -> &'static Description {
        self.0.description()
    }

    /// `volume_fraction` holds the standard uncertainty of the datum.
    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64 {
        (p[0] + p[1] * point.rate_per_s.powf(p[2])) / point.volume_fraction
    }

    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64 {
        let power = point.rate_per_s.powf(p[2]);
        let all = [1.0, power, p[1] * power * point.rate_per_s.ln()].map(|d| d / point.volume_fraction);
        out.copy_from_slice(&all);
        0.0
    }

    fn starts(&self, _: &[(Point, f64)]) -> Vec<Vec<f64>> {
        vec![vec![0.5, 1.0, 1.0]]
    }
}

#[test]
fn a_parameter_on_its_bound_leaves_the_others_unbiased_and_is_said() {
    let case = case("05_herschel_bulkley_yield_at_bound");
    let rows = rows(include_str!("../reference/05_herschel_bulkley_yield_at_bound.csv"));
    let at = |r: &Vec<f64>| (Point { volume_fraction: r[2], ..Point::at_rate(r[0]) }, r[1] / r[2]);
    let (points, y) = rows.iter().map(at).unzip();
    let data = with_errors(plain(points, y), 1.0);
    let fit = fit(&Stress(HerschelBulkley), &[None; 3], &data, Loss::Squares, 1.0);
    let found = fit.found.as_ref().unwrap();
    assert_eq!(fit.on_bounds, [(0, 0.0)]);
    assert_eq!(found.values[0], 0.0);
    let want = numbers(&case["estimate"]);
    let deviations: Vec<f64> = (0..2).map(|k| numbers(&case["cov_absolute"][k])[k].sqrt()).collect();
    for k in 1..3 {
        assert!((found.values[k] / want[k] - 1.0).abs() < 1e-6, "{k}: {}", found.values[k]);
        let u = found.covariance.as_ref().unwrap().u(k - 1) * if k == 1 { found.values[1] } else { 1.0 };
        assert!((u / deviations[k - 1] - 1.0).abs() < 1e-5, "{k}: {u}");
    }
    let known = known::parameters(&fit, &[None; 3]);
    let below = |r: &Remark| matches!(r, Remark::OnBound { bound: 0.0, side: Side::Below, reach: Some(reach), .. } if *reach < 0.1);
    assert!(known[0].value.is_none() && below(&known[0].remarks[0]), "{:?}", known[0]);
    assert!(known[1].value.is_some() && known[2].value.is_some());
}

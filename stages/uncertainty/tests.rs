//! Tests of the joined uncertainty: what cancels and what does not, the budget, and published examples.

use super::compute::{Joined, joined};
use super::params::Params;
use super::result::{Budget, BudgetRow, HeadlineQuantity, Remark, UncertaintySource};
use crate::fixture::{self, sample};
use crate::numerics::interval::{covariance_of_means, mean};
use crate::physics::geometry::{Geometry, Shape};
use crate::physics::quantity::Quantity;
use crate::reversal::result::{Estimate, OtherSetting, SensitivityCoefficient};
use crate::states::result::{
    Alternative, Choice, Interval, LoadingMean, Reason, State, States, StudyReversal, Thickening, Verdict, rise_between,
};
use HeadlineQuantity::{ContactShare, ContactShareOfRise, RelativeViscosity, ViscosityPaS};
use std::collections::BTreeMap;

const CALIBRATION: &str = "instruments.bench.torque_calibration";
const INERTIA: &str = "instruments.bench.inertia";
const LIQUID: &str = "liquids.carrier.viscosity";

fn geometries() -> BTreeMap<String, Geometry> {
    let of = |value: f64, relative: f64| Quantity { value, u: relative * value };
    let shape = Shape::ConePlate { radius: of(0.02, 0.001), angle: of(0.02, 0.005), truncation: None };
    BTreeMap::from([("cone".to_owned(), Geometry { name: "cone".to_owned(), shape, inertia: None })])
}

/// Calibration moves ln η by 0.02 and X not at all; inertia moves X by `inertia` and η not at all.
fn sensitivity_coefficients(inertia: f64) -> Vec<SensitivityCoefficient> {
    vec![
        SensitivityCoefficient { term: CALIBRATION.to_owned(), minus: (-0.02, 0.0), plus: (0.02, 0.0) },
        SensitivityCoefficient { term: INERTIA.to_owned(), minus: (0.0, -inertia), plus: (0.0, inertia) },
    ]
}

fn reversal(id: &str, loading: &str, share: f64, inertia: f64) -> StudyReversal {
    let mut graded = fixture::graded(1, None, Estimate { value: share, u: 0.01 });
    graded.read.sensitivity_coefficients = sensitivity_coefficients(inertia);
    StudyReversal { reversal: id.to_owned(), identity: fixture::identity("S", loading), set_point: None, graded }
}

/// A state of loadings with (η, X), whose reversals are numbered from `first`.
fn state(label: &str, first: usize, loadings: &[(f64, f64)]) -> State {
    let mean_of = |(i, (eta, share)): (usize, &(f64, f64))| {
        let from = vec![format!("R{}", first + i)];
        let mean = fixture::loading_mean(&format!("L{i}"), eta.ln(), Some(*share));
        LoadingMean { viscosity_from: from.clone(), share_from: from, ..mean }
    };
    let mut state = State {
        stress_pa: Some(Interval { value: 1.0, u: 0.0, low: None, high: None }),
        u_z_shared: 0.005,
        u_z_within: 0.01,
        u_ln_viscosity_within: 0.004,
        ..fixture::state(&sample("S"), label, loadings.iter().enumerate().map(mean_of).collect())
    };
    let of = state.loadings_for_shares();
    let viscosity = crate::physics::shares::ln_viscosity(&of, state.within(), 0.0).unwrap();
    let shares = crate::physics::shares::shares(&of, state.within(), state.shared()).unwrap();
    state.viscosity_pa_s = Some(viscosity.exponential());
    state.relative_viscosity = Some(viscosity.about(viscosity.value - 2f64.ln()).exponential());
    state.contact_share = Some(shares.contact_share);
    state.hydrodynamic_viscosity_pa_s = Some(shares.hydrodynamic);
    state.contact_viscosity_pa_s = Some(shares.contact);
    state
}

/// Two states of one sample with the share of the rise between them.
fn study(low: &[(f64, f64)], high: &[(f64, f64)], inertia: f64) -> States {
    let states = vec![state("1 1/s", 1, low), state("9 1/s", 101, high)];
    let of = |first: usize, loadings: &[(f64, f64)]| {
        let one = |(i, (_, share)): (usize, &(f64, f64))| {
            reversal(&format!("R{}", first + i), &format!("L{i}"), *share, inertia)
        };
        loadings.iter().enumerate().map(one).collect::<Vec<_>>()
    };
    let reversals = [of(1, low), of(101, high)].concat();
    let mut row = Thickening {
        sample: "S".to_owned(),
        volume_fraction: Some(0.5),
        set_point_low: Some("1 1/s".to_owned()),
        set_point_high: Some("9 1/s".to_owned()),
        stress_low_pa: None,
        stress_high_pa: None,
        states_without_value: 0,
        viscosity_rise_pa_s: None,
        contact_share_of_rise: None,
        contact_share_of_rise_bound: None,
        probability_of_scatter: None,
        degrees_of_freedom: None,
        loadings: 0,
        reason: Reason::NoPair,
        loadings_of_sample: low.len() as u32,
        smallest_rise: 0.1,
    };
    row.settle(rise_between(&states[0], &states[1], Default::default()).as_ref());
    States { reversals, states, thickening: vec![row] }
}

const LOW: [(f64, f64); 3] = [(10.0, 0.40), (10.1, 0.41), (9.9, 0.395)];
const HIGH: [(f64, f64); 3] = [(20.0, 0.66), (20.3, 0.665), (19.8, 0.655)];

fn join(states: &States) -> (States, Budget) {
    let joined = joined(states, &[], &[sample("S")], &geometries(), 7, &Params::default());
    (joined.states, joined.budget)
}

fn part<'a>(
    budget: &'a Budget,
    quantity: HeadlineQuantity,
    set_point: Option<&str>,
    source: &UncertaintySource,
) -> &'a BudgetRow {
    let fits = |r: &&BudgetRow| r.quantity == quantity && r.set_point.as_deref() == set_point && r.source == *source;
    budget.rows.iter().find(fits).unwrap()
}

fn source<'a>(budget: &'a Budget, quantity: HeadlineQuantity, set_point: Option<&str>, place: &str) -> &'a BudgetRow {
    part(budget, quantity, set_point, &UncertaintySource::Term { place: place.to_owned() })
}

#[test]
fn calibration_cancels_in_the_contact_share_and_not_in_the_relative_viscosity() {
    let (_, budget) = join(&study(&LOW, &HIGH, 0.01));
    let at = Some("1 1/s");
    assert_eq!(source(&budget, ContactShare, at, CALIBRATION).u, 0.0);
    // u(η_r) by calibration is 2 % of η_r = 5; 20,000 draws know a standard deviation to 0.5 %, here three times.
    let of = source(&budget, RelativeViscosity, at, CALIBRATION).u;
    assert!((of / (0.02 * 4.99983) - 1.0).abs() < 0.015, "{of}");
    assert!((source(&budget, RelativeViscosity, at, LIQUID).u / (0.015 * 4.99983) - 1.0).abs() < 1e-4);
    // It cancels in the share of the rise too: both ends move by the same factor.
    assert!(source(&budget, ContactShareOfRise, None, CALIBRATION).u < 1e-12);
}

#[test]
fn the_inertia_moves_the_contact_share_of_every_loading_together() {
    let (with, budget) = join(&study(&LOW, &HIGH, 0.01));
    let row = source(&budget, ContactShare, Some("1 1/s"), INERTIA);
    // Shared by all loadings: not divided by √3. Three times the error of a standard deviation.
    assert!((row.u / 0.01 - 1.0).abs() < 0.015, "{row:?}");
    let (without, _) = join(&study(&LOW, &HIGH, 0.0));
    let width = |s: &States| s.states[0].contact_share.map(|x| x.high.unwrap() - x.low.unwrap()).unwrap();
    assert!(width(&with) > 1.2 * width(&without), "{} {}", width(&with), width(&without));
    assert_eq!(with.states[0].contact_share.unwrap().value, without.states[0].contact_share.unwrap().value);
}

#[test]
fn a_joined_interval_by_hand() {
    // Half-width of ln η: k·√(se² + 0.02²), k² = 1.96² + (t² − 1.96²)·part^1.4 ≥ t²·part with t₀.₉₇₅(2) = 4.302653.
    let (states, _) = join(&study(&LOW, &HIGH, 0.0));
    let ln: Vec<f64> = LOW.iter().map(|(eta, _)| eta.ln()).collect();
    let se = covariance_of_means(&ln, &ln).sqrt();
    let whole = se * se + 0.02 * 0.02;
    let factor = 1.959_964f64.powi(2) + (4.302_653f64.powi(2) - 1.959_964f64.powi(2)) * (se * se / whole).powf(1.4);
    let half = (factor * whole).sqrt().max(4.302_653 * se);
    let viscosity = states.states[0].viscosity_pa_s.unwrap();
    // The Monte Carlo part is known to 0.5 %, here three times.
    assert!(((viscosity.high.unwrap() / viscosity.value).ln() / half - 1.0).abs() < 0.015);
    assert_eq!(states.states[0].degrees_of_freedom, study(&LOW, &HIGH, 0.0).states[0].degrees_of_freedom);
}

#[test]
fn the_angle_moves_rate_and_viscosity_and_leaves_the_stress() {
    let mut states = study(&LOW, &HIGH, 0.0);
    states.states[0].rate_per_s = Some(Interval { value: 1.0, u: 0.0, low: Some(1.0), high: Some(1.0) });
    states.states[0].stress_pa = Some(Interval { value: 10.0, u: 0.0, low: Some(10.0), high: Some(10.0) });
    for reversal in &mut states.reversals {
        reversal.graded.read.sensitivity_coefficients.clear();
        let term = "geometries.cone.angle".to_owned();
        reversal.graded.read.sensitivity_coefficients.push(SensitivityCoefficient {
            term,
            minus: (-0.005, 0.0),
            plus: (0.005, 0.0),
        });
    }
    let (joined, _) = join(&states);
    let (rate, stress) = (joined.states[0].rate_per_s.unwrap(), joined.states[0].stress_pa.unwrap());
    // Standard deviation of 20,000 draws three times; 2α/sin 2α differs from 1 by 3·10⁻⁴ at 0.02 rad.
    assert!((rate.u / 0.005 - 1.0).abs() < 0.016, "{rate:?}");
    assert!((rate.high.unwrap().ln() / (1.959_964 * 0.005) - 1.0).abs() < 0.016);
    assert!(stress.u < 3e-4 * 0.005 * 10.0, "{stress:?}");
}

#[test]
fn parts_of_a_budget_add_up_to_the_standard_uncertainty() {
    let (states, budget) = join(&study(&LOW, &HIGH, 0.01));
    let mut sums: BTreeMap<(HeadlineQuantity, Option<String>), (f64, f64)> = BTreeMap::new();
    for row in &budget.rows {
        let sum = sums.entry((row.quantity, row.set_point.clone())).or_default();
        (sum.0, sum.1) = (sum.0 + row.share, sum.1 + row.u * row.u);
    }
    assert_eq!(sums.len(), 3 * 2 + 1);
    assert!(sums.values().all(|(share, _)| (share - 1.0).abs() < 1e-12));
    let state = &states.states[0];
    let all = [
        (ViscosityPaS, state.viscosity_pa_s),
        (RelativeViscosity, state.relative_viscosity),
        (ContactShare, state.contact_share),
    ];
    for (quantity, interval) in all {
        let squares = sums[&(quantity, Some("1 1/s".to_owned()))].1;
        // Draws of different terms are uncorrelated to 1/√20000, which is 0.7 % of their product.
        assert!((squares.sqrt() / interval.unwrap().u - 1.0).abs() < 0.01, "{quantity:?}");
    }
    let rise = states.thickening[0].contact_share_of_rise.unwrap();
    let squares = sums[&(ContactShareOfRise, None)].1;
    assert!((squares.sqrt() / rise.u - 1.0).abs() < 0.01);
}

#[test]
fn a_verdict_that_hangs_on_the_instrument_is_taken_back() {
    // Share of the rise 0.55, sharply known from the loadings alone.
    let low = [(10.0, 0.4), (10.0, 0.4), (10.0, 0.4001)];
    let high = [(20.0, 0.475), (20.0, 0.475), (20.0, 0.4751)];
    let before = study(&low, &high, 0.05);
    assert_eq!(before.thickening[0].verdict(), Verdict::ContactsDominate);
    let (after, _) = join(&before);
    assert_eq!(after.thickening[0].verdict(), Verdict::NotDecided);
    assert_eq!(
        after.thickening[0].contact_share_of_rise.unwrap().value,
        before.thickening[0].contact_share_of_rise.unwrap().value
    );
}

#[test]
fn one_loading_still_claims_no_interval() {
    let (states, budget) = join(&study(&LOW[..1], &HIGH[..1], 0.01));
    assert_eq!(states.states[0].contact_share.map(|x| (x.low, x.high)), Some((None, None)));
    assert_eq!(states.thickening[0].verdict(), Verdict::NotDecided);
    assert!(part(&budget, ContactShare, Some("1 1/s"), &UncertaintySource::ScatterWithinLoading).u > 0.0);
}

#[test]
fn another_term_does_not_change_the_draws_of_the_first() {
    let (_, plain) = join(&study(&LOW, &HIGH, 0.01));
    let mut more = study(&LOW, &HIGH, 0.01);
    for reversal in &mut more.reversals {
        let term = "geometries.cone.radius".to_owned();
        reversal
            .graded
            .read
            .sensitivity_coefficients
            .insert(0, SensitivityCoefficient { term, minus: (0.01, 0.0), plus: (-0.01, 0.0) });
    }
    let (_, with) = join(&more);
    for quantity in [RelativeViscosity, ViscosityPaS] {
        let of = |b: &Budget| source(b, quantity, Some("9 1/s"), CALIBRATION).u;
        assert_eq!(of(&plain), of(&with));
    }
    assert_eq!(join(&more), join(&more));
}

#[test]
fn left_out_means_the_states_as_they_were_and_said() {
    let states = study(&LOW, &HIGH, 0.01);
    let skip = Params { skip: true, ..Params::default() };
    let Joined { states: same, budget, .. } = joined(&states, &[], &[sample("S")], &geometries(), 7, &skip);
    assert_eq!(same, states);
    assert!(budget.skipped && budget.rows.is_empty() && budget.remarks == [Remark::TermsLeftOut]);
}

#[test]
fn correlated_sets_as_in_annex_h2_of_the_gum() {
    // JCGM 100:2008, H.2, approach 2: evaluate every set of readings, then take means and their covariances, as
    // loadings are treated here. Data and figures from memory of the annex, confirmed by two public transcriptions.
    let reference: serde_json::Value =
        serde_json::from_str(include_str!("reference/gum_h2_simultaneous_RXZ.json")).unwrap();
    let column =
        |value: &serde_json::Value| value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect::<Vec<f64>>();
    let data = |key: &str| column(&reference["data"][key]);
    let (v, i, phi) = (data("V_V"), data("I_A"), data("phi_rad"));
    let of = |f: fn(f64, f64) -> f64| (0..5).map(|k| f(v[k] / i[k], phi[k])).collect::<Vec<f64>>();
    let sets = [of(|z, p| z * p.cos()), of(|z, p| z * p.sin()), of(|z, _| z)];
    let expected = &reference["recomputed_approach2_per_set"];
    let u = |k: usize| covariance_of_means(&sets[k], &sets[k]).sqrt();
    for (k, (value, error)) in column(&expected["RXZ"]).iter().zip(column(&expected["u_RXZ"])).enumerate() {
        // Eight and six digits are given.
        assert!((mean(&sets[k]) - value).abs() < 6e-6);
        assert!((u(k) - error).abs() < 6e-7, "{k}: {}", u(k));
    }
    for ((a, b), r) in [(0, 1), (0, 2), (1, 2)].into_iter().zip(column(&expected["r_RX_RZ_XZ"])) {
        assert!((covariance_of_means(&sets[a], &sets[b]) / (u(a) * u(b)) - r).abs() < 1e-6);
    }
}

#[test]
fn another_sample_leaves_the_results_of_the_first_alone() {
    let alone = study(&LOW, &HIGH, 0.01);
    let mut both = alone.clone();
    let mut more = study(&LOW, &HIGH, 0.03);
    for state in &mut more.states {
        state.sample = "T".to_owned();
    }
    for reversal in &mut more.reversals {
        reversal.identity.sample = "T".to_owned();
        reversal.reversal.insert(0, 'T');
        let term = "geometries.cone.radius".to_owned();
        reversal.graded.read.sensitivity_coefficients.push(SensitivityCoefficient {
            term,
            minus: (0.3, 0.0),
            plus: (-0.3, 0.0),
        });
    }
    for mean in more.states.iter_mut().flat_map(|s| &mut s.loading_means) {
        mean.viscosity_from.iter_mut().chain(&mut mean.share_from).for_each(|id| id.insert(0, 'T'));
    }
    both.states.extend(more.states);
    both.reversals.extend(more.reversals);
    let (alone, both) = (join(&alone).0, join(&both).0);
    assert_eq!(alone.states[..], both.states[..2]);
    assert_eq!(alone.thickening, both.thickening);
}

#[test]
fn enough_is_drawn_for_the_digits_that_are_printed() {
    // Two seeds: the printed digits of every end may differ by rounding, one unit of the last place, and no more.
    let states = study(&LOW, &HIGH, 0.01);
    let with = |seed: u64| joined(&states, &[], &[sample("S")], &geometries(), seed, &Params::default()).states;
    let (a, b) = (with(7), with(8));
    for (a, b) in a.states.iter().zip(&b.states) {
        for (a, b) in [(a.contact_share, b.contact_share), (a.viscosity_pa_s, b.viscosity_pa_s)] {
            let (a, b) = (a.unwrap(), b.unwrap());
            let unit = 10f64.powf(a.u.log10().floor() - 1.0);
            assert!((a.high.unwrap() - b.high.unwrap()).abs() <= unit, "{a:?} {b:?}");
            assert!((a.low.unwrap() - b.low.unwrap()).abs() <= unit, "{a:?} {b:?}");
        }
    }
}

/// The study with every contact share of the thick state lower by `by`: the share of the rise falls by 2·`by`.
fn moved(states: &States, choice: Choice, by: f64) -> Alternative {
    let mut other = states.clone();
    for mean in &mut other.states[1].loading_means {
        mean.z = mean.z.map(|z| -(1.0 - (1.0 - (-z).exp() - by)).ln());
    }
    let mut row = states.thickening[0].clone();
    row.settle(rise_between(&other.states[0], &other.states[1], Default::default()).as_ref());
    Alternative { choice, states: other.states, thickening: vec![row] }
}

#[test]
fn a_verdict_that_hangs_on_a_choice_is_not_given() {
    let states = study(&LOW, &HIGH, 0.0);
    let with = |alternatives: &[_]| joined(&states, alternatives, &[sample("S")], &geometries(), 7, &Params::default());
    // Share of the rise 0.92 as in force; 0.25 less contact share of the thick state takes 0.5 away.
    let window = Choice::Setting(OtherSetting::WindowBefore { strain: 4.0 });
    let twice = Choice::Setting(OtherSetting::FirstUsableStrain { factor: 2.0 });
    let small = moved(&states, window.clone(), 0.01);
    let stands = with(std::slice::from_ref(&small));
    assert_eq!(stands.states.thickening[0].verdict(), Verdict::ContactsDominate);
    let hangs = with(&[small, moved(&states, twice.clone(), 0.25)]);
    let row = &hangs.states.thickening[0];
    assert_eq!(row.verdict(), Verdict::NotDecided);
    let Reason::ChoiceDecides { above_half: true, against } = &row.reason else { panic!("{:?}", row.reason) };
    assert_eq!(against.iter().map(|a| a.choice.clone()).collect::<Vec<_>>(), std::slice::from_ref(&twice));
    assert_eq!(row.contact_share_of_rise, stands.states.thickening[0].contact_share_of_rise);
    let rises: Vec<_> = hangs.sensitivity.iter().filter(|r| r.quantity == ContactShareOfRise).collect();
    assert_eq!(rises.iter().map(|r| r.choice.clone()).collect::<Vec<_>>(), [None, Some(window), Some(twice)]);
    let values: Vec<f64> = rises.iter().map(|r| r.interval.unwrap().value).collect();
    assert!(values[2] < values[1] && values[1] < values[0], "{values:?}");
}

#[test]
fn another_quantity_of_the_same_name_is_shown_and_takes_no_verdict_away() {
    let states = study(&LOW, &HIGH, 0.0);
    let minimum = moved(&states, Choice::Minimum, 0.25);
    let found = joined(&states, &[minimum], &[sample("S")], &geometries(), 7, &Params::default());
    assert_eq!(found.states.thickening[0].verdict(), Verdict::ContactsDominate);
    let row = found.sensitivity.iter().find(|r| r.choice == Some(Choice::Minimum) && r.set_point.is_none()).unwrap();
    assert_eq!((row.decides(), row.verdict), (false, Some(Verdict::HydrodynamicsDominate)));
}

#[test]
fn another_file_leaves_the_draws_of_the_others_alone() {
    // A third loading that was measured at the low end only. What the terms add at the high end stays to the last bit.
    let two = study(&LOW[..2], &HIGH[..2], 0.01);
    let mut three = study(&LOW, &HIGH[..2], 0.01);
    three.thickening = two.thickening.clone();
    let (two, three) = (join(&two), join(&three));
    assert_eq!(two.0.states[1], three.0.states[1]);
    let of =
        |b: &Budget| b.rows.iter().filter(|r| r.set_point.as_deref() == Some("9 1/s")).cloned().collect::<Vec<_>>();
    assert_eq!(of(&two.1), of(&three.1));
    assert_ne!(two.0.states[0], three.0.states[0]);
}

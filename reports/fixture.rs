//! Results of an invented study for the tests of this crate: two samples with hostile names, four set-points, three
//! loadings, a control, some reversals not resolved. Made by formulas, no random numbers.

use stages::clean::result::{Account, Check, Reason as Exclusion, ValidityCheck};
use stages::fit::result::{
    Border, BorderKind, FitRow, Fits, FlowCurve, FlowDiagram, FlowPoint, FlowState, LawCurve, LawPoint, Regime,
    Remark as FitRemark, Residual, Scope, Selection, StateRemark,
};
use stages::ingest::remark::Remark as ExportRemark;
use stages::numerics::float;
use stages::physics::materials::{Liquid, Sample};
use stages::physics::quantity::Quantity;
use stages::reversal::remark::Remark as ReversalRemark;
use stages::reversal::result::*;
use stages::states::result::*;
use stages::uncertainty::result::{Budget, BudgetRow, HeadlineQuantity, SensitivityRow, UncertaintySource};
use std::collections::BTreeMap;

/// A name made of what could be taken for markup.
pub(crate) const HOSTILE: &str = "#import \"x\" $a$ *b* @c <d> é Ω";
/// A second sample, whose name differs from a path only by hope.
pub(crate) const LONG: &str = "sample/with_a-very.long\\name#eval(\"1+1\")/* [no] end */ //comment ~ `raw` =head \
    日本😀👨‍👩‍👧 and so on, because a name may be as long as three hundred characters and more, without any blank in \
    it_so_that_it_cannot_be_broken_where_one_would_like_to_break_it_which_every_cell_of_every_table_must_bear_all_the_\
    same_0123456789";
/// The control.
pub(crate) const CONTROL: &str = "oil";

const SET_POINTS: [f64; 4] = [1.0, 10.0, 100.0, 1000.0];

fn viscosity(sample: usize, stress: f64) -> f64 {
    let thick = float::exp(-30.0 / stress);
    (1.0 + sample as f64) * (0.8 + 6.0 * thick)
}

fn share(stress: f64) -> f64 {
    0.2 + 0.65 * float::exp(-30.0 / stress)
}

fn wave(i: usize) -> f64 {
    float::sin(2.3 * i as f64)
}

fn at(value: f64, relative: f64) -> Interval {
    let u = value.abs() * relative;
    Interval { value, u, low: Some(value - 3.0 * u), high: Some(value + 3.0 * u) }
}

fn identity(sample: &str, loading: usize) -> Identity {
    let control = sample == CONTROL;
    Identity {
        run: format!("raw/{}/L{loading}.txt", if control { "control" } else { &sample[..6] }),
        blake3: "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262".into(),
        sample: sample.into(),
        control,
        volume_fraction: (!control).then_some(0.5 + 0.02 * sample.len() as f64 / 80.0),
        u_volume_fraction: (!control).then_some(0.004),
        geometry: "cone40".into(),
        instrument: "bench".into(),
        loading: loading.to_string(),
        repeat: None,
        started: Some(format!("2026-03-0{loading}T09:00:00")),
        rows: 12_345,
        preamble: BTreeMap::new(),
    }
}

fn ratio(strain: f64, share: f64) -> f64 {
    (1.0 - share) * (1.0 - 0.2 * strain / 0.3 * float::exp(1.0 - strain / 0.3))
        + share * (1.0 - float::exp(-strain / 0.8))
}

fn after(sample: usize, stress: f64, share: f64, first: f64) -> After {
    let strain = |i: usize| first * float::pow(5.0 / first, i as f64 / 40.0);
    let bins = (0..=40).map(|i| (strain(i), ratio(strain(i), share) * (1.0 + 0.01 * wave(i)), 0.012)).collect();
    let curve = (0..=200).map(|i| 0.001 * float::pow(6000.0, f64::from(i) / 200.0));
    let before = viscosity(sample, stress);
    After {
        contact_share: Estimate { value: share, u: 0.012 },
        u_zero: 0.002,
        viscosity_pa_s: Estimate { value: before * (1.0 - share), u: before * 0.012 },
        forms: vec![],
        squares_per_bin: 1.0,
        early_bins: 9,
        plateau: Some((before * (1.0 - share), share)),
        minimum_pa_s: before * ratio(0.2, share),
        strain_at_minimum: 0.2,
        recovery_strain: Some(0.9),
        recovery_strain_90: Some(2.1),
        contact_recovery_strain: Some(0.8),
        bound: Some(share - 0.3).filter(|b| *b > 0.0),
        curve: curve.map(|g| (g, ratio(g, share))).collect(),
        bins,
    }
}

fn read(number: u32, sample: usize, stress: f64, share: f64, first: f64) -> ReversalRead {
    let before = viscosity(sample, stress);
    let estimate = |value: f64| Estimate { value, u: 0.01 * value };
    ReversalRead {
        number,
        row: 40 * number,
        step: i64::from(2 * number),
        time_s: 12.5 * f64::from(number),
        sense_before: 1,
        controlled: Controlled::Stress,
        controlled_found: true,
        set_point_in_export: None,
        before: Some(Before {
            stress_pa: estimate(stress),
            rate_per_s: estimate(stress / before),
            viscosity_pa_s: estimate(before),
            window_strain: 2.0,
            readings: 200,
            record_strain: 8.0,
            drift: Estimate { value: 0.001, u: 0.002 },
            recovery: None,
            steady: true,
            steady_not_shown: false,
            floors: Some(100.0),
            torque_n_m: 1e-4,
            normal_stress_pa: None,
        }),
        noise: None,
        dead: DeadStrain { speed: first, inertia: 0.0, momentum: 0.0, sampling: 0.001, control: 0.0 },
        strain_after: 5.0,
        speed_ratio: Some(1.0),
        torque_after_n_m: Some(5e-5),
        after: (number != 4 || sample != 0).then(|| after(sample, stress, share, first)),
        later: Vec::new(),
        normal_stress_after_pa: None,
        sensitivity_coefficients: vec![],
        sensitivity: vec![],
        torque_residual: vec![],
        set_aside: None,
        remarks: vec![],
    }
}

fn graded(read: ReversalRead) -> Graded {
    let first = read.dead.first_usable();
    let value = read.after.as_ref().map(|a| a.contact_share);
    let resolved = first <= 0.03 && value.is_some();
    let grade = match (resolved, value) {
        (true, _) => Grade::A,
        (false, Some(_)) => Grade::C,
        (false, None) => Grade::F,
    };
    Graded {
        contact_share: value,
        resolved,
        contact_share_low: if resolved { value.map(|v| v.value - 0.024) } else { Some(0.4) },
        contact_share_high: value.map(|v| v.value + 0.024),
        grade,
        remarks: if resolved { vec![] } else { vec![ReversalRemark::LateFirstStrain { strain: first, most: 0.03 }] },
        read,
    }
}

/// Graded runs: three loadings of two samples, and a control.
pub(crate) fn runs() -> Vec<GradedRun> {
    let mut out = Vec::new();
    for (s, sample) in [HOSTILE, LONG].into_iter().enumerate() {
        for loading in 1..=3 {
            let reversal = |(i, stress): (usize, &f64)| {
                let first = if *stress > 500.0 { 0.08 } else { 0.004 };
                graded(read(i as u32 + 1, s, *stress, share(*stress) + 0.01 * wave(i + 7 * loading), first))
            };
            out.push(GradedRun {
                identity: identity(sample, loading),
                reversals: SET_POINTS.iter().enumerate().map(reversal).collect(),
                excluded: BTreeMap::from([(Exclusion::Spike, 3), (Exclusion::InstrumentInertia, 120)]),
                account: account(identity(sample, loading).rows),
                validity: validity(loading),
                ingest_remarks: if loading == 2 { vec![ExportRemark::StepsCarried { rows: 4 }] } else { vec![] },
                clean_remarks: vec![],
                remarks: vec![],
            });
        }
    }
    out.push(control_run());
    out
}

fn control_run() -> GradedRun {
    let reversal = |i: u32| {
        let mut read = read(i, 0, 10.0 * f64::from(i), 0.0, 0.004);
        let time = |k: usize| 0.01 * float::pow(500.0, k as f64 / 60.0);
        let torque = |k: usize| 4e-6 * float::exp(-time(k) / 0.05) + 2e-8 * wave(k + i as usize);
        read.torque_residual = (0..60).map(|k| (time(k), torque(k), 3e-8)).collect();
        if let Some(after) = &mut read.after {
            after.bins.iter_mut().for_each(|b| b.1 = 1.0 + 0.01 * wave((b.0 * 1000.0) as usize));
        }
        graded(read)
    };
    GradedRun {
        identity: identity(CONTROL, 1),
        reversals: (1..=3).map(reversal).collect(),
        excluded: BTreeMap::new(),
        account: Account { rows: identity(CONTROL, 1).rows, kept: identity(CONTROL, 1).rows, ..Account::default() },
        validity: vec![],
        ingest_remarks: vec![],
        clean_remarks: vec![],
        remarks: vec![],
    }
}

/// 119 readings of the drive, three spikes of which one lies in its ramp, two rows that could not be read.
fn account(rows: u64) -> Account {
    let excluded = [(Exclusion::InstrumentInertia, 120), (Exclusion::Spike, 2)].into();
    Account { rows, kept: rows - 124, excluded, refused: [("missing time".to_owned(), 2)].into() }
}

fn validity(loading: usize) -> Vec<ValidityCheck> {
    let held = |check, step, value, bound: Option<f64>| {
        let holds = bound.map(|b| value <= b);
        ValidityCheck { check, step, value, bound, holds }
    };
    vec![
        held(Check::Reynolds { excess: 1e-9 }, Some(8), 1e-4 * loading as f64, Some(4.0)),
        held(Check::MomentumTime, Some(2), 0.002, None),
        held(Check::Settled { rise: false, seconds: 900.0 }, None, 0.02 * loading as f64, Some(0.05)),
    ]
}

/// What the control says.
pub(crate) fn control() -> Control {
    Control {
        runs: vec![identity(CONTROL, 1).run],
        reversals: 3,
        contact_share: Some(Estimate { value: 0.002, u: 0.004 }),
        dead_time_s: Some(0.12),
        torque_offset_n_m: Some(Estimate { value: 1e-8, u: 1e-8 }),
        false_torque: vec![],
        failed: false,
        remarks: vec![],
    }
}

fn state(s: usize, sample: &str, i: usize) -> State {
    let stress = SET_POINTS[i];
    let (eta, x) = (viscosity(s, stress), share(stress));
    let resolved = stress < 500.0;
    let value = |v: f64, u: f64| resolved.then(|| at(v, u));
    let mean = |loading: usize| LoadingMean {
        loading: loading.to_string(),
        ln_viscosity: float::ln(eta),
        z: resolved.then(|| -float::ln(1.0 - x)),
        u_z: resolved.then_some(0.02),
        resolved: u32::from(resolved),
        found: 1,
        viscosity_from: vec![],
        share_from: vec![],
    };
    let volume_fraction = identity(sample, 1).volume_fraction.map(|value| Quantity { value, u: 0.004 });
    let liquid = Liquid { name: "carrier".into(), viscosity: None, density: None, composition: None };
    let sample = Sample { name: sample.into(), liquid, particles: None, volume_fraction, control: false };
    State {
        set_point_told: true,
        stress_pa: Some(at(stress, 0.004)),
        rate_per_s: Some(at(stress / eta, 0.02)),
        viscosity_pa_s: Some(at(eta, 0.02)),
        hydrodynamic_viscosity_pa_s: value(eta * (1.0 - x), 0.03),
        contact_viscosity_pa_s: value(eta * x, 0.04),
        relative_viscosity: Some(at(eta / 0.045, 0.03)),
        contact_share: value(x, 0.02),
        contact_share_bound: (!resolved && s == 0).then_some(0.42),
        degrees_of_freedom: resolved.then_some(2.0),
        loadings: if resolved { 3 } else { 0 },
        reversals: if resolved { 3 } else { 0 },
        reversals_found: 3,
        remarks: if resolved { vec![] } else { vec![Remark::NotResolved { resolved: 1, usable: 3, loadings: 1 }] },
        loading_means: (1..=3).map(mean).collect(),
        u_z_shared: 0.01,
        u_z_within: 0.02,
        u_ln_viscosity_within: 0.01,
        ..State::unread(&sample, format!("{stress} Pa"), Controlled::Stress)
    }
}

/// A verdict that another first usable strain takes away.
fn turned() -> Reason {
    let choice = Choice::Setting(OtherSetting::FirstUsableStrain { factor: 2.0 });
    Reason::ChoiceDecides { above_half: true, against: vec![OtherVerdict { choice, verdict: Verdict::NotDecided }] }
}

/// Reversals, states and shares of the rise.
pub(crate) fn states() -> States {
    let named = |(i, (identity, graded)): (usize, (Identity, Graded))| StudyReversal {
        reversal: format!("R{:04}", i + 1),
        set_point: (!identity.control).then(|| format!("{} Pa", SET_POINTS[(graded.read.number - 1) as usize])),
        identity,
        graded,
    };
    let all = runs().into_iter().flat_map(|r| r.reversals.into_iter().map(move |j| (r.identity.clone(), j)));
    let thickening = |(s, sample): (usize, &str)| Thickening {
        sample: sample.into(),
        volume_fraction: identity(sample, 1).volume_fraction,
        set_point_low: Some("1 Pa".into()),
        set_point_high: Some("100 Pa".into()),
        stress_low_pa: Some(1.0),
        stress_high_pa: Some(100.0),
        states_without_value: 1,
        viscosity_rise_pa_s: Some(viscosity(s, 100.0) - viscosity(s, 1.0)),
        contact_share_of_rise: Some(at(0.78, 0.03)),
        contact_share_of_rise_bound: None,
        probability_of_scatter: None,
        degrees_of_freedom: Some(2.0),
        loadings: 3,
        reason: if s == 0 { Reason::AboveHalf } else { turned() },
        loadings_of_sample: 3,
        smallest_rise: 0.1,
    };
    let samples = [HOSTILE, LONG];
    States {
        reversals: all.enumerate().map(named).collect(),
        states: samples.iter().enumerate().flat_map(|(s, n)| (0..4).map(move |i| state(s, n, i))).collect(),
        thickening: samples.into_iter().enumerate().map(thickening).collect(),
    }
}

fn all_samples() -> Scope {
    Scope { states: Selection::All, group: None }
}

fn of_hostile() -> Scope {
    Scope { states: Selection::All, group: Some(HOSTILE.into()) }
}

fn residual(sample: &str, i: u8) -> Residual {
    let at = f64::from(i);
    Residual {
        model: "wyart-cates".into(),
        scope: all_samples(),
        sample: sample.into(),
        set_point: format!("{i} Pa"),
        volume_fraction: 0.5,
        stress_pa: 1.0 + 40.0 * at,
        ln_residual: 0.01 * at,
        standardised: Some(at - 1.5),
        leverage: Some(0.2 * at),
        weight: 1.0,
    }
}

fn flow_state(sample: &str, i: u8) -> FlowState {
    FlowState {
        scope: of_hostile(),
        sample: sample.into(),
        set_point: format!("{i} Pa"),
        controlled: Controlled::Rate,
        volume_fraction: 0.56,
        stress_pa: 1.0 + 40.0 * f64::from(i),
        inverse_slope: Some(0.3),
        u_inverse_slope: Some(0.1),
        regime: Regime::Continuous,
        remark: (i == 3).then_some(StateRemark::MayBeUnstable),
    }
}

/// Fits with curves.
pub(crate) fn fits() -> Fits {
    let row = |parameter: &str, value: Option<f64>, unit: &str| FitRow {
        model: "wyart-cates".into(),
        scope: all_samples(),
        parameter: parameter.into(),
        unit: unit.into(),
        value,
        u_value: value.map(|v| 0.02 * v),
        value_low: value.map(|v| 0.95 * v),
        value_high: value.map(|v| 1.05 * v),
        rss: Some(5.4),
        degrees_of_freedom: Some(4.0),
        aicc: Some(-12.3),
        bic: Some(-11.0),
        remarks: if value.is_none() { vec![FitRemark::Replaceable] } else { vec![] },
    };
    let flow = |(s, sample): (usize, &str)| FlowCurve {
        model: "wyart-cates".into(),
        sample: sample.into(),
        volume_fraction: 0.5,
        points: (0..=60)
            .map(|i| {
                let stress = 0.5 * float::pow(4000.0, f64::from(i) / 60.0);
                let eta = viscosity(s, stress) / 0.045;
                let (low, high) = (eta * 0.9, eta * 1.1);
                FlowPoint { stress_pa: stress, relative_viscosity: eta, rate_per_s: None, low, high }
            })
            .collect(),
    };
    let law = |states: Selection, at: f64| LawCurve {
        model: "maron-pierce".into(),
        scope: Scope { states, group: None },
        points: (0..=50)
            .map(|i| {
                let phi = 0.45 + 0.0024 * f64::from(i);
                let eta = 1.0 / ((1.0 - phi / at) * (1.0 - phi / at));
                LawPoint { volume_fraction: phi, relative_viscosity: eta, low: 0.8 * eta, high: 1.2 * eta }
            })
            .collect(),
    };
    Fits {
        rows: vec![row("phi_0", Some(0.64), ""), row("sigma_star", Some(21.7), "Pa"), row("beta", None, "")],
        flow_curves: [HOSTILE, LONG].into_iter().enumerate().map(flow).collect(),
        law_curves: vec![law(Selection::LowStress, 0.65), law(Selection::HighStress, 0.572)],
        residuals: (0..4).flat_map(|i| [HOSTILE, LONG].map(|sample| residual(sample, i))).collect(),
        flow_states: (0..4).flat_map(|i| [HOSTILE, LONG].map(|sample| flow_state(sample, i))).collect(),
        diagrams: vec![FlowDiagram {
            scope: of_hostile(),
            borders: vec![Border { kind: BorderKind::Jamming, points: vec![(0.57, 900.0), (0.6, 90.0), (0.64, 9.0)] }],
            onset_stress_pa: 21.7,
            frictionless_jamming: 0.64,
            frictional_jamming: 0.57,
        }],
        ..Fits::default()
    }
}

/// A budget.
pub(crate) fn budget() -> Budget {
    let row = |source: UncertaintySource, u: f64, share: f64| BudgetRow {
        quantity: HeadlineQuantity::ContactShare,
        sample: HOSTILE.into(),
        set_point: Some("100 Pa".into()),
        source,
        u,
        share,
    };
    let radius = UncertaintySource::Term { place: "geometries.cone40.radius".into() };
    Budget {
        rows: vec![row(UncertaintySource::ScatterBetweenLoadings, 0.0123, 0.9), row(radius, 0.0041, 0.1)],
        skipped: false,
        remarks: vec![],
    }
}

/// Choices for both samples.
pub(crate) fn sensitivity() -> Vec<SensitivityRow> {
    use HeadlineQuantity::{ContactShare, ContactShareOfRise};
    let twice = Choice::Setting(OtherSetting::FirstUsableStrain { factor: 2.0 });
    let choices = [None, Some(twice), Some(Choice::Setting(OtherSetting::WithoutRelease)), Some(Choice::Minimum)];
    let row = |sample: &str, quantity: HeadlineQuantity, k: usize| SensitivityRow {
        quantity,
        sample: sample.into(),
        set_point: (quantity == ContactShare).then(|| "100 Pa".to_owned()),
        choice: choices[k].clone(),
        interval: (k != 2).then(|| at(0.8 - 0.02 * k as f64, 0.03)),
        verdict: (quantity != ContactShare).then_some(Verdict::ContactsDominate),
    };
    let of = |sample| -> Vec<SensitivityRow> {
        let rows: [Vec<SensitivityRow>; 2] =
            [ContactShare, ContactShareOfRise].map(|q| (0..choices.len()).map(|k| row(sample, q, k)).collect());
        rows.concat()
    };
    [HOSTILE, LONG].into_iter().flat_map(of).collect()
}

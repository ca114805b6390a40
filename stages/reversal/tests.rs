//! Tests of the whole stage: made-up runs through reading and judging, the published record, particle transients.
//!
//! The made-up transients are not built from the terms that are fitted (see `synthetic.rs`), so their bias is not a
//! best case. Bands were set from 40 reversals each, which know a bias to 0.002 and a coverage to 5 %.

use super::bins::{Reading, bins};
use super::control::control;
use super::grading::{Around, grade_reversal};
use super::headline::{Problem, averaged, fit};
use super::noise::{Window, pooled};
use super::params::{Fit, Params, Sensitivity};
use super::read::{Outcome, Setup, read};
use super::remark::Remark;
use super::result::{Controlled, Estimate, Grade, Graded, Noise, ReversalRead};
use super::synthetic::{Draws, Protocol, Transient, bench, cone, notes, sample};
use super::{control_work, grade_work, published, read_work};
use crate::clean::result::{CleanNotes, Points, Reason};
use crate::ingest::result::Head;
use crate::settings::Rule;
use crate::table::Table;
use pipeline::stage::{Context, Produced, Settings, Work};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

fn outcome(points: &Points, newtonian: bool, params: &Params, notes: &CleanNotes) -> Outcome {
    let (geometry, instrument, sample, settings) = (cone(), bench(), sample(newtonian), params.reading());
    let setup = Setup {
        run: "raw/A/L1.txt",
        geometry: &geometry,
        instrument: &instrument,
        sample: &sample,
        notes,
        settings: &settings,
    };
    read(points.clone(), &setup)
}

/// Settings without the grid of choices, which most tests do not look at.
fn plain() -> Params {
    Params { sensitivity: Rule::Off, ..Params::default() }
}

pub(super) fn reads(points: &Points) -> Vec<ReversalRead> {
    outcome(points, false, &plain(), &notes()).read.reversals
}

pub(super) fn graded(points: &Points) -> Vec<Graded> {
    reads(points).into_iter().map(|r| grade_reversal(r, &Around::default(), &plain().grading_settings())).collect()
}

pub(super) fn share(read: &ReversalRead) -> Estimate {
    read.after.as_ref().unwrap().contact_share
}

const HALF: Transient = Transient { share: 0.5, dip: 0.15, scale: 0.4, late: false, release: 0.0 };

/// Bias of resolved contact shares, share of intervals that hold, and number not resolved, over 40 reversals.
fn trial(truth: f64, transient: impl Fn(f64) -> f64) -> (f64, f64, usize) {
    let runs = (0..20).map(|seed| {
        let sense = if seed % 2 == 0 { 1.0 } else { -1.0 };
        Protocol { sense, ..Protocol::default() }.points(&mut Draws::new(seed), &transient)
    });
    let all: Vec<Graded> = runs.flat_map(|points| graded(&points)).collect();
    assert_eq!(all.len(), 40);
    let good: Vec<&Graded> = all.iter().filter(|j| j.resolved).collect();
    let n = good.len() as f64;
    let bias = good.iter().map(|j| j.contact_share.unwrap().value - truth).sum::<f64>() / n;
    let holds = |j: &&&Graded| (j.contact_share_low.unwrap()..=j.contact_share_high.unwrap()).contains(&truth);
    (bias, good.iter().filter(holds).count() as f64 / n, all.len() - good.len())
}

#[test]
fn contact_shares_of_transients_that_nobody_fitted() {
    for dip in [0.0, 0.15, 0.4] {
        for late in [false, true] {
            let (bias, holds, lost) = trial(0.5, |g| Transient { dip, late, ..HALF }.at(g));
            // Measured: bias −0.002 to +0.003, coverage 0.95 to 1.00.
            assert!(bias.abs() < 0.015 && holds >= 0.85 && lost == 0, "dip {dip} late {late}: {bias} {holds} {lost}");
        }
    }
}

#[test]
fn an_elastic_release_of_either_sign_is_not_read_as_contacts() {
    for release in [0.15, -0.15] {
        let (bias, holds, lost) = trial(0.5, |g| Transient { release, ..HALF }.at(g));
        // Measured: bias +0.001 and 0.000, coverage 1.00.
        assert!(bias.abs() < 0.015 && holds >= 0.85 && lost == 0, "{release}: {bias} {holds} {lost}");
    }
}

#[test]
fn almost_everything_carried_by_contacts() {
    let (bias, holds, lost) = trial(0.95, |g| Transient { share: 0.95, late: true, ..HALF }.at(g));
    assert!(bias.abs() < 0.01 && holds >= 0.85 && lost == 0, "{bias} {holds} {lost}");
}

#[test]
fn a_liquid_that_dips_without_contacts_reads_zero_within_its_error() {
    // Dip of the fitted form; 0.2 deep at strain 0.18.
    let (bias, holds, lost) = trial(0.0, |g| 1.0 - 0.2 * ((g / 0.18) * (1.0 - g / 0.18).exp()).powf(1.5));
    assert!(bias.abs() < 0.02 && holds >= 0.85 && lost <= 4, "{bias} {holds} {lost}");
}

#[test]
fn nothing_at_all_reads_zero_but_for_the_known_bias() {
    let (bias, _, lost) = trial(0.0, |_| 1.0);
    // The dip is always in, so a flat trace reads a little low: −0.012 in the trials of the recipe.
    assert!((-0.015..0.003).contains(&bias) && lost == 0, "{bias} {lost}");
}

#[test]
fn a_newtonian_control_has_no_drop() {
    let all: Vec<ReversalRead> = (0..10)
        .flat_map(|seed| {
            let points = Protocol::default().points(&mut Draws::new(100 + seed), |_| 1.0);
            outcome(&points, true, &plain(), &notes()).read.reversals
        })
        .collect();
    let pulls: Vec<f64> = all.iter().map(share).map(|x| x.value / x.u).collect();
    let spread = (pulls.iter().map(|p| p * p).sum::<f64>() / pulls.len() as f64).sqrt();
    // 20 pulls know their spread to 16 %; three of these above 1. Below: the noise is pooled, u errs to the large side.
    assert!(spread < 1.5, "{pulls:?}");
    assert!(all.iter().all(|r| r.after.as_ref().unwrap().recovery_strain.is_none()));
}

#[test]
fn contact_share_does_not_care_about_calibration() {
    let points = Protocol::default().points(&mut Draws::new(5), |g| HALF.at(g));
    let mut louder = points.clone();
    for column in [&mut louder.stress_pa, &mut louder.torque_n_m, &mut louder.sample_torque_n_m] {
        column.iter_mut().for_each(|v| *v *= 1.05);
    }
    for (a, b) in reads(&points).iter().zip(&reads(&louder)) {
        // Rounding only: the minimiser stops at 10⁻⁷.
        assert!((share(a).value - share(b).value).abs() < 1e-5);
        let ratio = b.before.as_ref().unwrap().viscosity_pa_s.value / a.before.as_ref().unwrap().viscosity_pa_s.value;
        assert!((ratio - 1.05).abs() < 1e-9);
    }
}

#[test]
fn readings_late_after_the_turn_are_never_resolved() {
    // A slow drive: the ramp alone takes 0.06 to 0.6 in strain.
    for ramp in [0.5, 1.5, 5.0] {
        let protocol = Protocol { ramp, fine: (0.004, 1500), ..Protocol::default() };
        for j in graded(&protocol.points(&mut Draws::new(7), |g| HALF.at(g))) {
            assert!(j.read.dead.first_usable() > 0.05, "{:?}", j.read.dead);
            assert!(!j.resolved && j.contact_share.is_none() && j.contact_share_high.is_none());
            assert!(j.contact_share_low.is_none_or(|low| low < 0.5), "{:?}", j.contact_share_low);
            assert!(j.remarks.iter().any(|r| matches!(r, Remark::LateFirstStrain { .. })), "{:?}", j.remarks);
        }
    }
}

#[test]
fn a_deep_late_drop_gives_a_bound_below_the_truth() {
    let deep = Transient { share: 0.9, dip: 0.1, scale: 0.8, late: true, release: 0.0 };
    let protocol = Protocol { ramp: 0.5, fine: (0.004, 1500), ..Protocol::default() };
    for j in graded(&protocol.points(&mut Draws::new(8), |g| deep.at(g))) {
        let low = j.contact_share_low.unwrap();
        assert!(!j.resolved && low > 0.3 && low < 0.9, "{low}");
    }
}

#[test]
fn what_was_held_is_found_from_the_readings() {
    for stress_held in [false, true] {
        let protocol = Protocol { stress_held, ..Protocol::default() };
        for read in reads(&protocol.points(&mut Draws::new(9), |g| HALF.at(g))) {
            assert_eq!(read.controlled == Controlled::Stress, stress_held);
            assert!(read.controlled_found && read.set_point_in_export.is_none());
            assert_eq!(read.speed_ratio.is_none(), stress_held);
        }
    }
}

#[test]
fn stress_control_reads_the_same_share() {
    let protocol = Protocol { stress_held: true, ..Protocol::default() };
    let all: Vec<Graded> =
        (0..20).flat_map(|seed| graded(&protocol.points(&mut Draws::new(seed), |g| HALF.at(g)))).collect();
    let shares: Vec<f64> = all.iter().filter_map(|j| j.contact_share).map(|x| x.value).collect();
    let bias = shares.iter().sum::<f64>() / shares.len() as f64 - 0.5;
    // As under rate control; 40 reversals know a bias to 0.003. The speed doubles after the turn, so that readings are
    // half as dense and the drive takes more strain: some are not resolved.
    assert!(shares.len() >= 30 && bias.abs() < 0.015, "{} {bias}", shares.len());
}

#[test]
fn reversals_within_one_step_are_those_of_several() {
    let apart = Protocol { segments: vec![6.0; 4], ..Protocol::default() }.points(&mut Draws::new(12), |g| HALF.at(g));
    let mut together = apart.clone();
    together.step.fill(1);
    let (apart, together) = (reads(&apart), reads(&together));
    assert_eq!((apart.len(), together.len()), (3, 3));
    for (a, b) in apart.iter().zip(&together) {
        assert_eq!((a.row, a.time_s, a.sense_before), (b.row, b.time_s, b.sense_before));
        // Without steps the window may end some readings later, within the band of the speed.
        assert!((share(a).value - share(b).value).abs() < 0.3 * share(a).u, "{:?} {:?}", share(a), share(b));
    }
}

#[test]
fn a_set_point_of_the_export_decides_what_was_held() {
    let mut points = Protocol::default().points(&mut Draws::new(9), |g| HALF.at(g));
    points.set_stress_pa = vec![10.0; points.len()];
    let read = &reads(&points)[0];
    assert_eq!(
        (read.controlled, read.controlled_found, read.set_point_in_export),
        (Controlled::Stress, false, Some(10.0))
    );
}

#[test]
fn a_drift_before_is_found_and_steady_shear_is_not_called_drifting() {
    let grades = |drift: f64| {
        let runs = (0..20).flat_map(|seed| {
            let mut points = Protocol::default().points(&mut Draws::new(300 + seed), |g| HALF.at(g));
            let start = points.time_s[0];
            for (stress, time) in points.stress_pa.iter_mut().zip(&points.time_s) {
                // The window of strain 2 lasts 4 s.
                *stress *= (drift * (time - start) / 4.0).exp();
            }
            reads(&points)
        });
        runs.filter(|r| !r.before.as_ref().unwrap().steady).count()
    };
    // 40 reversals: 1.5 % false alarms were measured in trials, so 4 or more have a chance of 0.2 %.
    assert!(grades(0.0) <= 3);
    assert!(grades(0.1) >= 36);
}

#[test]
fn missing_doubled_and_aborted_reversals_are_told() {
    let none = outcome(
        &Protocol { segments: vec![6.0], ..Protocol::default() }.points(&mut Draws::new(1), |_| 1.0),
        false,
        &plain(),
        &notes(),
    );
    assert_eq!((none.read.reversals.len(), none.read.remarks.len()), (0, 1));
    let segments = vec![6.0, 0.2, 6.0, 6.0];
    let all = graded(&Protocol { segments, ..Protocol::default() }.points(&mut Draws::new(1), |g| HALF.at(g)));
    let grades: Vec<Grade> = all.iter().map(|j| j.grade).collect();
    assert_eq!(grades[..2], [Grade::F, Grade::F], "{:?}", all[0].remarks);
    assert!(all[0].remarks.iter().any(|r| matches!(r, Remark::Aborted { .. })), "{:?}", all[0].remarks);
    assert!(all[1].remarks.contains(&Remark::NoSteadyStretch), "{:?}", all[1].remarks);
    assert!(grades[2] <= Grade::B && all[2].resolved, "{:?}", all[2].remarks);
}

#[test]
fn a_step_set_aside_by_hand_is_not_usable_and_says_why() {
    let mut points = Protocol::default().points(&mut Draws::new(2), |g| HALF.at(g));
    for (flags, step) in points.flags.iter_mut().zip(&points.step) {
        if *step == 2 {
            flags.add(Reason::SetAside);
        }
    }
    let notes = CleanNotes { set_aside_steps: vec![(2, "bubble".to_owned())], ..notes() };
    let read = outcome(&points, false, &plain(), &notes).read.reversals.swap_remove(0);
    let j = grade_reversal(read, &Around::default(), &plain().grading_settings());
    assert_eq!((j.grade, j.resolved, j.contact_share), (Grade::F, false, None));
    assert!(j.remarks.contains(&Remark::SetAside { because: "bubble".into() }));
}

#[test]
fn responses_and_choices_cover_terms_and_grid() {
    let mut points = Protocol::default().points(&mut Draws::new(3), |g| HALF.at(g));
    // Speed still creeps up for a while: 2 % of the torque, gone over 20 ms.
    for i in 0..points.len() {
        let lapse = points.time_s[i] % 12.0;
        points.inertia_torque_n_m[i] = 0.02 * points.torque_n_m[i] * (-lapse / 0.02).exp();
    }
    let read = outcome(&points, false, &Params::default(), &notes()).read.reversals.swap_remove(0);
    let terms: Vec<&str> = read.sensitivity_coefficients.iter().map(|r| r.term.as_str()).collect();
    assert_eq!(
        terms,
        [
            "instruments.bench.torque_calibration",
            "geometries.cone.radius",
            "geometries.cone.angle",
            "instruments.bench.inertia"
        ]
    );
    // η ∝ R⁻³: 0.1 % of radius is 0.3 % of viscosity.
    assert!(
        (read.sensitivity_coefficients[1].plus.0 + 0.003).abs() < 1e-6
            && read.sensitivity_coefficients[1].plus.1 == 0.0
    );
    let inertia = &read.sensitivity_coefficients[3];
    assert!(inertia.plus.0 == 0.0 && inertia.plus.1.abs() > 1e-5, "{inertia:?}");
    assert!(inertia.plus.1 * inertia.minus.1 < 0.0, "{inertia:?}");
    assert_eq!(read.sensitivity.len(), 9);
    for choice in &read.sensitivity {
        let other = choice.contact_share.unwrap();
        assert!((other.value - share(&read).value).abs() < 3.0 * other.u.max(share(&read).u), "{choice:?}");
    }
}

#[test]
fn spikes_left_in_are_a_choice_and_other_exclusions_are_not() {
    let clean = Protocol::default().points(&mut Draws::new(3), |g| HALF.at(g));
    let none = Sensitivity {
        dead_strain: Vec::new(),
        window: Vec::new(),
        prior_width: Vec::new(),
        bin_width: Vec::new(),
        without_release: false,
        with_spikes: true,
    };
    let params = Params { sensitivity: Rule::On(none), ..Params::default() };
    let kept = |points: &Points| {
        let read = outcome(points, false, &params, &notes()).read.reversals.swap_remove(0);
        assert_eq!(read.sensitivity.len(), 1);
        let choice = read.sensitivity[0].contact_share.unwrap();
        (share(&read).value, choice.value)
    };
    let (plain, same) = kept(&clean);
    assert_eq!(plain, same);
    // Ten readings after the first reversal read half as much again.
    let with = |reason: Reason| {
        let mut points = clean.clone();
        let first = points.step.iter().position(|s| *s == 2).unwrap() + 20;
        for i in (first..).step_by(3).take(10) {
            points.stress_pa[i] *= 1.5;
            points.sample_torque_n_m[i] *= 1.5;
            points.flags[i].add(reason);
        }
        kept(&points)
    };
    let (out, left_in) = with(Reason::Spike);
    assert!((out - plain).abs() < 0.01 && left_in < out - 0.02, "{plain} {out} {left_in}");
    let (out, left_in) = with(Reason::EdgeFracture);
    assert_eq!(out, left_in);
}

#[test]
fn a_control_hands_on_dead_time_and_offset() {
    let protocol = Protocol { offset: 0.01, segments: vec![6.0; 5], noise: (0.001, 0.001, 0.1), ..Protocol::default() };
    let mut points = protocol.points(&mut Draws::new(4), |_| 1.0);
    // The drive adds 20 % of the torque, gone with a time constant of 20 ms: 1 % after 60 ms.
    let constant = cone().constants().stress_per_torque;
    let run = outcome(&points, true, &plain(), &notes()).read;
    for reversal in &run.reversals {
        for i in 0..points.len() {
            let lapse = points.time_s[i] - reversal.time_s;
            if (0.0..2.0).contains(&lapse) {
                let added = 0.2 * 10.0 * (-lapse / 0.02_f64).exp() * points.rate_per_s[i].signum();
                points.stress_pa[i] += added;
                points.sample_torque_n_m[i] += added / constant;
            }
        }
    }
    let found = control(&[outcome(&points, true, &plain(), &notes()).read], &Params::default().control);
    let steady = 10.0 / constant;
    let offset = found.torque_offset_n_m.unwrap();
    assert!((offset.value / steady - 0.01).abs() < 3.0 * offset.u / steady + 1e-4, "{offset:?}");
    let dead = found.dead_time_s.unwrap();
    assert!((0.04..0.2).contains(&dead), "{dead}");
    assert_eq!(found.reversals, 4);
    // It transfers as a time: at this rate as a strain, beyond what the run alone would have used.
    let sample = Protocol::default().points(&mut Draws::new(5), |g| HALF.at(g));
    let alone = graded(&sample).swap_remove(0);
    let around = Around { control: Some(&found), ..Around::default() };
    let with = grade_reversal(reads(&sample).swap_remove(0), &around, &plain().grading_settings());
    assert!(alone.resolved && !with.resolved);
    assert!((with.read.dead.control / (0.5 * dead) - 1.0).abs() < 0.02);
}

/// The published record: time, angle, speed, torque; inertia taken off by the smaller of the two differences beside
/// a reading, so that the end of the ramp is not smeared.
fn record() -> Points {
    let rows: Vec<Vec<f64>> = include_str!("reference/made-up-record.csv")
        .lines()
        .skip(1)
        .map(|l| l.split(',').map(|v| v.parse().unwrap()).collect())
        .collect();
    let n = rows.len();
    let tan = (std::f64::consts::PI / 180.0).tan();
    let stress_per_torque = 59_683.103_659_460_74;
    let column = |k: usize| rows.iter().map(|r| r[k]).collect::<Vec<f64>>();
    let (time, angle, speed, torque) = (column(0), column(1), column(2), column(3));
    let slope = |a: usize, b: usize| if a == b { f64::INFINITY } else { (speed[b] - speed[a]) / (time[b] - time[a]) };
    let smaller = |a: f64, b: f64| if a.abs() < b.abs() { a } else { b };
    let inertia: Vec<f64> =
        (0..n).map(|i| 1.2e-5 * smaller(slope(i.max(1) - 1, i), slope(i, (i + 1).min(n - 1)))).collect();
    let sample: Vec<f64> = torque.iter().zip(&inertia).map(|(m, i)| m - i).collect();
    let stress: Vec<f64> = sample.iter().map(|m| m * stress_per_torque).collect();
    let mut points = Points {
        row: (2..n as u32 + 2).collect(),
        step: time.iter().map(|t| (t / 12.0 - 1e-9).floor() as i64).collect(),
        strain: angle.iter().map(|a| a / tan).collect(),
        rate_per_s: speed.iter().map(|w| w / tan).collect(),
        viscosity_pa_s: vec![f64::NAN; n],
        normal_force_n: vec![f64::NAN; n],
        temperature_c: vec![f64::NAN; n],
        set_stress_pa: vec![f64::NAN; n],
        set_rate_per_s: vec![f64::NAN; n],
        flags: vec![Default::default(); n],
        time_s: time,
        torque_n_m: torque,
        speed_rad_per_s: speed,
        stress_pa: stress,
        sample_torque_n_m: sample,
        inertia_torque_n_m: inertia,
    };
    for i in 0..n {
        if points.inertia_torque_n_m[i].abs() > 0.05 * points.sample_torque_n_m[i].abs() {
            points.flags[i].add(Reason::InstrumentInertia);
        }
    }
    points
}

#[test]
fn the_published_record_gives_its_known_answers() {
    let all = reads(&record());
    assert_eq!(all.len(), 2);
    for (read, turn) in all.iter().zip([12.015, 24.015]) {
        assert!((read.time_s - turn).abs() < 5e-4, "{}", read.time_s);
        let (before, after) = (read.before.as_ref().unwrap(), read.after.as_ref().unwrap());
        // The torque offset is 0.08 % of the torque and stays in; noise is 0.4 % of a reading.
        assert!((before.viscosity_pa_s.value - 30.0).abs() < 0.1, "{:?}", before.viscosity_pa_s);
        // Speed is reached at strain 0.0375 after the turn.
        assert!((0.037..0.08).contains(&read.dead.first_usable()), "{:?}", read.dead);
        // Trials found +0.006 to +0.014 for this shape when read from 0.02–0.05, beside the noise of one trace.
        let error = (share(read).value - 0.56667).abs();
        assert!(error < 0.03 && error < 1.96 * share(read).u, "{:?}", share(read));
        assert!((after.minimum_pa_s - 11.80773).abs() < 0.25, "{}", after.minimum_pa_s);
        assert!((after.strain_at_minimum - 0.14657).abs() < 0.06, "{}", after.strain_at_minimum);
        // 63.2 % of the way back is reached at 1.90 (22e^{−Γ/1.6} = 0.368·18.192).
        assert!((after.recovery_strain.unwrap() - 1.90).abs() < 0.1, "{:?}", after.recovery_strain);
        assert!(!grade_reversal(read.clone(), &Around::default(), &plain().grading_settings()).resolved);
    }
}

/// A trace: strain and viscosity.
type Curve = Vec<(f64, f64)>;

/// Traces before and after each reversal of the particle simulations.
fn particles(text: &str) -> Vec<(Curve, Curve)> {
    let rows: Vec<Vec<f64>> =
        text.lines().skip(1).map(|l| l.split(',').map(|v| v.parse().unwrap()).collect()).collect();
    let each = rows.chunk_by(|a, b| a[..2] == b[..2]);
    let curve = |rows: &[Vec<f64>], after: bool| {
        rows.iter().filter(|r| if after { r[2] > 0.0 } else { r[2] < 0.0 }).map(|r| (r[2], r[3])).collect::<Curve>()
    };
    each.map(|rows| (curve(rows, false), curve(rows, true))).collect()
}

fn particle_share(after: &Curve, level: f64, first: f64, noise: &Noise) -> Estimate {
    let reading =
        |(strain, stress): &(f64, f64)| Reading { strain: *strain, stress: *stress, rate: 1.0, inertia_stress: 0.0 };
    let readings: Vec<Reading> = after.iter().map(reading).collect();
    let bins = bins(&readings, first, level, 1.0);
    // The level is known from the long steady run, to 2 %.
    let problem = Problem { bins: &bins, noise, u_before: 0.02, fit: &Fit::default(), newtonian: false };
    averaged(&fit(&problem), |m| m.share(0.02))
}

/// Steady viscosity and contact share of the simulations, with their traces.
const PARTICLES: [(&str, f64, f64); 3] = [
    (include_str!("reference/transient-a.csv"), 17.5553, 0.4566),
    (include_str!("reference/transient-b.csv"), 10.1948, 0.0216),
    (include_str!("reference/transient-c.csv"), 34.2402, 0.5317),
];

#[test]
fn means_of_particle_transients_hold_the_liquids_level() {
    // Single reversals wander by 5–10 % over strain of order 0.1; their mean over twelve by √12 less.
    let noise = Noise { white: 0.01, correlated: 0.03, length: 0.1 };
    for (text, level, truth) in PARTICLES {
        let all = particles(text);
        let mean = |k: usize| all.iter().map(|(_, after)| after[k].1).sum::<f64>() / all.len() as f64;
        let after: Curve = (0..all[0].1.len()).map(|k| (all[0].1[k].0, mean(k))).collect();
        for first in [0.002, 0.01, 0.02] {
            let x = particle_share(&after, level, first, &noise);
            let error = x.value - truth;
            // Measured: −0.01 to −0.04 where the error is small enough to count as resolved, up to −0.11 where not.
            assert!(error.abs() < 1.96 * x.u, "{x:?} for {truth} from {first}");
            assert!(x.u > 0.05 || error.abs() < 0.05, "{x:?} for {truth} from {first}");
        }
    }
}

#[test]
fn single_particle_transients_hold_their_share_with_the_noise_that_they_show() {
    for (text, level, truth) in PARTICLES {
        let all = particles(text);
        let window = |before: &Curve| Window {
            strain: before.iter().map(|p| p.0).collect(),
            ln_viscosity: before.iter().map(|p| p.1.ln()).collect(),
        };
        let windows: Vec<Window> = all.iter().map(|(before, _)| window(before)).collect();
        let noise = pooled(&windows.iter().collect::<Vec<_>>(), 0.6).unwrap();
        let holds = |after: &Curve| {
            let x = particle_share(after, level, 0.002, &noise);
            (x.value - truth).abs() < 1.96 * x.u
        };
        // All twelve held when this was written; 95 % of twelve leaves room for one.
        assert!(all.iter().filter(|(_, after)| holds(after)).count() >= 11);
    }
}

fn call(work: Work, settings: &[Settings], inputs: Vec<(String, Arc<Vec<u8>>)>) -> Produced {
    let (scratch, never) = (tempfile::tempdir().unwrap(), AtomicBool::new(false));
    work(&Context::new(settings, inputs, None, scratch.path(), &never)).unwrap()
}

fn output(produced: &Produced, name: &str) -> Arc<Vec<u8>> {
    produced.outputs.iter().find(|(n, _)| *n == name).unwrap().1.clone().into()
}

#[test]
fn the_three_tasks_run_from_points_to_judgement() {
    let params = plain();
    let (geometry, instrument) = (Settings::new("geometry", "g", &cone()), Settings::new("instrument", "i", &bench()));
    let notes: Arc<Vec<u8>> = serde_json::to_vec(&notes()).unwrap().into();
    let read_task = |newtonian: bool, transient: fn(f64) -> f64| {
        let points = Protocol::default().points(&mut Draws::new(6), transient);
        let settings = [
            Settings::new("run", "r", &"raw/A/L1.txt"),
            Settings::new("reversal", "stages.reversal", &params.reading()),
            Settings::new("sample", "s", &sample(newtonian)),
            geometry.clone(),
            instrument.clone(),
        ];
        let table = points.to_table().to_parquet().unwrap();
        call(read_work, &settings, vec![("points".into(), table.into()), ("notes".into(), notes.clone())])
    };
    let (run, oil) = (read_task(false, |g| HALF.at(g)), read_task(true, |_| 1.0));
    let controlling = Settings::new("reversal", "stages.reversal", &params.controlling());
    let control = call(control_work, &[controlling], vec![("raw/oil.txt".into(), output(&oil, "read"))]);
    let rule = super::identity::Rule {
        run: "raw/A/L1.txt".into(),
        sample: "A".into(),
        control: false,
        volume_fraction: Some((0.5, 0.004)),
        geometry: "cone".into(),
        instrument: "bench".into(),
        loading: None,
        repeat: None,
        preamble: Vec::new(),
    };
    let settings = [
        Settings::new("reversal", "stages.reversal", &params.grading_settings()),
        Settings::new("identity", "i", &rule),
        geometry.clone(),
    ];
    let head: Arc<Vec<u8>> = serde_json::to_vec(&Head::default()).unwrap().into();
    let inputs = vec![
        ("read".into(), output(&run, "read")),
        ("notes".into(), notes.clone()),
        ("head".into(), head),
        ("control".into(), output(&control, "control")),
    ];
    let graded: super::result::GradedRun =
        serde_json::from_slice(&output(&call(grade_work, &settings, inputs), "graded")).unwrap();
    assert_eq!(graded.reversals.len(), 2);
    assert!(graded.reversals.iter().all(|j| j.resolved && j.grade <= Grade::B));

    let table = Table::from_parquet(&output(&run, "points")).unwrap();
    let names: Vec<&str> = table.columns().iter().map(|(n, _)| n.as_str()).collect();
    assert_eq!(names, published::COLUMNS.map(|c| c.name));
    // Rows in = rows kept + rows excluded by named reasons.
    let excluded = table.texts("excluded").unwrap().iter().flatten().count() as u64;
    assert!(excluded > 0 && excluded <= graded.excluded.values().sum());
    assert!(graded.excluded.keys().all(|r| [Reason::InstrumentInertia, Reason::MomentumDiffusion].contains(r)));
}

#[test]
fn same_points_same_bytes() {
    let points = Protocol::default().points(&mut Draws::new(11), |g| HALF.at(g));
    let bytes = || serde_json::to_vec(&outcome(&points, false, &Params::default(), &notes()).read).unwrap();
    assert_eq!(bytes(), bytes());
}

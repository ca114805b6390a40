//! What a reversal is worth: the control's terms joined to its error, resolved or bound, interval, grade. Rules
//! only; no trace is opened here.
//!
//! # The control's transfer
//! A control measures the instrument, so what it shows transfers as a torque at a time after the turning point, not
//! as a fraction: its dead time becomes a strain at this rate, and its false torque, per change of rate, is set
//! against this sample's torque.

use super::params::{Grade as Limits, GradingSettings as Settings, Resolved};
use super::remark::{Remark, RunRemark};
use super::result::{Before, Control, Controlled, DeadStrain, Estimate, Grade, Graded, ReversalRead};
use super::rules::{EARLY, FORM_COUNTS, TWO_SIDED};
use crate::numerics::float::{expm1, ln1p};

/// Says once for the run what several of its reversals would repeat; `dead.control` of each has the strain.
pub(super) fn said_once(reversals: &mut [Graded]) -> Option<RunRemark> {
    let later = reversals.iter().filter(|j| j.remarks.contains(&Remark::ReadLater)).count();
    if later < 2 {
        return None;
    }
    reversals.iter_mut().for_each(|j| j.remarks.retain(|r| *r != Remark::ReadLater));
    Some(RunRemark::ReadLater { reversals: later as u32, all: reversals.len() as u32 })
}

/// What is known of a reversal beside its own trace.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Around<'a> {
    /// Control of the same instrument and geometry.
    pub(super) control: Option<&'a Control>,
    /// Measured between parallel plates.
    pub(super) plates: bool,
    /// The run is itself a control.
    pub(super) is_control: bool,
    /// A restart in the old sense of the same run shows a change that none may.
    pub(super) restart_failed: bool,
    /// The torque fell for good before or after it.
    pub(super) fallen: bool,
}

/// Judges one reversal.
pub(super) fn grade_reversal(mut read: ReversalRead, around: &Around<'_>, settings: &Settings) -> Graded {
    let mut remarks = std::mem::take(&mut read.remarks);
    let transfer = around.control.filter(|_| !around.is_control);
    if let Some(control) = transfer {
        read.dead.control = dead_strain(&read, control);
    }
    let share = usable_share(&read, &mut remarks).map(|x| with_control(x, &read, transfer));
    share.into_iter().for_each(|x| close(&mut read, x));
    let mut why = Vec::new();
    let grade = grade(&read, share, &Around { control: transfer, ..*around }, settings, &mut why);
    let refusals = share.map(|x| refusals(x, &read, around.is_control, &settings.resolved));
    let resolved = grade != Grade::F && refusals.as_ref().is_some_and(Vec::is_empty);
    let refusals = refusals.unwrap_or_default();
    // What keeps a value from grade A need not be said where it has none.
    remarks.extend(why.into_iter().filter(|_| grade != Grade::B || refusals.is_empty()));
    remarks.extend(refusals);
    let value = share.filter(|_| resolved);
    let (low, high) = match value {
        Some(x) => interval(x),
        None => (read.after.as_ref().filter(|_| grade != Grade::F).and_then(|a| a.bound), None),
    };
    if let (Some(low), Some(high)) = (low, high)
        && low <= 0.0
        && high >= 0.0
    {
        remarks.push(Remark::NoDrop);
    }
    let grade = if resolved || grade == Grade::F { grade } else { Grade::C };
    Graded { contact_share: value, resolved, contact_share_low: low, contact_share_high: high, grade, remarks, read }
}

/// Strain at which the control was back, at this reversal's rate: an upper limit, as if the drive turned at once.
fn dead_strain(read: &ReversalRead, control: &Control) -> f64 {
    let rate = read.before.as_ref().map_or(0.0, |b| b.rate_per_s.value * read.speed_ratio.unwrap_or(1.0));
    control.dead_time_s.map_or(0.0, |time| time * rate)
}

/// The contact share from readings that the control allows: the headline, or that from a later strain on.
fn usable_share(read: &ReversalRead, remarks: &mut Vec<Remark>) -> Option<Estimate> {
    let headline = read.after.as_ref()?.contact_share;
    let own = own_dead_strain(read);
    if read.dead.control <= own {
        return Some(headline);
    }
    let late_enough = read.later.iter().find(|later| later.factor * own >= read.dead.control);
    match late_enough.and_then(|later| later.contact_share) {
        Some(share) => {
            remarks.push(Remark::ReadLater);
            Some(share)
        }
        None => {
            remarks.push(Remark::ControlTooLate);
            None
        }
    }
}

/// The viscosity at zero strain follows the contact share that is judged, where that is not the headline of the run
/// alone: η(1 − X), with the relative error of 1 − X, so that both columns of a table say the same.
fn close(read: &mut ReversalRead, share: Estimate) {
    let Some(eta) = read.before.as_ref().map(|b| b.viscosity_pa_s.value) else { return };
    if let Some(after) = read.after.as_mut().filter(|a| a.contact_share != share) {
        after.viscosity_pa_s = Estimate { value: eta * (1.0 - share.value), u: eta * share.u };
    }
}

/// First usable strain without the control's part.
fn own_dead_strain(read: &ReversalRead) -> f64 {
    DeadStrain { control: 0.0, ..read.dead.clone() }.first_usable()
}

/// Joins what the control leaves in the torque, in quadrature: false torque after the first usable strain, where it
/// is significant, and the offset, which counts before and after with opposite signs.
fn with_control(share: Estimate, read: &ReversalRead, control: Option<&Control>) -> Estimate {
    let (Some(control), Some(before)) = (control, read.before.as_ref()) else { return share };
    let torque = before.torque_n_m;
    let left = false_torque(read, before, control) / torque;
    let offset = control.torque_offset_n_m.map_or(0.0, |m| if m.value.abs() > 2.0 * m.u { m.value } else { 0.0 });
    let offset = offset / torque * (2.0 - share.value);
    Estimate { value: share.value, u: (share.u * share.u + left * left + offset * offset).sqrt() }
}

/// Mean false torque between the first usable strain and [`EARLY`] at this reversal's change of rate, N m; 0 where
/// it is not significant.
fn false_torque(read: &ReversalRead, before: &Before, control: &Control) -> f64 {
    let rate = before.rate_per_s.value * read.speed_ratio.unwrap_or(1.0);
    let span = read.dead.first_usable() / rate..=EARLY / rate;
    let inside: Vec<_> = control.false_torque.iter().filter(|f| span.contains(&f.time_s)).collect();
    let n = inside.len() as f64;
    let mean = inside.iter().map(|f| f.torque_n_m_s).sum::<f64>() / n;
    let u = inside.iter().map(|f| f.u * f.u).sum::<f64>().sqrt() / n;
    if n > 0.0 && mean.abs() > 2.0 * u { mean * (before.rate_per_s.value + rate) } else { 0.0 }
}

/// Why the value cannot be used as one; empty where it can.
fn refusals(share: Estimate, read: &ReversalRead, is_control: bool, limits: &Resolved) -> Vec<Remark> {
    let first = read.dead.first_usable();
    let early = read.after.as_ref().map_or(0, |a| a.early_bins);
    // A control has no contacts, so its X may lie on either side of 0 and early bins are all that counts.
    let range = if is_control { -1.0..1.0 } else { limits.smallest_share..1.0 };
    let rules = [
        (first > limits.dead_strain, Remark::LateFirstStrain { strain: first, most: limits.dead_strain }),
        (share.u > limits.uncertainty, Remark::LargeUncertainty { u: share.u, most: limits.uncertainty }),
        // Not a number passes no comparison, so it is refused by the range.
        (!range.contains(&share.value), Remark::OutOfRange { share: share.value }),
        (
            // Else ln(1 − X) has no error to speak of, and its interval would begin anywhere.
            share.value < 1.0 && 1.0 - share.value <= share.u,
            Remark::NothingLeft { part: 1.0 - share.value },
        ),
        (early < limits.early_bins, Remark::FewEarlyBins { bins: early }),
    ];
    those_that_apply(rules)
}

/// 95 % interval by z = −ln(1 − X), natural for a ratio of viscosities: never reaches 1, goes below 0 freely.
fn interval(share: Estimate) -> (Option<f64>, Option<f64>) {
    let z = -ln1p(-share.value);
    let half = TWO_SIDED * share.u / (1.0 - share.value);
    let back = |z: f64| -expm1(-z);
    (Some(back(z - half)), Some(back(z + half)))
}

/// The grade by the first rule that fits, and why.
fn grade(
    read: &ReversalRead,
    share: Option<Estimate>,
    around: &Around<'_>,
    settings: &Settings,
    remarks: &mut Vec<Remark>,
) -> Grade {
    let limits = &settings.grade;
    let tiers = [
        (Grade::F, unusable(read, limits)),
        (Grade::C, doubtful(read, share, around)),
        (Grade::B, remarkable(read, share, around.plates, limits)),
    ];
    for (grade, reasons) in tiers {
        if !reasons.is_empty() {
            remarks.extend(reasons);
            return grade;
        }
    }
    Grade::A
}

fn those_that_apply(rules: impl IntoIterator<Item = (bool, Remark)>) -> Vec<Remark> {
    rules.into_iter().filter(|(applies, _)| *applies).map(|(_, why)| why).collect()
}

/// F: no value at all.
fn unusable(read: &ReversalRead, limits: &Limits) -> Vec<Remark> {
    let floors = read.before.as_ref().and_then(|b| b.floors);
    let after = floors.zip(read.before.as_ref()).zip(read.torque_after_n_m).map(|((f, b), m)| f * m / b.torque_n_m);
    let lowest = floors.map(|f| after.map_or(f, |a| a.min(f)));
    let off = read.speed_ratio.map_or(0.0, |r| (r - 1.0).abs());
    let mut reasons = those_that_apply([
        (read.before.is_none(), Remark::NoSteadyStretch),
        (read.strain_after < limits.aborted, Remark::Aborted { strain: read.strain_after }),
        (
            lowest.is_some_and(|l| l < limits.torque_floors),
            Remark::FewTorqueFloors { floors: lowest.unwrap_or(0.0), least: limits.torque_floors },
        ),
        (off > limits.speed_unusable && read.controlled == Controlled::Rate, Remark::SpeedAfter { difference: off }),
    ]);
    reasons.extend(read.set_aside.as_ref().map(|because| Remark::SetAside { because: because.clone() }));
    reasons
}

/// C: shown, but does not enter states. Not resolved is told by its own reasons.
fn doubtful(read: &ReversalRead, share: Option<Estimate>, around: &Around<'_>) -> Vec<Remark> {
    let before = read.before.as_ref();
    those_that_apply([
        (share.is_none(), Remark::NoContactShare),
        (before.is_some_and(|b| !b.steady), Remark::NotSteady),
        (before.is_some_and(|b| b.steady_not_shown), Remark::SteadinessNotShown),
        (around.control.is_some_and(|c| c.failed), Remark::ControlFailed),
        (around.restart_failed, Remark::RestartFailed),
        (around.fallen, Remark::TorqueFell),
    ])
}

/// B: enters states, with a remark.
fn remarkable(read: &ReversalRead, share: Option<Estimate>, plates: bool, limits: &Limits) -> Vec<Remark> {
    let u = share.map_or(0.0, |x| x.u);
    let first = read.dead.first_usable();
    let record = read.before.as_ref().map_or(0.0, |b| b.record_strain);
    let misfit = read.after.as_ref().map_or(0.0, |a| a.squares_per_bin);
    let off = read.speed_ratio.map_or(0.0, |r| (r - 1.0).abs());
    those_that_apply([
        (u > limits.uncertainty, Remark::Uncertainty { u }),
        (first > limits.dead_strain, Remark::FirstStrain { strain: first }),
        (read.strain_after < limits.strain_after, Remark::ShortAfter { strain: read.strain_after }),
        (record < limits.record_before, Remark::ShortBefore { strain: record }),
        (misfit > limits.misfit, Remark::Misfit { squares: misfit }),
        (plates, Remark::WeightedByTorque),
        (forms_differ(read, limits.forms), Remark::FormsDiffer),
        (off > limits.speed_remarked && read.controlled == Controlled::Rate, Remark::SpeedAfter { difference: off }),
    ])
}

/// Whether two forms that count differ by more than so many of their standard uncertainties.
fn forms_differ(read: &ReversalRead, limit: f64) -> bool {
    let forms: Vec<Estimate> = read
        .after
        .iter()
        .flat_map(|a| a.forms.iter().filter(|f| f.weight >= FORM_COUNTS).map(|f| f.contact_share))
        .collect();
    let apart = |a: &Estimate, b: &Estimate| (a.value - b.value).abs() > limit * a.u.max(b.u);
    forms.iter().enumerate().any(|(k, a)| forms[k + 1..].iter().any(|b| apart(a, b)))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::super::params::Params;
    use super::super::result::{After, LaterReading};
    use super::*;

    fn estimate(value: f64, u: f64) -> Estimate {
        Estimate { value, u }
    }

    /// A reversal that deserves an A.
    fn good(share: Estimate) -> ReversalRead {
        ReversalRead {
            number: 1,
            row: 300,
            step: 2,
            time_s: 12.0,
            sense_before: 1,
            controlled: Controlled::Rate,
            controlled_found: true,
            set_point_in_export: None,
            before: Some(Before {
                stress_pa: estimate(10.0, 0.03),
                rate_per_s: estimate(0.5, 0.0),
                viscosity_pa_s: estimate(20.0, 0.06),
                window_strain: 2.0,
                readings: 100,
                record_strain: 6.0,
                drift: estimate(0.0, 0.01),
                recovery: None,
                steady: true,
                steady_not_shown: false,
                floors: Some(1000.0),
                torque_n_m: 1e-4,
                normal_stress_pa: None,
            }),
            noise: None,
            dead: DeadStrain { speed: 0.004, inertia: 0.002, momentum: 0.0, sampling: 0.001, control: 0.0 },
            strain_after: 6.0,
            speed_ratio: Some(1.0),
            torque_after_n_m: Some(5e-5),
            after: Some(After {
                contact_share: share,
                u_zero: 0.0,
                viscosity_pa_s: estimate(10.0, 0.1),
                forms: Vec::new(),
                squares_per_bin: 0.8,
                early_bins: 12,
                plateau: None,
                minimum_pa_s: 9.0,
                strain_at_minimum: 0.1,
                recovery_strain: None,
                recovery_strain_90: None,
                contact_recovery_strain: None,
                bound: Some(0.2),
                curve: Vec::new(),
                bins: Vec::new(),
            }),
            normal_stress_after_pa: None,
            sensitivity_coefficients: Vec::new(),
            sensitivity: Vec::new(),
            later: vec![LaterReading { factor: 2.0, contact_share: Some(estimate(0.48, 0.02)) }],
            torque_residual: Vec::new(),
            set_aside: None,
            remarks: Vec::new(),
        }
    }

    fn graded(read: ReversalRead, control: Option<&Control>) -> Graded {
        grade_reversal(read, &Around { control, ..Around::default() }, &Params::default().grading_settings())
    }

    #[test]
    fn intervals_follow_the_logarithm_and_never_reach_one() {
        let (low, high) = interval(estimate(0.5, 0.05));
        // z = ln 2 ± 1.96·0.1, back by hand.
        assert!((low.unwrap() - (1.0 - 0.5 * 0.196_f64.exp())).abs() < 1e-12);
        assert!((high.unwrap() - (1.0 - 0.5 * (-0.196_f64).exp())).abs() < 1e-12);
        assert!(interval(estimate(0.99, 0.05)).1.unwrap() < 1.0);
    }

    #[test]
    fn each_rule_gives_its_grade_and_its_reason() {
        type Change = fn(&mut ReversalRead);
        type Told = fn(&Remark) -> bool;
        let rules: [(Change, Grade, Told); 12] = [
            (|_| {}, Grade::A, |_| false),
            (|r| r.before = None, Grade::F, |r| *r == Remark::NoSteadyStretch),
            (|r| r.strain_after = 0.2, Grade::F, |r| *r == Remark::Aborted { strain: 0.2 }),
            (
                |r| r.torque_after_n_m = Some(4e-7),
                Grade::F,
                |r| matches!(r, Remark::FewTorqueFloors { least: 5.0, .. }),
            ),
            (|r| r.speed_ratio = Some(0.85), Grade::F, |r| matches!(r, Remark::SpeedAfter { .. })),
            (|r| r.set_aside = Some("bubble".into()), Grade::F, |r| matches!(r, Remark::SetAside { .. })),
            (|r| r.before.as_mut().unwrap().steady = false, Grade::C, |r| *r == Remark::NotSteady),
            (|r| r.dead.speed = 0.04, Grade::C, |r| *r == Remark::LateFirstStrain { strain: 0.04, most: 0.03 }),
            (|r| r.after.as_mut().unwrap().early_bins = 2, Grade::C, |r| *r == Remark::FewEarlyBins { bins: 2 }),
            (|r| r.dead.speed = 0.02, Grade::B, |r| *r == Remark::FirstStrain { strain: 0.02 }),
            (
                |r| r.before.as_mut().unwrap().record_strain = 3.0,
                Grade::B,
                |r| *r == Remark::ShortBefore { strain: 3.0 },
            ),
            (|r| r.speed_ratio = Some(1.05), Grade::B, |r| matches!(r, Remark::SpeedAfter { .. })),
        ];
        for (at, (change, grade, told)) in rules.into_iter().enumerate() {
            let mut read = good(estimate(0.5, 0.01));
            change(&mut read);
            let found = graded(read, None);
            assert_eq!(found.grade, grade, "{at}: {:?}", found.remarks);
            assert!(at == 0 || found.remarks.iter().any(told), "{at}: {:?}", found.remarks);
            assert_eq!(found.contact_share.is_some(), found.resolved);
        }
    }

    #[test]
    fn what_is_not_resolved_keeps_its_bound_alone() {
        let all = [(0.5, 0.06), (1.02, 0.03), (-0.2, 0.03), (0.98, 0.03), (f64::NAN, 0.01)];
        for share in all.map(|(value, u)| estimate(value, u)) {
            let found = graded(good(share), None);
            assert!(!found.resolved && found.grade == Grade::C, "{share:?}");
            assert_eq!(
                (found.contact_share, found.contact_share_low, found.contact_share_high),
                (None, Some(0.2), None)
            );
        }
    }

    #[test]
    fn a_drop_within_its_uncertainty_keeps_its_value() {
        let found = graded(good(estimate(0.01, 0.01)), None);
        assert!(found.resolved && found.contact_share_low.unwrap() < 0.0);
        assert!(found.remarks.contains(&Remark::NoDrop));
    }

    #[test]
    fn the_control_moves_the_first_strain_and_widens_the_error() {
        let control = |dead: f64| Control {
            dead_time_s: Some(dead),
            torque_offset_n_m: Some(estimate(1e-6, 1e-7)),
            ..Control::default()
        };
        // Back at strain 0.0015: the run's own first strain decides; offset 1 % of the torque counts 1.5 times.
        let early = graded(good(estimate(0.5, 0.01)), Some(&control(0.003)));
        let expected = (0.01_f64.powi(2) + 0.015_f64.powi(2)).sqrt();
        assert!((early.contact_share.unwrap().u - expected).abs() < 1e-12 && early.contact_share.unwrap().value == 0.5);
        // Back at 0.007: the reading from twice the first strain on covers that.
        let later = graded(good(estimate(0.5, 0.01)), Some(&control(0.014)));
        assert_eq!(later.contact_share.unwrap().value, 0.48);
        // The viscosity at zero strain says the same: 20 Pa s × 0.52.
        let at_zero = later.read.after.as_ref().unwrap().viscosity_pa_s.value;
        assert!((at_zero - 10.4).abs() < 1e-12, "{at_zero}");
        // One reversal keeps the remark; of two, the run has it.
        let mut run = vec![later.clone(), later.clone(), early.clone()];
        assert_eq!(said_once(&mut run[1..]), None);
        assert_eq!(said_once(&mut run), Some(RunRemark::ReadLater { reversals: 2, all: 3 }));
        assert!(run.iter().all(|j| !j.remarks.contains(&Remark::ReadLater)));
        // Back at 0.02: nothing was read from there.
        let late = graded(good(estimate(0.5, 0.01)), Some(&control(0.04)));
        assert!(!late.resolved && late.remarks.contains(&Remark::ControlTooLate));
    }

    #[test]
    fn a_failed_control_or_restart_or_a_fall_keeps_reversals_out_of_states() {
        let control = Control { failed: true, ..Control::default() };
        assert_eq!(graded(good(estimate(0.5, 0.01)), Some(&control)).grade, Grade::C);
        let restarted = Around { restart_failed: true, ..Around::default() };
        let fallen = Around { fallen: true, ..Around::default() };
        for around in [restarted, fallen] {
            assert_eq!(
                grade_reversal(good(estimate(0.5, 0.01)), &around, &Params::default().grading_settings()).grade,
                Grade::C
            );
        }
    }
}

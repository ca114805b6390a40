//! What is said of a reversal, of the reversals of a run, and of the control.

use crate::text::numbers::{percent, plus_minus, setting, significant};
use crate::text::words::listed;
use stages::reversal::remark::{ControlRemark, Remark, RunRemark};
use stages::reversal::result::Estimate;
use stages::reversal::rules::EARLY;

/// A remark on a reversal.
pub fn words(remark: &Remark) -> String {
    phrase(remark, &number(remark).map_or_else(String::new, |x| in_print(remark, x)))
}

/// Remarks of one kind on several reversals as one, with the range of their number.
pub fn over(remarks: &[&Remark]) -> String {
    let Some(first) = remarks.first() else { return String::new() };
    let numbers: Vec<f64> = remarks.iter().filter_map(|remark| number(remark)).collect();
    phrase(first, &range(&numbers, |x| in_print(first, x)))
}

/// `0.036 to 0.071`, or one number where both ends print alike.
pub fn range(numbers: &[f64], in_print: impl Fn(f64) -> String) -> String {
    let mut sorted = numbers.to_vec();
    sorted.sort_by(f64::total_cmp);
    match (sorted.first().map(|x| in_print(*x)), sorted.last().map(|x| in_print(*x))) {
        (Some(low), Some(high)) if low != high => format!("{low} to {high}"),
        (low, _) => low.unwrap_or_default(),
    }
}

/// The number of a remark that differs from reversal to reversal.
fn number(remark: &Remark) -> Option<f64> {
    match remark {
        Remark::Aborted { strain }
        | Remark::FirstStrain { strain }
        | Remark::LateFirstStrain { strain, .. }
        | Remark::ShortAfter { strain }
        | Remark::ShortBefore { strain } => Some(*strain),
        Remark::FewTorqueFloors { floors, .. } => Some(*floors),
        Remark::SpeedAfter { difference } => Some(*difference),
        Remark::LargeUncertainty { u, .. } | Remark::Uncertainty { u } => Some(*u),
        Remark::OutOfRange { share } => Some(*share),
        Remark::NothingLeft { part } => Some(*part),
        Remark::FewEarlyBins { bins } => Some(f64::from(*bins)),
        Remark::Misfit { squares } => Some(*squares),
        _ => None,
    }
}

fn in_print(remark: &Remark, x: f64) -> String {
    match remark {
        Remark::SpeedAfter { .. } => percent(x),
        Remark::FewEarlyBins { .. } => setting(x),
        _ => significant(x, 2),
    }
}

fn phrase(remark: &Remark, number: &str) -> String {
    match remark {
        Remark::NoSteadyStretch => "no steady stretch before could be read".to_owned(),
        Remark::Aborted { .. } => format!("aborted at strain {number}"),
        Remark::FewTorqueFloors { least, .. } => format!("a torque of {number} floors is below {}", setting(*least)),
        Remark::SpeedAfter { .. } => format!("the speed after differs by {number} from that before"),
        Remark::SetAside { because } => format!("excluded by hand: {because}"),
        Remark::NoContactShare => "not resolved: no contact share could be read".to_owned(),
        Remark::ControlTooLate => {
            "not resolved: the control comes back later than the readings that could be used".to_owned()
        }
        Remark::NotSteady => "not steady".to_owned(),
        Remark::SteadinessNotShown => "steadiness not shown: the drift is known too badly".to_owned(),
        Remark::ControlFailed => "the control of this instrument and geometry failed".to_owned(),
        Remark::RestartFailed => "a restart in the old sense shows a change that none may".to_owned(),
        Remark::TorqueFell => "the torque fell for good".to_owned(),
        Remark::LateFirstStrain { most, .. } => {
            format!("not resolved: the first usable strain of {number} is above {}", setting(*most))
        }
        Remark::LargeUncertainty { most, .. } => {
            format!("not resolved: a standard uncertainty of the contact share of {number} is above {}", setting(*most))
        }
        Remark::OutOfRange { .. } => format!("not resolved: a contact share of {number} is out of range"),
        Remark::NothingLeft { .. } => {
            format!("not resolved: what is left of the viscosity, {number} of it, is not above its uncertainty")
        }
        Remark::FewEarlyBins { .. } => {
            format!("not resolved: {number} bins below strain {} are too few", setting(EARLY))
        }
        Remark::NoDrop => "no drop beyond the uncertainty: the upper end is the limit".to_owned(),
        Remark::Uncertainty { .. } => format!("standard uncertainty of the contact share {number}"),
        Remark::FirstStrain { .. } => format!("first usable strain {number}"),
        Remark::ShortAfter { .. } => format!("only strain {number} after"),
        Remark::ShortBefore { .. } => format!("only strain {number} since the last change before"),
        Remark::Misfit { .. } => format!("sum of squares per bin {number}"),
        Remark::WeightedByTorque => "parallel plates: the contact share is weighted by torque".to_owned(),
        Remark::FormsDiffer => "the forms of the transient differ".to_owned(),
        Remark::NoiseUnknown => "too few readings to know the noise".to_owned(),
        Remark::FewReadings => "too few readings behind the first usable strain to fit".to_owned(),
        Remark::ReadLater => format!("read {LATER}"),
        Remark::StoodStill => {
            "the sample stood still between the two senses; strain counts from where it moves again".to_owned()
        }
    }
}

/// Why a reversal is read otherwise than by its own trace.
const LATER: &str = "from a later strain on, because the control comes back late";

/// A remark on the reversals of a run.
pub fn of_run(remark: &RunRemark) -> String {
    match remark {
        RunRemark::NoReversal => "no reversal was found in the motion".to_owned(),
        RunRemark::Restarts { all, read, failed, largest } => restarts(*all, *read, *failed, *largest),
        RunRemark::ReadLater { reversals, all } => format!("{reversals} of {all} reversals were read {LATER}"),
        RunRemark::DensityNotGiven => {
            "the density is not given: momentum diffusion was reckoned with 1000 kg/m³".to_owned()
        }
        RunRemark::NoPreambleEntry { key } => format!("its preamble has no entry `{key}`"),
    }
}

fn restarts(all: u32, read: u32, failed: u32, largest: Option<(u32, Estimate)>) -> String {
    let Some((row, drop)) = largest else { return "no restart in the old sense could be read".to_owned() };
    let of = |n: u32| match (n, all) {
        (_, 1) => "a restart in the old sense shows".to_owned(),
        (1, all) => format!("1 of {all} restarts in the old sense shows"),
        (n, all) => format!("{n} of {all} restarts in the old sense show"),
    };
    let word = if drop.value > 0.0 { "drop" } else { "rise" };
    let size = plus_minus(100.0 * drop.value.abs(), 100.0 * drop.u);
    let change = format!("a {word} of ({size}) % at line {row}");
    if failed > 0 {
        format!("{} {change}, where contacts do not open: slip, settling or what relaxes at rest", of(failed))
    } else {
        format!("{} no drop: {change} at most", of(read))
    }
}

/// A remark on the controls of one instrument and geometry.
pub fn of_control(remark: &ControlRemark) -> String {
    match remark {
        ControlRemark::Drop => "the control shows a drop that a Newtonian liquid cannot have".to_owned(),
        ControlRemark::NoReversal => "the control runs hold no reversal".to_owned(),
        ControlRemark::TorqueNotBack { reversals, all } => {
            format!("in {reversals} of {all} control reversals the torque was not seen to come back")
        }
    }
}

/// Remarks on one reversal as one text; none where there are none.
pub fn joined(remarks: &[Remark]) -> Option<String> {
    (!remarks.is_empty()).then(|| remarks.iter().map(words).collect::<Vec<_>>().join("; "))
}

/// For which reasons readings are excluded, in words.
pub fn reasons(reasons: impl Iterator<Item = stages::clean::result::Reason>) -> String {
    listed(reasons.map(|reason| reason.name().replace('-', " ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn remarks_of_one_kind_are_one_with_the_range_of_their_number() {
        let late = |strain| Remark::LateFirstStrain { strain, most: 0.03 };
        let (a, b, c) = (late(0.036), late(0.071), late(0.04));
        assert_eq!(over(&[&a, &b, &c]), "not resolved: the first usable strain of 0.036 to 0.071 is above 0.03");
        assert_eq!(over(&[&a]), words(&a));
        assert_eq!(over(&[&Remark::NotSteady, &Remark::NotSteady]), "not steady");
    }

    #[test]
    fn what_is_said_of_restarts_follows_from_the_largest_change() {
        let estimate = |value, u| Estimate { value, u };
        assert_eq!(restarts(1, 0, 0, None), "no restart in the old sense could be read");
        assert_eq!(
            restarts(1, 1, 0, Some((7, estimate(-0.004, 0.006)))),
            "a restart in the old sense shows no drop: a rise of (0.40 ± 0.60) % at line 7 at most"
        );
        let failed = restarts(4, 4, 1, Some((7, estimate(0.15, 0.01))));
        assert!(failed.starts_with("1 of 4 restarts in the old sense shows a drop of (15.0 ± 1.0) % at line 7, where"));
    }
}

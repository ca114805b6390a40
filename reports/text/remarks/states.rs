//! What is said of states, of verdicts and of choices.

use crate::text::numbers::{count, setting, setting_percent, significant};
use crate::text::words::counted;
use stages::reversal::result::OtherSetting;
use stages::states::result::{Choice, MOST_OF_THE_RISE, OtherVerdict, Reason, Remark, Thickening};

/// A remark on a state.
pub fn words(remark: &Remark) -> String {
    match remark {
        Remark::NotResolved { resolved, usable, loadings } => format!(
            "not resolved: {resolved} of {usable} usable reversals give a contact share, from {}",
            counted(u64::from(*loadings), "loading")
        ),
        Remark::OneLoading => "one loading: the scatter between loadings is unknown".to_owned(),
        Remark::NotUsable { reversals, found } => format!("{reversals} of {found} reversals not usable (grade F)"),
    }
}

/// Why a verdict is given.
pub fn reason(reason: &Reason) -> String {
    let of_share = |how: &str| format!("the interval of the share lies {how} {}", setting(MOST_OF_THE_RISE));
    match reason {
        Reason::NoPair => "no loading has a contact share at both ends of a rise".to_owned(),
        Reason::OnePair => "only one loading has a contact share at both ends".to_owned(),
        Reason::OneLoading => "one loading only: the scatter between loadings is unknown".to_owned(),
        Reason::RiseUnread => {
            "most of the rise of the steady viscosity lies between states of which one has no contact share".to_owned()
        }
        Reason::RiseElsewhere => "the viscosity rises, but not between the ends that were set".to_owned(),
        Reason::NoLargerViscosity => "no state has a larger viscosity than one at a lower set-point".to_owned(),
        Reason::RiseReachesZero => "the interval of the rise reaches zero".to_owned(),
        Reason::RiseMayBeScatter { probability } => format!(
            "the largest rise between two states may be scatter between loadings (probability {})",
            significant(*probability, 2)
        ),
        Reason::SmallRise { smallest_rise } => {
            format!("the viscosity rises by less than {}", setting_percent(*smallest_rise))
        }
        Reason::Unbounded => "the interval of the share is unbounded".to_owned(),
        Reason::AboveHalf => of_share("above"),
        Reason::BelowHalf => of_share("below"),
        Reason::CoversHalf => format!("the interval of the share covers {}", setting(MOST_OF_THE_RISE)),
        Reason::ChoiceDecides { above_half, against } => {
            let other = |o: &OtherVerdict| format!("{} ({})", choice(Some(&o.choice)), o.verdict.name());
            let others: Vec<String> = against.iter().map(other).collect();
            let in_force = of_share(if *above_half { "above" } else { "below" });
            format!("{in_force}, but the verdict is another under {}", others.join(", "))
        }
    }
}

/// How far the rise could be read, where states above its upper end have no value.
pub fn read_up_to(row: &Thickening) -> Option<String> {
    let high = row.set_point_high.as_ref().filter(|_| row.states_without_value > 0)?;
    let above = count(u64::from(row.states_without_value), "state");
    Some(format!("holds up to {high}: {above} above it without a value"))
}

/// A choice as it stands in tables and figures; none is the settings in force.
pub fn choice(choice: Option<&Choice>) -> String {
    match choice {
        None => "settings in force".to_owned(),
        Some(Choice::Setting(other)) => other_setting(*other),
        Some(Choice::FormAlone { form }) => format!("form {form} alone"),
        Some(Choice::StraightLine) => "straight line".to_owned(),
        Some(Choice::EarlyPlateau) => "early plateau".to_owned(),
        Some(Choice::Minimum) => "minimum".to_owned(),
        Some(Choice::LowestGrade { grade }) => {
            use stages::states::params::LowestGrade;
            match grade {
                LowestGrade::A => "grade A only".to_owned(),
                LowestGrade::B => "grade B as well".to_owned(),
                LowestGrade::C => "grade C as well".to_owned(),
            }
        }
    }
}

fn other_setting(other: OtherSetting) -> String {
    match other {
        OtherSetting::FirstUsableStrain { factor } => format!("first usable strain × {}", setting(factor)),
        OtherSetting::WindowBefore { strain } => format!("window before {}", setting(strain)),
        OtherSetting::PriorWidth { factor } => format!("prior width × {}", setting(factor)),
        OtherSetting::WithoutRelease => "without release".to_owned(),
        OtherSetting::BinWidth { factor } => format!("bin width × {}", setting(factor)),
        OtherSetting::SpikesKept => "spikes kept".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use stages::states::result::Verdict;

    #[test]
    fn a_verdict_that_another_choice_takes_away_names_it() {
        let twice = Choice::Setting(OtherSetting::FirstUsableStrain { factor: 2.0 });
        let against = vec![
            OtherVerdict { choice: twice, verdict: Verdict::NotDecided },
            OtherVerdict { choice: Choice::StraightLine, verdict: Verdict::HydrodynamicsDominate },
        ];
        assert_eq!(
            reason(&Reason::ChoiceDecides { above_half: true, against }),
            "the interval of the share lies above 0.5, but the verdict is another under first usable strain × 2 \
             (not decided), straight line (hydrodynamics dominate)"
        );
    }

    #[test]
    fn numbers_of_a_remark_stand_in_its_words() {
        let remark = Remark::NotResolved { resolved: 2, usable: 6, loadings: 1 };
        assert_eq!(words(&remark), "not resolved: 2 of 6 usable reversals give a contact share, from one loading");
        let small = reason(&Reason::SmallRise { smallest_rise: 0.1 });
        assert_eq!(small, "the viscosity rises by less than 10\u{a0}%");
    }
}

//! What is said of when a reversal is resolved, and of grades.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{setting, setting_percent};
use crate::text::words::{counted, multiple};
use stages::reversal::rules;

pub(super) fn sentences(settings: &InForce) -> Vec<Sentence> {
    let (resolved, grade) = (&settings.reversal.resolved, &settings.reversal.grade);
    vec![
        say(
            format!(
                "A reversal is resolved if its first usable strain is at most {}, the standard uncertainty of its \
                 contact share at most {}, the share itself at least {} and below one by more than its uncertainty, \
                 and at least {} lie below strain 0.1.",
                setting(resolved.dead_strain),
                setting(resolved.uncertainty),
                setting(resolved.smallest_share),
                counted(u64::from(resolved.early_bins), "strain bin")
            ),
            &["stages.reversal.resolved"],
        ),
        say(
            format!(
                "Otherwise only a bound is given, 1 − (y + {} u)/(1 − {}), with the lowest mean y of five neighbouring bins; it \
                 assumes that the liquid's share falls by no more than {} after the reversal, and says nothing where it is \
                 not positive.",
                setting(rules::ONE_SIDED),
                setting(settings.reversal.secondary.largest_dip),
                setting_percent(settings.reversal.secondary.largest_dip)
            ),
            &["stages.reversal.secondary.largest_dip"],
        ),
        say(
            format!(
                "Where the sample stands still and is sheared on in the old sense, contacts do not open and no transient \
                 is allowed: the viscosity over strain 0.02 to 0.3 after such a restart is compared with that of the \
                 window before, and it fails if they differ significantly (99 %) and by more than {}.",
                setting_percent(grade.restart)
            ),
            &["stages.reversal.grade"],
        )
        .citing(&["gadala-maria-1980"]),
        say(
            format!(
                "Grade F, not usable: nothing steady before, aborted below strain {}, below {} torque floors, speeds \
                 before and after that differ by more than {}, or set aside by hand. Grade C, shown only: not \
                 resolved, not steady or not shown to be, the control failed, a restart in the old sense in the same run \
                 failed, or the torque fell for good.",
                setting(grade.aborted),
                multiple(grade.torque_floors),
                setting_percent(grade.speed_unusable)
            ),
            &["stages.reversal.grade"],
        ),
        say(
            format!(
                "Grade B, remarked: standard uncertainty above {}, first usable strain above {}, strain after below \
                 {}, record before below strain {}, sum of squares per bin above {}, forms of a weight of {} or more \
                 that differ by more than {} standard uncertainties, speeds that differ by more than {}{}. Grade A: all \
                 others.",
                setting(grade.uncertainty),
                setting(grade.dead_strain),
                setting(grade.strain_after),
                setting(grade.record_before),
                setting(grade.misfit),
                setting_percent(rules::FORM_COUNTS),
                multiple(grade.forms),
                setting_percent(grade.speed_remarked),
                if settings.plates { ", parallel plates" } else { "" }
            ),
            &["stages.reversal.grade"],
        ),
    ]
}

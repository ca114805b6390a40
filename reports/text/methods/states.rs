//! What is said of states and of the share of the rise.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{setting, setting_percent, significant};
use crate::text::words::{capital, counted, listed};
use stages::numerics::interval::PART_POWER;
use stages::numerics::normal::Z_95;
use stages::states::params::{Ends, Params as StatesParams};
use stages::states::result::{ENDS_CHOSEN, LEVEL_OF_A_RISE, MOST_OF_THE_RISE, States};

/// Said of intervals where a sample has one loading.
const ONE_LOADING: &str = " A sample with one loading has no interval: its standard uncertainty is that of its own \
                           reversals, without the scatter between loadings, which is not known.";

pub(super) fn sentences(settings: &InForce, states: &States) -> Vec<Sentence> {
    let params = &settings.reversal.states;
    let asked = || states.reversals.iter().filter(|r| !r.identity.control && r.set_point.is_some());
    let loadings: std::collections::BTreeSet<_> = asked().map(|r| (&r.identity.sample, &r.identity.loading)).collect();
    let n = asked().count();
    let single = states.thickening.iter().any(|row| row.loadings_of_sample == 1);
    vec![
        say(
            format!(
                "{} with a set-point, over {}, {} {}. Reversals of a sample whose held quantity differs by less than a ratio of {} have \
                 one set-point; found values that span more than a ratio of {} stop the analysis.",
                capital(&counted(n as u64, "reversal")),
                counted(loadings.len() as u64, "loading"),
                if n == 1 { "forms" } else { "form" },
                counted(states.states.len() as u64, "state"),
                setting(params.set_point_ratio),
                setting(params.set_point_span)
            ),
            &[
                "count of reversals",
                "count of states",
                "stages.reversal.states.set_point_ratio",
                "stages.reversal.states.set_point_span",
            ],
        ),
        say(
            "With the steady viscosity η and the contact share X, the hydrodynamic viscosity is η(1 − X), the contact \
             viscosity ηX; the relative viscosity is η over the viscosity of the liquid.",
            &["count of states"],
        ),
        say(
            format!(
                "The value of a state is the unweighted mean over loadings of the means over their repeats, taken of \
                 ln η and of −ln(1 − X), over reversals of grade {} or better, η also of those that were steady and could \
                 not be resolved; a contact share needs {} of the reversals to be resolved, and two loadings where there \
                 are two.",
                grade_name(params),
                setting_percent(params.resolved_share)
            ),
            &["stages.reversal.states.lowest_grade", "stages.reversal.states.resolved_share"],
        ),
        say(
            format!(
                "Its standard uncertainty joins, in quadrature, the scatter of the loading means with {} of the median \
                 standard uncertainty of a reversal, which all of a state are taken to share{}. The half-width of its 95 % \
                 interval is k times that, k² = z² + (t² − z²)·p^{}, but at least t²·p, with \
                 z = {} and Student's t for one degree of freedom less than there are loadings and the part p that their scatter has \
                 in the variance: by exact calculation this holds 95 to 98 % with two loadings and 95 to 97 % with three or \
                 more, whatever that part is in truth (own rule).{}",
                setting_percent(params.shared_part),
                if settings.uncertainty.skip { "" } else { ", and with the terms of instrument and sample" },
                setting(PART_POWER),
                significant(Z_95, 3),
                if single { ONE_LOADING } else { "" }
            ),
            &["stages.reversal.states.shared_part", "count of loadings"],
        )
        .citing(&["jcgm-100"]),
        say(
            format!(
                "The share of the rise is the rise of the contact viscosity over that of the whole, from the smallest \
                 viscosity to the largest at a higher set-point, of states with a contact share{}: the mean of rX₂ − X₁ over \
                 the mean of r − 1 over the loadings that have both ends, r being the ratio of the viscosities at the upper \
                 and the lower end in one loading and X₂ and X₁ the contact shares there. What reversals of a state share counts \
                 as independent between the two ends. Its interval is that of a ratio, with k as above.",
                chosen_ends(params)
            ),
            &["stages.reversal.states.ends"],
        )
        .citing(&["fieller-1954"]),
        say(
            format!(
                "Whether a sample thickens is decided by all its steady viscosities, also those of states without a contact \
                 share. A rise between two states that the data chose is tested as the largest of all pairs of states of \
                 a sample, by Student's t with the scatter of ln η between loadings pooled over all pairs (Bonferroni), \
                 and also with {} times the tail by the scatter of that pair alone; the larger of the two probabilities \
                 counts, over all samples as a family (Holm), up to {}.",
                setting(ENDS_CHOSEN),
                setting(LEVEL_OF_A_RISE)
            ),
            &["stages.reversal.states.ends", "count of loadings"],
        )
        .citing(&["holm-1979"]),
        say(
            format!(
                "Verdict: not resolved with fewer than two loadings that have both ends{}, or where states without a contact \
                 share carry more than {} of the rise of the steady viscosity, with what the share is at least by \
                 the bounds of its ends; no thickening to explain where no viscosity rises by {} or more; not decided where \
                 a rise is not shown, its interval reaching zero, or the interval of the share covers {} or is \
                 unbounded; contacts dominate if that interval lies above {}, hydrodynamics dominate if below.",
                if single { " (but not decided where there is one loading only)" } else { "" },
                setting(1.0 - MOST_OF_THE_RISE),
                setting_percent(params.smallest_rise),
                setting(MOST_OF_THE_RISE),
                setting(MOST_OF_THE_RISE)
            ),
            &["stages.reversal.states.smallest_rise", "count of loadings"],
        ),
    ]
}

/// Ends of the rise that the study file names.
fn chosen_ends(params: &StatesParams) -> String {
    let of = |(sample, ends): (&String, &Ends)| {
        let end = |what: &str, label: &Option<String>| label.as_ref().map(|label| format!("{what} at {label}"));
        let both: Vec<String> =
            [end("the lower", &ends.low), end("the upper", &ends.high)].into_iter().flatten().collect();
        (!both.is_empty()).then(|| format!("{sample} with {}", listed(both.into_iter())))
    };
    let named = listed(params.ends.iter().filter_map(of));
    if named.is_empty() { named } else { format!(", but of {named}, as chosen,") }
}

fn grade_name(params: &StatesParams) -> &'static str {
    use stages::states::params::LowestGrade;
    match params.lowest_grade {
        LowestGrade::A => "A",
        LowestGrade::B => "B",
        LowestGrade::C => "C",
    }
}

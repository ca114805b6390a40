//! What is said of states and of the share of the rise.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{count, setting, setting_percent};
use crate::text::words::listed;
use stages::numerics::interval::PART_POWER;
use stages::states::params::{Ends, Params as StatesParams};
use stages::states::result::States;

pub(super) fn sentences(settings: &InForce, states: &States) -> Vec<Sentence> {
    let params = &settings.reversal.states;
    let asked = || states.reversals.iter().filter(|r| !r.identity.control && r.set_point.is_some());
    let loadings: std::collections::BTreeSet<_> = asked().map(|r| (&r.identity.sample, &r.identity.loading)).collect();
    let n = asked().count();
    vec![
        say(
            format!(
                "{} with a set-point, over {}, {} {}. Reversals of a sample whose held quantity differs by less than a ratio of {} have \
                 one set-point; found values that span more than a ratio of {} stop the analysis.",
                count(n as u64, "reversal"),
                count(loadings.len() as u64, "loading"),
                if n == 1 { "forms" } else { "form" },
                count(states.states.len() as u64, "state"),
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
                 the logarithms of viscosities and of their ratio, over reversals of grade {} or better; it needs {} \
                 of the reversals to be resolved.",
                grade_name(params),
                setting_percent(params.resolved_share)
            ),
            &["stages.reversal.states.lowest_grade", "stages.reversal.states.resolved_share"],
        ),
        say(
            format!(
                "Its standard uncertainty joins, in quadrature, the scatter of the loading means with {} of the median \
                 standard uncertainty of a reversal, which all of a state are taken to share, and with the terms of \
                 instrument and sample. The half-width of its 95 % interval is k times that, \
                 k² = 1.96² + (t² − 1.96²) times p to the power {}, but at least t²·p, with Student's t of the loading means and the part p \
                 that their scatter has in the variance: by exact calculation this holds 95 to 98 % with two loadings and \
                 95 to 97 % with three or more, whatever that part is in truth (own rule).",
                setting_percent(params.shared_part),
                setting(PART_POWER)
            ),
            &["stages.reversal.states.shared_part"],
        )
        .citing(&["jcgm-100"]),
        say(
            format!(
                "The share of the rise is the rise of the contact viscosity over that of the whole, between the \
                 smallest and the largest viscosity{}, on pairs within each loading; a rise of less than {} is not \
                 explained.",
                chosen_ends(params),
                setting_percent(params.smallest_rise)
            ),
            &["stages.reversal.states.smallest_rise", "stages.reversal.states.ends"],
        )
        .citing(&["fieller-1954"]),
        say(
            "Verdict: contacts dominate if the interval lies above one half, hydrodynamics dominate if below, not \
             decided if it covers one half; not resolved with fewer than two loadings that have both ends.",
            &["count of loadings"],
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

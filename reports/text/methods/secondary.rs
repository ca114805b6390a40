//! What is said of the other measurands and of other choices, which stand beside the value at zero strain.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{setting, setting_percent};
use crate::text::words::{listed, multiple};
use stages::reversal::params::Sensitivity;
use stages::reversal::rules;
use stages::states::result::{LEAST_FORM_WEIGHT, LINE_STRAIN};

pub(super) fn sentences(settings: &InForce) -> Vec<Sentence> {
    let secondary = &settings.reversal.secondary;
    let text = format!(
        "Beside the value at zero strain are given the level of the earliest flat stretch up to strain {}; the minimum, up to \
         strain {}, of the curve of the form with the largest weight without E₁ and E₂; and the strains at which that \
         curve last comes back {} and {} of the way from its minimum, with γ₀ + γ₄ for the contacts alone. These strains \
         are given only where the fall exceeds {} times its standard uncertainty and the contact share {} times. A stretch \
         is flat if, over a ratio of strains of at least {}, its slope against ln Γ is less than {} standard uncertainties \
         and the viscosity changes by less than {}.",
        setting(secondary.plateau_end),
        setting(secondary.minimum_end),
        setting_percent(rules::RECOVERED[0]),
        setting_percent(rules::RECOVERED[1]),
        multiple(secondary.significant_fall),
        setting(rules::TWO_SIDED),
        setting(secondary.plateau_ratio),
        setting(rules::TWO_SIDED),
        setting_percent(secondary.plateau_change)
    );
    let mut out = vec![say(text, &["stages.reversal.secondary"])];
    let grid = settings.reversal.sensitivity.on();
    out.extend(grid.into_iter().flat_map(|grid| sensitivity(grid, settings.clean.spike.on().is_some())));
    out
}

/// Under which other settings every contact share was read once more; `spikes`: whether any are excluded.
fn sensitivity(sensitivity: &Sensitivity, spikes: bool) -> Vec<Sentence> {
    let values = |list: &[f64]| listed(list.iter().map(|x| setting(*x)));
    let part = |what: &str, list: &[f64]| (!list.is_empty()).then(|| format!("{what} {}", values(list)));
    let parts = [
        part("the first usable strain times", &sensitivity.dead_strain),
        part("a window before of strain", &sensitivity.window),
        part("the widths of the priors times", &sensitivity.prior_width),
        part("the widths of the bins times", &sensitivity.bin_width),
        sensitivity.without_release.then(|| "no form with an elastic release".to_owned()),
        (sensitivity.with_spikes && spikes).then(|| "the readings that count as spikes".to_owned()),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    let text = if parts.is_empty() {
        "No contact share was determined again under other settings.".to_owned()
    } else {
        format!(
            "Sensitivity to analysis choices: every contact share was determined again with {}, one at a time.",
            parts.join("; with ")
        )
    };
    let mut out = vec![say(text, &["stages.reversal.sensitivity"])];
    out.extend((!parts.is_empty()).then(other_readings));
    out
}

/// What else is read from the same traces, beside the grid.
fn other_readings() -> Sentence {
    say(
        format!(
            "Beside these stand every form of the recovery alone, where its weight is at least {}; a straight line \
             through the strains from {} to {}, drawn back to zero; and states with reversals of grade A only, or of \
             grade C as well, the ends of the rise staying where they are. A verdict must stand under all of these. The early plateau and the minimum are other \
             quantities: they are shown with them and decide nothing.",
            setting(LEAST_FORM_WEIGHT),
            setting(*LINE_STRAIN.start()),
            setting(*LINE_STRAIN.end())
        ),
        &["stages.reversal.sensitivity", "stages.reversal.states"],
    )
}

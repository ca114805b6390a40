//! Captions and alternative texts of figures: what is shown, how many, what the bars mean. Counts come from the
//! same results that are drawn.

use super::control::few;
use super::typical::Chosen;
use crate::tables::reversals::share_at_minimum;
use crate::text::numbers::{plain, plus_minus, setting, significant};
use crate::text::quantities;
use crate::text::words::{among, capital, counted, listed, multiple, number, part_of, shortened};
use stages::earlier_results::result::{Agreement, DIFFERS_BEYOND, EarlierRow, Outcome};
use stages::fit::result::Fits;
use stages::reversal::result::{Control, Estimate};
use stages::states::result::{Interval, MOST_OF_THE_RISE, State, StudyReversal};

/// What bars are, where there are any.
fn bars(there: bool) -> &'static str {
    if there { "Bars: 95 % intervals." } else { "No interval is known, so that there are no bars." }
}

fn has_bars(interval: Option<Interval>) -> bool {
    interval.is_some_and(|i| i.low.is_some() && i.high.is_some())
}

/// Title of the viscosity figure of a sample.
pub fn viscosity_title(sample: &str) -> String {
    format!("Viscosity of {sample} against shear stress")
}

fn stretch(states: &[&State]) -> String {
    let stresses: Vec<f64> = states.iter().filter_map(|s| s.stress_pa.map(|i| i.value)).collect();
    let (low, high) = stresses.iter().fold((f64::INFINITY, 0.0_f64), |(a, b), s| (a.min(*s), b.max(*s)));
    format!("{} Pa to {} Pa", plain(low), plain(high))
}

/// Title of the figure of an earlier table's column.
pub fn earlier_results_title(column: &str) -> String {
    format!("Earlier numbers against new ones: {}", quantities::in_words(column))
}

/// Caption and alternative text of an earlier table's column.
pub fn earlier_results(column: &str, rows: &[&EarlierRow], agreement: &Agreement) -> (String, String) {
    let of = |outcome| rows.iter().filter(|row| row.outcome == outcome).count() as u64;
    let name = rows.first().map_or("", |row| row.name.as_str());
    let (matched, differ) = (of(Outcome::Matched), of(Outcome::Differs));
    let column = quantities::in_words(column);
    let alone = [(of(Outcome::OnlyOld), "earlier table"), (of(Outcome::OnlyNew), "study")];
    let alone = alone.iter().filter(|(n, _)| *n > 0).map(|(n, place)| format!("; {} only in the {place}", number(*n)));
    let mut text = format!(
        "{} of the earlier table \u{201c}{name}\u{201d} against the values from the raw exports: {}, of which {} (filled) by \
         more than {} standard uncertainties{}. (a) With the identity line; bars: 95 % intervals. (b) Earlier minus new \
         value against their mean",
        capital(&column),
        counted(matched + differ, "pair"),
        if differ == 1 {
            "one differs".to_owned()
        } else {
            format!("{} differ", if differ == 0 { "none".to_owned() } else { number(differ) })
        },
        multiple(DIFFERS_BEYOND),
        alone.collect::<String>()
    );
    let limits = agreement.bias.zip(agreement.low).zip(agreement.high);
    let said = limits.map(|((bias, low), high)| {
        format!(
            "bias {} and limits of agreement {} to {}",
            significant(bias, 2),
            significant(low, 2),
            significant(high, 2)
        )
    });
    match &said {
        Some(said) => text.push_str(&format!(", with {said}, which hold 95 % of differences (Bland & Altman 1986).")),
        None => text.push_str("; there are too few pairs for limits of agreement."),
    }
    let alt = format!(
        "Two plots of {column}: {} agree, {} not{}.",
        counted(matched, "earlier number"),
        number(differ),
        said.map_or_else(String::new, |said| format!("; {said}"))
    );
    (text, alt)
}

/// Caption of the viscosity figure of a sample.
pub fn viscosity(sample: &str, states: &[&State]) -> String {
    let resolved = states.iter().filter(|s| s.contact_share.is_some()).count();
    let bounds = states.iter().filter(|s| s.contact_share.is_none() && s.contact_share_bound.is_some()).count();
    let mut text = format!(
        "{sample}: steady viscosity, the part that stays at reversal (hydrodynamic) and the part that vanishes \
         (contact); {}. {}",
        resolved_of(resolved, states.len()),
        bars(states.iter().any(|s| has_bars(s.viscosity_pa_s) || has_bars(s.contact_viscosity_pa_s)))
    );
    if resolved < states.len() {
        text.push_str(" Open circles: not resolved.");
    }
    if bounds > 0 {
        text.push_str(" Arrows: contacts carry at least, the liquid at most, this much.");
    }
    text
}

/// `eight states, all resolved`, `three of eight states resolved`.
fn resolved_of(resolved: usize, all: usize) -> String {
    match (resolved, all) {
        (1, 1) => "one state, resolved".to_owned(),
        (r, n) if r == n => format!("{}, all resolved", counted(n as u64, "state")),
        (r, n) => format!("{} resolved", part_of(r as u64, n as u64, "state")),
    }
}

/// Alternative text of the viscosity figure of a sample.
pub fn viscosity_alt(sample: &str, states: &[&State]) -> String {
    let ends = [states.first(), states.last()].map(|s| s.and_then(|s| s.viscosity_pa_s));
    let change = match ends {
        [Some(a), Some(b)] => {
            format!("; the total goes from {} to {} Pa s", plus_minus(a.value, a.u), plus_minus(b.value, b.u))
        }
        _ => String::new(),
    };
    format!("Log-log plot of the viscosity of {sample} and its two parts from {}{change}.", stretch(states))
}

/// Said where samples are too many for one panel.
pub fn panels(n: usize) -> String {
    if n < 2 { String::new() } else { format!(" The samples stand in {} panels with the same axes.", number(n as u64)) }
}

/// Caption and alternative text of the contact shares of all samples.
pub fn contact_share(states: &[State]) -> (String, String) {
    let resolved = states.iter().filter(|s| s.contact_share.is_some()).count();
    let bounds = states.iter().filter(|s| s.contact_share.is_none() && s.contact_share_bound.is_some()).count();
    let nothing = states.len() - resolved - bounds;
    let mut text = format!("Contact share against shear stress: {} with a value.", counted(resolved as u64, "state"));
    if bounds > 0 {
        text.push_str(&format!(" Arrows upward: {} known only to lie above a bound.", counted(bounds as u64, "state")));
    }
    if nothing > 0 {
        text.push_str(&format!(" Not shown: {} without information.", counted(nothing as u64, "state")));
    }
    let bars = bars(states.iter().any(|s| has_bars(s.contact_share)));
    text.push_str(&format!(" {bars} Thin lines join the states of a sample and are no fit."));
    let all: Vec<&State> = states.iter().collect();
    let alt = format!("Contact share between 0 and 1 against stress on a log axis, {}.", stretch(&all));
    (text, alt)
}

/// Caption and alternative text of the typical reversal.
pub fn typical(chosen: Chosen<'_>, share: Estimate) -> (String, String) {
    let reversal = chosen.reversal;
    let (identity, read) = (&reversal.identity, &reversal.graded.read);
    let at = reversal.set_point.as_ref().map_or_else(String::new, |s| format!(" at {s}"));
    let bins = read.after.as_ref().map_or(0, |a| a.bins.len());
    let dead = read.dead.first_usable();
    let left_out = if dead > 0.0 {
        format!(
            " Shaded: strain below {}, which does not enter the value.{}",
            significant(dead, 2),
            within(&[reversal])
        )
    } else {
        String::new()
    };
    let text = format!(
        "A typical reversal: {}, {}{at}, loading {}, grade {}; {}. Circles: viscosity over its steady value before the reversal, {} with standard \
         uncertainty as bars. Line: fitted curve of the form with the largest weight. Diamond and horizontal line: \
         value at zero strain, averaged over forms, with its 95 % interval, so that the contact share is {}. \
         Triangle: minimum of the curve.{left_out} (a) Linear and (b) logarithmic strain; (c) trace less curve over the \
         standard uncertainty of each bin.",
        reversal.reversal,
        identity.sample,
        identity.loading,
        reversal.graded.grade.name(),
        chosen_among(chosen),
        counted(bins as u64, "strain bin"),
        plus_minus(share.value, share.u),
    );
    let text = format!("{text}{}", secondary(reversal));
    let zero = plus_minus(1.0 - share.value, share.u);
    let alt = format!(
        "Viscosity after a reversal relative to before: it drops to {zero} at once and recovers over a strain of {}.",
        read.after.as_ref().and_then(|a| a.recovery_strain).map_or_else(|| "unknown size".to_owned(), plain)
    );
    (text, alt)
}

/// What circles in the shade mean, if there are any: the control's time came after the curve was fitted.
fn within(reversals: &[&StudyReversal]) -> &'static str {
    let shaded = |r: &&StudyReversal| {
        let dead = r.graded.read.dead.first_usable();
        r.graded.read.after.iter().flat_map(|a| &a.bins).any(|bin| bin.0 < dead)
    };
    if reversals.iter().any(shaded) {
        " Circles in the shade, where the control is not back yet, enter the curve but not the value."
    } else {
        ""
    }
}

/// Why this reversal is the one that is shown.
fn chosen_among(chosen: Chosen<'_>) -> String {
    let of = match (chosen.thickens, chosen.at_high_end) {
        (true, true) => "at the upper end of the rise of the viscosity",
        (true, false) => "of samples whose viscosity rises",
        (false, _) => "of the study, in which no sample is shown to thicken",
    };
    match chosen.peers {
        1 => format!("it is the only one of its grade {of}"),
        n => format!("of the {} of its grade {of}, the one whose uncertainty is the median", number(n as u64)),
    }
}

/// What the two other measurands would give.
fn secondary(reversal: &StudyReversal) -> String {
    let plateau = reversal.graded.read.after.as_ref().and_then(|a| a.plateau);
    let plateau = plateau.map(|p| format!("the early plateau gives {}", significant(p.1, 2)));
    let minimum = share_at_minimum(reversal).map(|x| format!("the minimum gives {}", significant(x, 2)));
    let both = listed(plateau.into_iter().chain(minimum));
    if both.is_empty() { String::new() } else { format!(" As contact share, {both}.") }
}

/// Caption and alternative text of the control.
pub fn control(control: &Control, shown: &[&StudyReversal]) -> (String, String) {
    let share = match control.contact_share {
        Some(x) => format!("Mean apparent contact share: {}, which should be zero.", plus_minus(x.value, x.u)),
        None => "None of these reversals is resolved, so no apparent contact share is given.".to_owned(),
    };
    let dead = match control.dead_time_s {
        Some(t) => format!(" Shaded: {} s, after which the torque is back at its steady value.", significant(t, 2)),
        None => " The time in which the torque comes back could not be told.".to_owned(),
    };
    let on = shown.first().map_or_else(String::new, |r| {
        format!(" on instrument {} with geometry {}", r.identity.instrument, r.identity.geometry)
    });
    let ratios = if few(shown) {
        "Bars: standard uncertainties."
    } else {
        "Circles: medians of all reversals in an eighth of a decade; bars: the middle half."
    };
    let text = format!(
        "The control, a Newtonian liquid under the same protocol{on}: {} in {}. (a) Apparent viscosity over its steady \
         value before. {ratios} (b) Deviation of the torque from its steady value, in per cent of it: medians over all \
         reversals and the middle half; the vertical axis leaves out what lies in the turn itself. {share}{dead}",
        counted(shown.len() as u64, "reversal"),
        shortened(control.runs.iter().cloned()),
    );
    (text, format!("Control reversals in two panels. {share}"))
}

/// Title of the atlas of a sample.
pub fn atlas_title(sample: &str) -> String {
    format!("All reversals of {sample}")
}

/// Caption and alternative text of the atlas of a sample.
pub fn atlas(sample: &str, reversals: &[&StudyReversal]) -> (String, String) {
    let grade = |name: &str| reversals.iter().filter(|r| r.graded.grade.name() == name).count();
    let grades: Vec<String> =
        ["A", "B", "C", "F"].iter().filter(|g| grade(g) > 0).map(|g| format!("{} {g}", grade(g))).collect();
    let undrawn = match reversals.iter().filter(|r| r.graded.read.after.is_none()).count() {
        0 => String::new(),
        n => format!(" Not drawn: {} of which nothing could be read.", counted(n as u64, "reversal")),
    };
    let text = format!(
        "Reversals of {sample}: {} (grades: {}). Across: strain since reversal. Up: viscosity over its steady \
         value before. Circles: binned trace; line: fitted curve; shaded: strain that does not enter the value; diamond \
         on the left edge, where resolved: value at zero strain with its 95 % interval. Above each: name, set-point, \
         grade, sample, loading.{}{undrawn}",
        counted(reversals.len() as u64, "reversal"),
        grades.join(", "),
        within(reversals),
    );
    let alt = format!("{} of {sample} in small panels.", counted(reversals.len() as u64, "reversal"));
    (text, alt)
}

/// Names of the models that have a curve, each once.
fn models<'a>(names: impl Iterator<Item = &'a String>) -> String {
    let mut seen: Vec<&str> = Vec::new();
    for name in names {
        let name = crate::text::models::name(name);
        if !seen.contains(&name) {
            seen.push(name);
        }
    }
    listed(seen.into_iter().map(ToOwned::to_owned))
}

/// Caption and alternative text of the flow curves.
pub fn flow_curves((states, with_bars): (usize, bool), samples: &[String], fits: &Fits) -> (String, String) {
    let shown = format!("{} of {}", counted(states as u64, "state"), counted(samples.len() as u64, "sample"));
    let bare = samples.iter().filter(|sample| !fits.flow_curves.iter().any(|c| c.sample == **sample));
    let bare: Vec<String> = bare.cloned().collect();
    let bare = if bare.is_empty() { String::new() } else { among(&bare, samples, "sample") };
    let lines = if fits.flow_curves.is_empty() {
        "No fitted curve is shown.".to_owned()
    } else {
        let models = models(fits.flow_curves.iter().map(|c| &c.model));
        let none = if bare.is_empty() { bare } else { format!(" No curve was fitted to {bare}.") };
        format!("Lines: fit of {models} at the stated solid fraction of each sample; bands: 95 % of the fit.{none}")
    };
    let text = format!("Relative viscosity against shear stress, {shown}. {} {lines}", bars(with_bars));
    (text, format!("Log-log plot of relative viscosity against stress, {shown}. {lines}"))
}

/// Caption and alternative text of the flow-state diagram.
pub fn flow_state(fits: &Fits) -> (String, String) {
    let shown = counted(fits.flow_states.len() as u64, "state");
    let minded = fits.flow_states.iter().filter(|s| s.remark.is_some()).count();
    let open =
        if minded == 0 { "" } else { " Open markers: states on or near a branch that is unstable at a held rate." };
    let text = format!(
        "Flow states of the fitted thickening law, {shown}. Lines: stresses at which the rate has its maximum and its \
         minimum, and beyond which the suspension is jammed. Thin lines: onset stress and the jamming fractions with \
         and without friction.{open}"
    );
    (text, format!("Borders of flow states over solid fraction and stress, logarithmic, with {shown}."))
}

/// Caption and alternative text of the residuals.
pub fn residuals(states: usize) -> (String, String) {
    let shown = counted(states as u64, "state");
    let text = format!(
        "Residuals of the thickening law, {shown}: the logarithm of the measured over the fitted relative viscosity, \
         divided by its own standard deviation; what a state shares with others is subtracted. Thin lines: 95 % of a \
         normal error. (a) Against the shear stress, (b) against the leverage, which is the part that a state has in \
         its own fitted value."
    );
    (text, format!("Two panels of residuals of {shown}, against stress and against leverage."))
}

/// Caption and alternative text of the relative viscosity against the solid fraction.
pub fn relative_viscosity(points: usize, fits: &Fits) -> (String, String) {
    let lines = if fits.law_curves.is_empty() {
        "No fitted law is shown.".to_owned()
    } else {
        format!(
            "Lines: {}; bands: 95 % of the fit, as far as its error can be carried linearly; thin upright lines: the \
             solid fractions at which the laws diverge.",
            models(fits.law_curves.iter().map(|c| &c.model))
        )
    };
    let text = format!(
        "Relative viscosity against solid volume fraction at the lowest (open) and at the highest stress (filled) of \
         each sample, {}. Bars: 95 % intervals of both. {lines}",
        counted(points as u64, "point")
    );
    (text, format!("Relative viscosity, logarithmic, rises with the solid fraction. {lines}"))
}

/// Caption and alternative text of the sensitivity to choices: samples, and rows of each.
pub fn sensitivity(samples: usize, rows: usize) -> (String, String) {
    let samples = counted(samples as u64, "sample");
    let others = counted(rows.saturating_sub(1) as u64, "choice");
    let text = format!(
        "Sensitivity to analysis choices: {samples} under the settings in force (filled) and under {others} that are \
         equally defensible (open), sorted by the share of the rise; squares are other quantities of the same name, which \
         do not affect the verdict. Shaded: interval under the settings in force. Line: {}, where the verdict turns. \
         Bars: 95 % intervals.",
        setting(MOST_OF_THE_RISE)
    );
    (text, format!("Sorted points with bars: share of the rise and contact share of {samples} under {others}."))
}

/// Caption and alternative text of the budget.
pub fn budget(bars: usize, samples: usize) -> (String, String) {
    let shown = format!("{} of {}", counted(bars as u64, "quantity"), counted(samples as u64, "sample"));
    let text = format!(
        "Sources of the variance: {shown}. The parts of each bar add up to the variance of the quantity, which is named on \
         the left with its standard uncertainty. Numbers in the parts refer to the legend."
    );
    (text, format!("Stacked bars: parts of the variance of {shown} by kind of source."))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_states_read_well() {
        assert_eq!(resolved_of(1, 1), "one state, resolved");
        assert_eq!(resolved_of(8, 8), "eight states, all resolved");
        assert_eq!(resolved_of(7, 8), "seven of eight states resolved");
        assert_eq!(resolved_of(0, 12), "none of 12 states resolved");
    }

    #[test]
    fn an_earlier_table_is_told_without_names_of_columns() {
        let agreement = Agreement { column: "viscosity_pa_s".into(), pairs: 2, bias: None, low: None, high: None };
        let row = |outcome| EarlierRow {
            name: "thesis".into(),
            row: "a".into(),
            column: "viscosity_pa_s".into(),
            old: Some(1.0),
            u_old: None,
            new: Some(1.0),
            u_new: None,
            difference: Some(0.0),
            in_u: None,
            outcome,
        };
        let rows = [row(Outcome::Matched), row(Outcome::Differs), row(Outcome::OnlyOld)];
        let (text, alt) = earlier_results("viscosity_pa_s", &rows.iter().collect::<Vec<_>>(), &agreement);
        assert!(
            text.starts_with(
                "Viscosity in Pa s of the earlier table “thesis” against the values from the raw exports: two pairs, of which one \
                 differs (filled) by more than two standard uncertainties; one only in the earlier table. (a)"
            ),
            "{text}"
        );
        assert!(!text.contains('_') && !alt.contains('_'), "{text} {alt}");
    }
}

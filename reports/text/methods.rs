//! The methods text: sentences made from the settings in force and from counts. A rule that is switched off, and a
//! step that is left out, has no sentence. Every sentence names the settings or counts that it rests on.

use super::cleaning;
use super::exports;
use super::geometries;
use super::liquids;
use super::numbers::{count, setting, setting_percent, significant, whole};
use super::transient;
use serde::{Deserialize, Serialize};
use stages::clean::params::Params as Clean;
use stages::fit::params::{Loss, ModelName, Params as Fit};
use stages::fit::rules;
use stages::ingest::params::Params as Ingest;
use stages::numerics::interval::PART_POWER;
use stages::numerics::least_squares::INDEPENDENT;
use stages::physics::liquids::Composition;
use stages::physics::models::{self, Model, Subject};
use stages::references;
use stages::reversal::params::{Choices, Fit as Curve, Params as Reversal};
use stages::reversal::result::JudgedRun;
use stages::states::params::{Ends, Params as StatesParams};
use stages::states::result::{LEAST_FORM_WEIGHT, LINE_STRAIN, States};
use stages::uncertainty::params::Params as Uncertainty;

/// The settings of all stages, as they are in force.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct InForce {
    /// `stages.ingest`.
    pub ingest: Ingest,
    /// `stages.clean`.
    pub clean: Clean,
    /// `stages.reversal`, the settings of states included.
    pub reversal: Reversal,
    /// `stages.fit`.
    pub fit: Fit,
    /// `stages.uncertainty`.
    pub uncertainty: Uncertainty,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Nothing told loadings apart for some exports: each export counts as a loading of its own.
    pub loading_per_export: bool,
    /// Liquids whose viscosity follows from their composition, by name.
    pub computed_liquids: Vec<(String, Composition)>,
    /// Whether an inertia is known for any instrument or geometry in use.
    pub inertia_known: bool,
    /// Whether any geometry in use is parallel plates.
    pub plates: bool,
    /// Whether any geometry in use is a cone and plate.
    pub cones: bool,
    /// Whether any geometry in use is concentric cylinders.
    pub cylinders: bool,
    /// Whether any export in use gives the angle of the moving part.
    pub angles: bool,
    /// Whether any export in use tells its steps by nothing but a set-point.
    pub steps_by_set_point: bool,
    /// Whether any export in use gives both stress and torque.
    pub stress_and_torque: bool,
    /// Whether any export in use gives stress and no torque.
    pub stress_exported: bool,
    /// Whether the solid fraction of any sample follows from masses.
    pub weighed: bool,
}

/// A sentence with what it rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sentence {
    /// The sentence, with its stop.
    pub text: String,
    /// Paths of settings, or `count` of what.
    pub from: Vec<String>,
    /// Keys of sources that it cites.
    pub cites: Vec<&'static str>,
}

/// A paragraph of the methods text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paragraph {
    /// Its heading.
    pub title: &'static str,
    /// A formula above its sentences and a table below them.
    pub given: Option<Given>,
    /// Its sentences.
    pub sentences: Vec<Sentence>,
}

/// A formula, and the numbers in it as a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Given {
    /// The formula; `^` stands before a power of one character.
    pub formula: &'static str,
    /// What the table is.
    pub caption: &'static str,
    /// Its heads.
    pub columns: &'static [&'static str],
    /// Its cells.
    pub rows: Vec<Vec<String>>,
}

pub(super) fn say(text: impl Into<String>, from: &[&str]) -> Sentence {
    Sentence { text: text.into(), from: from.iter().map(|f| (*f).to_owned()).collect(), cites: Vec::new() }
}

impl Sentence {
    /// The same with sources.
    pub(super) fn citing(mut self, keys: &[&'static str]) -> Self {
        self.cites.extend(keys);
        self
    }
}

/// The methods text of a study.
pub fn paragraphs(settings: &InForce, runs: &[JudgedRun], states: &States) -> Vec<Paragraph> {
    let paragraph = |title, sentences| Paragraph { title, given: None, sentences };
    let fit = &settings.reversal.fit;
    let curve = Paragraph { title: "The fitted curve", given: Some(transient::given(fit)), sentences: curve(fit) };
    let all = vec![
        paragraph("Liquids", liquids::sentences(&settings.computed_liquids)),
        paragraph("Readings", readings(settings, runs)),
        paragraph("Exclusions", exclusions(settings)),
        paragraph("Limits of the flow", cleaning::judged(&settings.clean, settings.plates)),
        paragraph("Before the reversal", before(settings)),
        paragraph("After the reversal", after(settings)),
        curve,
        paragraph("Beside the value at zero strain", beside(settings)),
        paragraph("Resolved or not, and grades", grades(settings)),
        paragraph("Control", control(settings, states)),
        paragraph("States and the share of the rise", hierarchy(settings, states)),
        paragraph("Fits", fits(&settings.fit)),
        paragraph("Uncertainty", uncertainty(settings)),
    ];
    all.into_iter().filter(|p| !p.sentences.is_empty()).collect()
}

fn readings(settings: &InForce, runs: &[JudgedRun]) -> Vec<Sentence> {
    let rows: u64 = runs.iter().map(|r| r.identity.rows).sum();
    let were = if runs.len() == 1 { "was" } else { "were" };
    let mut out = vec![say(
        format!("{} with {} {were} read.", count(runs.len() as u64, "raw export"), count(rows, "row")),
        &["count of runs", "count of rows"],
    )];
    out.extend(exports::sentences(settings));
    out.extend(geometries::sentences(settings));
    let clean = &settings.clean;
    out.push(
        say(
            format!(
                "Strain is that of the measured motion. Speed and acceleration come from a local quadratic over {}.",
                count(clean.derivative_readings as u64, "reading")
            ),
            &["stages.clean.derivative_readings"],
        )
        .citing(&["savitzky-1964"]),
    );
    if settings.inertia_known {
        out.push(say(
            "Where the inertia of instrument and geometry is known and the acceleration can be told, the torque that \
             it takes was subtracted.",
            &["instruments", "geometries", "stages.clean.instrument_inertia"],
        ));
    }
    if settings.loading_per_export {
        out.push(say(
            "Where the study does not tell loadings apart, each export counts as a loading of its own.",
            &["raw.loading"],
        ));
    }
    out
}

fn exclusions(settings: &InForce) -> Vec<Sentence> {
    let clean = &settings.clean;
    let mut out = vec![say("Readings are flagged with a reason and never deleted.", &["count of exclusions"])];
    let plain = [
        (clean.missing, "without torque, time or motion", "stages.clean.missing"),
        (clean.clock, "whose time goes back", "stages.clean.clock"),
        (clean.duplicate, "that repeat the time of the one before", "stages.clean.duplicate"),
    ];
    let on: Vec<_> = plain.into_iter().filter(|rule| rule.0).collect();
    if !on.is_empty() {
        let what = listed(on.iter().map(|rule| rule.1.to_owned())).replace(" and ", " or ");
        let from: Vec<&str> = on.iter().map(|rule| rule.2).collect();
        out.push(say(format!("Set aside were readings {what}."), &from));
    }
    out.extend(flags(clean));
    out.extend(cleaning::exclusions(settings));
    out
}

/// Sentences of the rules that can be switched off and have settings.
fn flags(clean: &Clean) -> Vec<Sentence> {
    let spike = clean.spike.on().map(|r| {
        let text = format!(
            "Up to {} in a row are a spike if they differ from the median of {} on either side by more than {} robust \
             standard deviations and by more than {}, or {} up to strain {} after a change of speed or sense; up to \
             strain {} only single readings can be one.",
            count(r.longest as u64, "reading"),
            count(r.window as u64, "reading"),
            setting(r.threshold),
            setting_percent(r.least),
            setting_percent(r.least_in_transient),
            setting(r.transient_strain),
            setting(r.single_strain)
        );
        say(text, &["stages.clean.spike"]).citing(&["hampel-1974"])
    });
    let floor = clean.below_torque_floor.on().map(|r| {
        let text = format!(
            "Stretches whose median torque lies below {} times the instrument's smallest torque are set aside, never \
             single readings.",
            setting(r.factor)
        );
        say(text, &["stages.clean.below_torque_floor"]).citing(&["ewoldt-2015"])
    });
    let ceiling = clean.above_torque_ceiling.on().map(|r| {
        let times = if r.factor == 1.0 { String::new() } else { format!("{} times ", setting(r.factor)) };
        let text =
            format!("Stretches whose median torque lies above {times}the instrument's largest torque are set aside.");
        say(text, &["stages.clean.above_torque_ceiling"])
    });
    let inertia = clean.instrument_inertia.on().map(|r| {
        let text = format!(
            "Readings are set aside where inertia takes more than {} of the sample torque, or where a change of speed \
             holds fewer than {}.",
            setting_percent(r.share),
            count(r.ramp_readings as u64, "reading")
        );
        say(text, &["stages.clean.instrument_inertia"]).citing(&["ewoldt-2015"])
    });
    let gap = clean.gap_too_narrow.on().map(|r| {
        let text = format!("A gap of fewer than {} particle diameters is remarked.", setting(r.diameters));
        say(text, &["stages.clean.gap_too_narrow"])
    });
    let edge = clean.edge_fracture.on().map(|r| {
        let text = format!(
            "A fall of the viscosity by more than {} that lasts to the end of a step, later than strain {} after a \
             change, counts as fracture of the edge.",
            setting_percent(r.fall),
            setting(r.transient_strain)
        );
        say(text, &["stages.clean.edge_fracture"])
    });
    [spike, floor, ceiling, inertia, gap, edge].into_iter().flatten().collect()
}

fn before(settings: &InForce) -> Vec<Sentence> {
    let (find, before) = (&settings.reversal.find, &settings.reversal.before);
    vec![
        say(
            format!(
                "A reversal is a change of sense with motion over a strain of at least {} and {} on either side; below \
                 {} of the slower of the two speeds the sample counts as standing still. The turning point of the \
                 motion is strain zero; a rate that changes by more than {} from one stretch to the next begins a new \
                 record of steady shear.",
                setting(find.strain),
                count(u64::from(find.readings), "reading"),
                setting_percent(find.rest),
                setting_percent(find.rate_change)
            ),
            &["stages.reversal.find"],
        ),
        say(
            format!(
                "The steady viscosity is read over a strain of {} before it, no less than {}, with the correlation of \
                 the noise allowed for; a window with fewer than {} reaches further back, but not into the first \
                 strain {} after a change of rate or sense, and needs {}.",
                setting(before.window),
                setting(before.shortest),
                count(u64::from(before.readings), "reading"),
                setting(before.settled),
                count(u64::from(before.fewest), "reading")
            ),
            &["stages.reversal.before"],
        ),
        say(
            format!(
                "Under a held rate the window begins once the speed is within {} of its level. The noise of ln η is that \
                 of the steady windows of a run: a white part and one that wanders over strain, from their variogram up \
                 to a lag of strain {}.",
                setting_percent(before.speed_band),
                setting(before.noise_lag)
            ),
            &["stages.reversal.before.speed_band", "stages.reversal.before.noise_lag"],
        ),
        say(
            format!(
                "The stretch before counts as not steady if its viscosity drifts significantly by more than {} over that \
                 window, or if the value to which it recovers past strain {} differs significantly by more than {}; \
                 steadiness is not shown where the drift is known to no better than {}.",
                setting_percent(before.drift),
                setting(before.recovery_strain),
                setting_percent(before.recovery),
                setting_percent(before.drift_uncertainty)
            ),
            &["stages.reversal.before"],
        ),
    ]
}

/// From which reading on a trace is used.
fn usable(settings: &InForce) -> Sentence {
    let dead = &settings.reversal.dead;
    let inertia = settings.clean.instrument_inertia.on().map_or_else(String::new, |rule| {
        format!("inertia takes less than {} of the sample torque, and ", setting_percent(rule.share))
    });
    let text = format!(
        "Readings after the turn are used once the speed is within {} of its later value, {inertia}{} times the time \
         that momentum needs to cross the gap have passed.",
        setting_percent(dead.speed_band),
        setting(dead.diffusion)
    );
    say(text, &["stages.reversal.dead", "stages.clean.instrument_inertia"]).citing(&["ewoldt-2015"])
}

fn after(settings: &InForce) -> Vec<Sentence> {
    vec![
        usable(settings),
        say(
            "The contact share is one less the ratio of the viscosity at zero strain, H of the fitted curve, to the \
             steady one before.",
            &["stages.reversal.fit"],
        )
        .citing(&["gadala-maria-1980", "lin-2015"]),
    ]
}

fn curve(fit: &Curve) -> Vec<Sentence> {
    let mut out = transient::sentences(fit);
    out.push(
        say(
            "Where no form fits the trace within the noise, its uncertainty is widened by the root of the sum of \
             squares per degree of freedom.",
            &["stages.reversal.fit"],
        )
        .citing(&["birge-1932"]),
    );
    out
}

fn beside(settings: &InForce) -> Vec<Sentence> {
    let beside = &settings.reversal.beside;
    let text = format!(
        "Beside the value at zero strain are given the mean over an early flat stretch up to strain {}, the minimum up to \
         strain {}, and the strains of recovery, these only where the fall exceeds {} times its standard uncertainty. A \
         stretch is flat if, over a ratio of strains of at least {}, its slope is not significant and the viscosity \
         changes by less than {}.",
        setting(beside.plateau_end),
        setting(beside.minimum_end),
        setting(beside.significant_fall),
        setting(beside.plateau_ratio),
        setting_percent(beside.plateau_change)
    );
    let mut out = vec![say(text, &["stages.reversal.beside"])];
    let grid = settings.reversal.choices.on();
    out.extend(grid.into_iter().flat_map(|grid| choices(grid, settings.clean.spike.on().is_some())));
    out
}

/// Under which other settings every contact share was read once more; `spikes`: whether any are set aside.
fn choices(choices: &Choices, spikes: bool) -> Vec<Sentence> {
    let values = |list: &[f64]| listed(list.iter().map(|x| setting(*x)));
    let part = |what: &str, list: &[f64]| (!list.is_empty()).then(|| format!("{what} {}", values(list)));
    let parts = [
        part("the first usable strain times", &choices.dead_strain),
        part("a window before of strain", &choices.window),
        part("the widths of the priors times", &choices.prior_width),
        part("the widths of the bins times", &choices.bin_width),
        choices.without_release.then(|| "no form with an elastic release".to_owned()),
        (choices.with_spikes && spikes).then(|| "the readings that count as spikes".to_owned()),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    let text = if parts.is_empty() {
        "No contact share was read once more under other settings.".to_owned()
    } else {
        format!(
            "To see what hangs on such choices, every contact share was read once more with {}, one at a time.",
            parts.join("; with ")
        )
    };
    let mut out = vec![say(text, &["stages.reversal.choices"])];
    out.extend((!parts.is_empty()).then(other_readings));
    out
}

/// What else is read from the same traces, beside the grid.
fn other_readings() -> Sentence {
    let (low, high) = LINE_STRAIN;
    say(
        format!(
            "Beside these stand every form of the recovery alone, where its weight is at least {}; a straight line \
             through the strains from {} to {}, drawn back to zero; and states with reversals of grade A only, or of \
             grade C as well. A verdict must stand under all of these. The early plateau and the minimum are other \
             quantities: they are shown with them and decide nothing.",
            setting(LEAST_FORM_WEIGHT),
            setting(low),
            setting(high)
        ),
        &["stages.reversal.choices", "stages.reversal.states"],
    )
}

fn grades(settings: &InForce) -> Vec<Sentence> {
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
                count(u64::from(resolved.early_bins), "strain bin")
            ),
            &["stages.reversal.resolved"],
        ),
        say(
            format!(
                "Otherwise only a bound is given, which assumes that the liquid's share falls by no more than {} after \
                 the reversal.",
                setting_percent(settings.reversal.beside.largest_dip)
            ),
            &["stages.reversal.beside.largest_dip"],
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
                setting(grade.torque_floors),
                setting_percent(grade.speed_unusable)
            ),
            &["stages.reversal.grade"],
        ),
        say(
            format!(
                "Grade B, remarked: standard uncertainty above {}, first usable strain above {}, strain after below \
                 {}, record before below strain {}, sum of squares per bin above {}, forms that differ by more than \
                 {} standard uncertainties, speeds that differ by more than {}. Grade A: all others.",
                setting(grade.uncertainty),
                setting(grade.dead_strain),
                setting(grade.strain_after),
                setting(grade.record_before),
                setting(grade.misfit),
                setting(grade.forms),
                setting_percent(grade.speed_remarked)
            ),
            &["stages.reversal.grade"],
        ),
    ]
}

fn control(settings: &InForce, states: &States) -> Vec<Sentence> {
    let reversals = states.reversals.iter().filter(|r| r.identity.control).count();
    if reversals == 0 {
        return vec![say(
            "The study has no control: what the instrument itself does after a turn is not known from measurement.",
            &["count of control reversals"],
        )];
    }
    let control = &settings.reversal.control;
    vec![
        say(
            format!(
                "A Newtonian liquid under the same protocol must show no drop; {} of it {} what the instrument does.",
                count(reversals as u64, "reversal"),
                if reversals == 1 { "tells" } else { "tell" }
            ),
            &["count of control reversals"],
        ),
        say(
            format!(
                "The time until its torque is back within {} standard uncertainties is not used in any run of that \
                 instrument and geometry{}. The control fails if its mean apparent contact share differs from zero by \
                 more than two standard uncertainties and by more than {}.",
                setting(control.back_within),
                later(settings),
                setting(control.failed_share)
            ),
            &["stages.reversal.control", "stages.reversal.choices.dead_strain"],
        ),
    ]
}

/// What becomes of a reversal in which the control comes back late.
fn later(settings: &InForce) -> String {
    let factors = settings.reversal.choices.on().map_or(&[][..], |c| &c.dead_strain);
    if factors.is_empty() {
        return ": a reversal that was read from an earlier strain on has no value".to_owned();
    }
    let factors = listed(factors.iter().map(|f| setting(*f))).replace(" and ", " or ");
    format!(
        ": a reversal that could be read from an earlier strain on is read again from {factors} times that strain on, \
         the first of these that is late enough, and has no value if none is; plateau, minimum and the drawn curve stay \
         those of the first reading"
    )
}

fn hierarchy(settings: &InForce, states: &States) -> Vec<Sentence> {
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

fn fits(fit: &Fit) -> Vec<Sentence> {
    if fit.skip || fit.models.is_empty() {
        return Vec::new();
    }
    let named: Vec<&dyn Model> = fit.models.iter().filter_map(|name| models::find(name.as_str())).collect();
    let of = |subject| named.iter().copied().filter(|m| m.subject() == subject).collect::<Vec<_>>();
    let groups = [Subject::Thickening, Subject::Packing, Subject::FlowCurve].map(of);
    let mut out: Vec<Sentence> = groups.iter().filter(|g| !g.is_empty()).map(|group| fitted(fit, group)).collect();
    out.push(minimised(fit));
    out.extend(robust(fit));
    out.extend(identified(fit));
    out.push(
        say(
            format!(
                "Explanations of the same data are weighed by the corrected Akaike criterion; its weights compare them \
                 with each other only, and one is called preferred from a weight of {}. The hydrodynamic part is called \
                 flat where its change over the stresses stays within ±{} at 95 % (own rules).",
                setting(rules::PREFERRED),
                setting_percent(rules::FLAT)
            ),
            &["stages.fit.models"],
        )
        .citing(&["akaike-1974", "hurvich-1989", "burnham-2002"]),
    );
    out
}

/// By which rules a parameter or a fit has a value.
fn identified(fit: &Fit) -> Vec<Sentence> {
    let digits = -stages::numerics::float::log10(INDEPENDENT);
    let parameter = format!(
        "Intervals of parameters end where the sum of squares, least over all others, has risen by what 95 % allow. A \
         parameter has no value on its bound, where that rise does not come on both sides, where the interval is wider \
         than ±{} for a solid fraction or reaches to a factor of {} either way for a scale (own rules), or where other \
         parameters take its place to {} digits (empirical); the condition number of each fit stands in the \
         table of models.",
        setting(rules::WIDEST_FRACTION),
        setting(rules::WIDEST_SCALE),
        significant(digits, 2),
    );
    let whole = format!(
        "A fit has none where the data miss the model by more than {} standard uncertainties on the average, or where \
         one state that chance puts so far off with a probability below {} moves a parameter by more than its standard \
         uncertainty (own rules); below a probability of {} the model is said not to fit.",
        setting(rules::MISSES),
        setting_percent(rules::WILD),
        setting_percent(rules::MISFIT)
    );
    let mut out =
        vec![say(parameter, &["stages.fit.models"]), say(whole, &["stages.fit.models"]).citing(&["baarda-1968"])];
    let about = |subject: Subject| {
        let is = |name: &ModelName| models::find(name.as_str()).is_some_and(|m| m.subject() == subject);
        fit.models.iter().any(is)
    };
    if about(Subject::Thickening) || about(Subject::Packing) {
        let text = format!(
            "A jamming fraction is remarked as implausible where its interval lies above the close packing of equal \
             spheres, {}, or below {} (own rule).",
            significant(rules::CLOSEST_PACKING, 4),
            setting(rules::LOOSEST_PACKING)
        );
        out.push(say(text, &["stages.fit.models"]));
    }
    if about(Subject::Thickening) {
        let text = format!(
            "The thickening law asks for {} solid fractions (own rule) and for a viscosity that follows the stress: that \
             none does must have a probability below {}, or, with one loading per state, one must change by {}. Advice \
             on amplitude and jamming fraction turns on whether the densest sample reaches {} of φ₀ (empirical).",
            rules::FEWEST_FRACTIONS,
            setting_percent(rules::CONSTANT),
            setting_percent(rules::SMALLEST_RISE),
            setting(rules::NEAR_JAMMING)
        );
        out.push(say(text, &["stages.fit.models"]));
    }
    out
}

/// One sentence for the models that are fitted to the same.
fn fitted(fit: &Fit, models: &[&dyn Model]) -> Sentence {
    let held = [("α", fit.alpha), ("β", fit.beta)];
    let held = listed(held.iter().filter_map(|(name, v)| v.map(|v| format!("{name} held at {}", setting(v)))));
    let what = match models[0].subject() {
        Subject::Thickening => {
            let with = if held.is_empty() { String::new() } else { format!(", {held}") };
            format!("to all samples of the same particles at all stresses at once{with}")
        }
        Subject::Packing => "against the solid fraction at either end of the rise".to_owned(),
        Subject::FlowCurve => "to the flow curve of each sample".to_owned(),
    };
    let titles = listed(models.iter().map(|m| m.title().to_owned()));
    let were = if models.len() == 1 { "model was" } else { "models were" };
    let sources: Vec<&'static str> = models.iter().map(|m| m.source()).filter(|s| !s.is_empty()).collect();
    say(format!("The {titles} {were} fitted {what}."), &["stages.fit.models", "stages.fit.alpha", "stages.fit.beta"])
        .citing(&sources)
}

fn minimised(fit: &Fit) -> Sentence {
    let from = setting(fit.loss_scale);
    let loss = match fit.loss {
        Loss::Squares => "squares of the residuals".to_owned(),
        Loss::SoftL1 => format!("a soft-L1 loss from {from} standard uncertainties on"),
        Loss::Huber => format!("Huber's loss from {from} standard uncertainties on"),
    };
    say(
        format!(
            "Fits minimise {loss} of the logarithm of the viscosity with their covariance; the solid fraction of a \
             sample moves within its uncertainty, and where the rate was held the error of the stress follows that of \
             the viscosity (effective variance), but a state keeps {} of its error at least (own rule). The scatter of \
             a loading is taken as {} at least (common practice).",
            setting_percent(rules::LEAST_MOVE),
            setting_percent(rules::SMALLEST_SCATTER)
        ),
        &["stages.fit.loss", "stages.fit.loss_scale"],
    )
    .citing(&["orear-1982"])
}

/// What uncertainties and criteria are where the loss is robust.
fn robust(fit: &Fit) -> Option<Sentence> {
    let text = "Uncertainties are those of an M-estimate, from the variance of its pseudo-values and never below that of \
                normal errors; states that the loss pulls at less than fully stand with their weights in the residuals, \
                and no criterion weighs models of the viscosity.";
    (fit.loss != Loss::Squares).then(|| say(text, &["stages.fit.loss"]).citing(&["huber-1964", "huber-1981"]))
}

fn uncertainty(settings: &InForce) -> Vec<Sentence> {
    let mut out = vec![
        say(
            "Numbers are rounded to two significant digits of their standard uncertainty, which stands in brackets or \
             after ±.",
            &["count of printed numbers"],
        )
        .citing(&["jcgm-100"]),
    ];
    if !settings.uncertainty.skip {
        out.push(
            say(
                format!(
                    "Terms of instrument and sample were drawn {} times (seed {}), up to {} times where the ends of an \
                     interval had not settled to the printed digits, each draw shared by all reversals that it touches, \
                     and joined with the scatter of the data.",
                    whole(u64::from(settings.uncertainty.trials)),
                    settings.seed,
                    whole(u64::from(settings.uncertainty.most_trials))
                ),
                &["stages.uncertainty.trials", "stages.uncertainty.most_trials", "seed"],
            )
            .citing(&["jcgm-101"]),
        );
    }
    out
}

fn grade_name(params: &StatesParams) -> &'static str {
    use stages::states::params::LowestGrade;
    match params.lowest_grade {
        LowestGrade::A => "A",
        LowestGrade::B => "B",
        LowestGrade::C => "C",
    }
}

/// `a`, `a and b`, `a, b and c`.
pub fn listed(items: impl Iterator<Item = String>) -> String {
    let items: Vec<String> = items.collect();
    match items.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

/// Keys of the sources that are cited, in the order of the printed list.
pub fn cited(paragraphs: &[Paragraph]) -> Vec<&'static str> {
    let used = |key: &str| paragraphs.iter().flat_map(|p| &p.sentences).any(|s| s.cites.contains(&key));
    references::ALL.iter().map(|r| r.key).filter(|key| used(key)).collect()
}

/// Numbers of the sources of a sentence, by their place in `cited`, from 1.
pub fn numbers_of(sentence: &Sentence, cited: &[&str]) -> Vec<usize> {
    let found = sentence.cites.iter().filter_map(|key| cited.iter().position(|c| c == key));
    let mut found: Vec<usize> = found.map(|i| i + 1).collect();
    found.sort_unstable();
    found
}

/// The sentences of a paragraph in one text, sources as `[1, 2]` by their place in `cited`.
pub fn running_text(paragraph: &Paragraph, cited: &[&str]) -> String {
    let numbers = |s: &Sentence| numbers_of(s, cited).iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let sentence = |s: &Sentence| match numbers(s) {
        n if n.is_empty() => s.text.clone(),
        n => format!("{} [{n}].", s.text.trim_end_matches('.')),
    };
    paragraph.sentences.iter().map(sentence).collect::<Vec<_>>().join(" ")
}

/// A table in plain text.
fn pipes(given: &Given) -> String {
    let line = |cells: Vec<&str>| format!("| {} |\n", cells.join(" | "));
    let rows = given.rows.iter().map(|row| line(row.iter().map(String::as_str).collect()));
    let head = [line(given.columns.to_vec()), line(vec!["---"; given.columns.len()])];
    format!("\n{}{}\n{}\n", head.concat(), rows.collect::<String>(), given.caption)
}

/// The methods text as plain text with headings, and the sources.
pub fn markdown(paragraphs: &[Paragraph]) -> String {
    let cited = cited(paragraphs);
    let mut out = "# Methods\n".to_owned();
    for paragraph in paragraphs {
        out.push_str(&format!("\n## {}\n\n", paragraph.title));
        let given = paragraph.given.as_ref();
        out.push_str(&given.map_or_else(String::new, |given| format!("    {}\n\n", given.formula)));
        out.push_str(&format!("{}\n", running_text(paragraph, &cited)));
        out.push_str(&given.map_or_else(String::new, pipes));
    }
    if !cited.is_empty() {
        out.push_str("\n## Sources\n\n");
    }
    for (i, key) in cited.iter().enumerate() {
        out.push_str(&format!(
            "{}. {}\n",
            i + 1,
            references::find(key).map_or_else(String::new, references::Reference::printed)
        ));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use stages::settings::Rule;

    fn text(settings: &InForce) -> String {
        markdown(&paragraphs(settings, &[], &States::default()))
    }

    #[test]
    fn a_setting_changes_its_sentence() {
        let mut settings = InForce::default();
        settings.reversal.before.window = 3.25;
        assert!(text(&settings).contains("over a strain of 3.25 before"));
        settings.uncertainty.trials = 54_321;
        assert!(text(&settings).contains("drawn 54\u{202f}321 times"));
    }

    #[test]
    fn what_is_switched_off_is_not_told() {
        let mut settings = InForce::default();
        assert!(text(&settings).contains("spike") && text(&settings).contains("Wyart"));
        settings.clean.spike = Rule::Off;
        settings.fit.skip = true;
        settings.uncertainty.skip = true;
        let text = text(&settings);
        assert!(!text.contains("spike") && !text.contains("Hampel"), "{text}");
        assert!(!text.contains("Wyart") && !text.contains("Fits") && !text.contains("were drawn"));
    }

    #[test]
    fn every_sentence_rests_on_something_and_every_source_is_known() {
        let settings = InForce { inertia_known: true, loading_per_export: true, ..InForce::default() };
        for sentence in paragraphs(&settings, &[], &States::default()).iter().flat_map(|p| &p.sentences) {
            assert!(!sentence.from.is_empty(), "{}", sentence.text);
            assert!(sentence.text.ends_with('.'), "{}", sentence.text);
            assert!(sentence.cites.iter().all(|key| references::find(key).is_some()), "{}", sentence.text);
        }
    }
}

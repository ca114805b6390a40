//! The methods text: sentences made from the settings in force and from counts. A rule that is switched off, and a
//! step that is left out, has no sentence. Every sentence names the settings or counts that it rests on.

use super::liquids;
use super::numbers::{count, setting, setting_percent, whole};
use serde::{Deserialize, Serialize};
use stages::clean::params::Params as Clean;
use stages::fit::params::{Model, Params as Fit};
use stages::ingest::params::Params as Ingest;
use stages::physics::liquids::Composition;
use stages::references;
use stages::reversal::params::Params as Reversal;
use stages::reversal::result::JudgedRun;
use stages::states::params::Params as StatesParams;
use stages::states::result::States;
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
    /// Its sentences.
    pub sentences: Vec<Sentence>,
}

fn say(text: impl Into<String>, from: &[&str]) -> Sentence {
    Sentence { text: text.into(), from: from.iter().map(|f| (*f).to_owned()).collect(), cites: Vec::new() }
}

impl Sentence {
    fn citing(mut self, keys: &[&'static str]) -> Self {
        self.cites.extend(keys);
        self
    }
}

/// The methods text of a study.
pub fn paragraphs(settings: &InForce, runs: &[JudgedRun], states: &States) -> Vec<Paragraph> {
    let paragraph = |title, sentences| Paragraph { title, sentences };
    let all = vec![
        paragraph("Liquids", liquids::sentences(&settings.computed_liquids)),
        paragraph("Readings", readings(settings, runs)),
        paragraph("Exclusions", exclusions(&settings.clean)),
        paragraph("Before the reversal", before(settings)),
        paragraph("After the reversal", after(settings)),
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
    let mut out = vec![say(
        format!("{} with {} were read.", count(runs.len() as u64, "raw export"), count(rows, "row")),
        &["count of runs", "count of rows"],
    )];
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

fn exclusions(clean: &Clean) -> Vec<Sentence> {
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
    out
}

/// Sentences of the rules that can be switched off and have settings.
fn flags(clean: &Clean) -> Vec<Sentence> {
    let spike = clean.spike.on().map(|r| {
        let text = format!(
            "A reading is a spike if it differs from the median of {} on either side by more than {} robust standard \
             deviations and by more than {}; the strain up to {} after a change of speed is left alone.",
            count(r.window as u64, "reading"),
            setting(r.threshold),
            setting_percent(r.least),
            setting(r.transient_strain)
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
        let text = format!("Stretches whose median torque lies above {times}its largest torque are set aside.");
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
                "A reversal is a change of sense with motion over a strain of at least {} and {} on either side; the \
                 turning point of the motion is strain zero.",
                setting(find.strain),
                count(u64::from(find.readings), "reading")
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
                "It counts as not steady if it drifts significantly by more than {} over that window, or if the value \
                 to which it recovers past strain {} differs significantly by more than {}; steadiness is not shown \
                 where the drift is known to no better than {}.",
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
    let (fit, beside) = (&settings.reversal.fit, &settings.reversal.beside);
    let forms = match (fit.release, fit.delay) {
        (true, true) => "with and without an elastic release, with and without a delay of the return of contacts",
        (true, false) => "with and without an elastic release",
        (false, true) => "with and without a delay of the return of contacts",
        (false, false) => "of one kind",
    };
    vec![
        usable(settings),
        say(
            format!(
                "The contact share is one less the ratio of the viscosity at zero strain to the steady one before. \
                 The value at zero strain comes from fits to the binned trace of forms {forms}, averaged by their \
                 weights; their spread is part of its uncertainty.",
            ),
            &["stages.reversal.fit"],
        )
        .citing(&["gadala-maria-1980", "lin-2015", "ness-2016"]),
        say(
            "Where no form fits the trace within the noise, its uncertainty is widened by the root of the sum of \
             squares per degree of freedom.",
            &["stages.reversal.fit"],
        )
        .citing(&["birge-1932"]),
        say(
            format!(
                "Beside it are given the mean over an early flat stretch up to strain {}, the minimum up to strain {}, \
                 and the strains of recovery, these only where the fall exceeds {} times its standard uncertainty.",
                setting(beside.plateau_end),
                setting(beside.minimum_end),
                setting(beside.significant_fall)
            ),
            &["stages.reversal.beside"],
        ),
    ]
}

fn grades(settings: &InForce) -> Vec<Sentence> {
    let (resolved, grade) = (&settings.reversal.resolved, &settings.reversal.grade);
    vec![
        say(
            format!(
                "A reversal is resolved if its first usable strain is at most {}, the standard uncertainty of its \
                 contact share at most {}, the share itself at least {} and below one, and at least {} lie below \
                 strain 0.1.",
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
                "Grade F, not usable: nothing steady before, aborted below strain {}, below {} torque floors, speeds \
                 before and after that differ by more than {}, or set aside by hand. Grade C, shown only: not \
                 resolved, not steady or not shown to be, the control failed, or the torque fell for good.",
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
                "A Newtonian liquid under the same protocol must show no drop; {} of it tell what the instrument does.",
                count(reversals as u64, "reversal")
            ),
            &["count of control reversals"],
        ),
        say(
            format!(
                "The time until its torque is back within {} standard uncertainties is not used in any run of that \
                 instrument and geometry. The control fails if its mean apparent contact share differs from zero by \
                 more than two standard uncertainties and by more than {}.",
                setting(control.back_within),
                setting(control.failed_share)
            ),
            &["stages.reversal.control"],
        ),
    ]
}

fn hierarchy(settings: &InForce, states: &States) -> Vec<Sentence> {
    let params = &settings.reversal.states;
    let loadings: std::collections::BTreeSet<_> =
        states.reversals.iter().map(|r| (&r.identity.sample, &r.identity.loading)).collect();
    vec![
        say(
            format!(
                "{} over {} form {}. Reversals of a sample whose held quantity differs by less than a ratio of {} have \
                 one set-point.",
                count(states.reversals.len() as u64, "reversal"),
                count(loadings.len() as u64, "loading"),
                count(states.states.len() as u64, "state"),
                setting(params.set_point_ratio)
            ),
            &["count of reversals", "count of states", "stages.reversal.states.set_point_ratio"],
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
                "Its 95 % interval joins, in quadrature, Student's t on the loading means with {} of the median \
                 standard uncertainty of a reversal, which all of a state are taken to share.",
                setting_percent(params.shared_part)
            ),
            &["stages.reversal.states.shared_part"],
        )
        .citing(&["jcgm-100"]),
        say(
            format!(
                "The share of the rise is the rise of the contact viscosity over that of the whole, between the \
                 smallest and the largest viscosity, on pairs within each loading; a rise of less than {} is not \
                 explained.",
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

fn fits(fit: &Fit) -> Vec<Sentence> {
    if fit.skip || fit.models.is_empty() {
        return Vec::new();
    }
    let mut out = Vec::new();
    for model in &fit.models {
        out.push(match model {
            Model::WyartCates => {
                let held = [("alpha", fit.alpha), ("beta", fit.beta)];
                let held = held.iter().filter_map(|(name, v)| v.map(|v| format!("{name} held at {}", setting(v))));
                let held: Vec<String> = held.collect();
                let with = if held.is_empty() { String::new() } else { format!(", {}", listed(held.into_iter())) };
                say(
                    format!("The law of Wyart and Cates was fitted to all samples and stresses at once{with}."),
                    &["stages.fit.models", "stages.fit.alpha", "stages.fit.beta"],
                )
                .citing(&["wyart-2014"])
            }
            Model::MaronPierce => say(
                "The law of Maron and Pierce was fitted against the solid fraction at either end of the rise.",
                &["stages.fit.models"],
            )
            .citing(&["maron-1956"]),
            Model::KriegerDougherty => say(
                "The law of Krieger and Dougherty was fitted against the solid fraction at either end of the rise.",
                &["stages.fit.models"],
            )
            .citing(&["krieger-1959"]),
        });
    }
    out
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
                    "Terms of instrument and sample were drawn {} times (seed {}), each draw shared by all reversals \
                     that it touches, and joined with the scatter of the data.",
                    whole(u64::from(settings.uncertainty.trials)),
                    settings.seed
                ),
                &["stages.uncertainty.trials", "seed"],
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

/// The methods text as plain text with headings, and the sources.
pub fn markdown(paragraphs: &[Paragraph]) -> String {
    let cited = cited(paragraphs);
    let mut out = "# Methods\n".to_owned();
    for paragraph in paragraphs {
        out.push_str(&format!("\n## {}\n\n{}\n", paragraph.title, running_text(paragraph, &cited)));
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
        assert!(!text.contains("Wyart") && !text.contains("Fits") && !text.contains("drawn"));
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

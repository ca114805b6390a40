//! What the templates read: every text of the document as data, none of it markup. Wording is in `text`, the choice
//! and rounding of printed tables in `printed.rs`.

use super::attached::{self, Attachment};
use super::budget;
use super::controls;
use super::design;
use super::fits;
use super::flaws::flaws;
use super::left_out;
use super::one_by_one;
use super::printed::{self, Printed};
use super::remarks::{self, Titled};
use super::sensitivity;
use super::set_aside::SetAsideLine;
use super::validity;
use crate::figures::Caption;
use crate::text::cautions;
use crate::text::methods::{self, InForce, Paragraph};
use crate::text::numbers;
use crate::text::remarks::{claims, states as state_words, uncertainty};
use crate::text::said;
use crate::text::words::{counted, number, part_of};
use serde::{Deserialize, Serialize};
use stages::claims::result::ClaimRow;
use stages::fit::result::Fits;
use stages::physics::geometry::Geometry;
use stages::physics::instrument::Instrument;
use stages::physics::materials::Sample;
use stages::references;
use stages::reversal::result::{Control, GradedRun};
use stages::setup::document::{After, Author, Form, OwnSection, Paper};
use stages::states::result::{States, Thickening};
use stages::uncertainty::result::{Budget, SensitivityRow};
use std::collections::BTreeSet;

/// What the study file says of the study as a whole: settings role `study`.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Study {
    /// Title.
    pub title: String,
    /// Authors in order.
    pub authors: Vec<Author>,
    /// Licence of the data.
    pub licence: Option<String>,
    /// Date, ISO 8601; the latest start of a run where it is not given.
    pub date: Option<String>,
    /// Abstract.
    #[serde(rename = "abstract")]
    pub summary: Option<String>,
    /// Keywords.
    pub keywords: Vec<String>,
    /// Protocol in free text.
    pub protocol: Option<String>,
    /// Line below the title.
    pub subtitle: Option<String>,
    /// Size of the paper.
    pub paper: Paper,
    /// How long the report is.
    pub form: Form,
}

/// A setting in force, as it is printed: settings role `settings`, a list of them.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct SettingLine {
    /// Path, for example `stages.clean.spike.window`.
    pub path: String,
    /// Value in force, with its unit where it has one.
    pub value: String,
    /// What it is.
    pub meaning: String,
    /// Whether the study file says it; otherwise it is the default.
    pub from_study: bool,
}

/// Where a figure stands in the document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Section {
    /// Behind the tables of results.
    Results,
    /// One reversal in full.
    Typical,
    /// The control.
    Control,
    /// Fits.
    Fits,
    /// Where uncertainty comes from.
    Budget,
    /// Sensitivity to analysis choices.
    Sensitivity,
    /// The atlas at the end.
    Atlas,
}

/// A figure of the document: settings role `figures`, a list of them. Its caption is the input `caption:NAME`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FigureRef {
    /// Name of its files.
    pub name: String,
    /// Where it stands.
    pub section: Section,
}

/// All that the document is made from.
#[derive(Debug, Clone, PartialEq)]
pub struct Parts {
    /// The study as a whole.
    pub study: Study,
    /// Its samples.
    pub samples: Vec<Sample>,
    /// Its geometries.
    pub geometries: Vec<Geometry>,
    /// Its instruments.
    pub instruments: Vec<Instrument>,
    /// Settings of the stages.
    pub in_force: InForce,
    /// All settings, as printed.
    pub settings: Vec<SettingLine>,
    /// What was set aside by hand.
    pub set_aside: Vec<SetAsideLine>,
    /// Sections of the authors' own.
    pub own: Vec<OwnSection>,
    /// Names of the tables that the PDF carries.
    pub tables: Vec<String>,
    /// Our own version and that of the typesetter.
    pub versions: Vec<(String, String)>,
    /// Judged runs.
    pub graded: Vec<GradedRun>,
    /// States with joined intervals.
    pub states: States,
    /// What each control says.
    pub controls: Vec<Control>,
    /// Fits.
    pub fits: Fits,
    /// Budget.
    pub budget: Budget,
    /// What choices of settings move.
    pub sensitivity: Vec<SensitivityRow>,
    /// Variants of the study, each with its states.
    pub variants: Vec<(String, States)>,
    /// Claims.
    pub claims: Vec<ClaimRow>,
    /// Figures with their captions.
    pub figures: Vec<(FigureRef, Caption)>,
}

/// The answer for one sample.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Answer {
    sample: String,
    verdict: &'static str,
    reason: String,
    share: Option<String>,
    /// What the share is at least, where it has no value.
    least: Option<String>,
    interval: Option<String>,
    ends: Option<String>,
    rests: Option<String>,
    /// The same in figures.
    counts: Option<String>,
    against: Vec<String>,
    /// The same in few words.
    short: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
struct FigureData {
    file: String,
    section: Section,
    #[serde(flatten)]
    caption: Caption,
}

/// A sentence of the methods text and the sources that it cites, by their numbers.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Cited {
    text: String,
    cites: Vec<usize>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
struct Methods {
    title: &'static str,
    formula: Option<&'static str>,
    caption: Option<&'static str>,
    table: Option<Printed>,
    sentences: Vec<Cited>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
struct SourceLine {
    text: String,
    doi: &'static str,
}

/// Settings of one stage, or of one layout.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct SettingGroup {
    title: String,
    rows: Vec<SettingLine>,
}

/// A section of the authors' own, as the template includes it.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct OwnText {
    title: String,
    file: String,
    typst: bool,
    after: After,
}

/// Everything under one roof, as `data.json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Data {
    study: Study,
    date: Option<Day>,
    answers: Vec<Answer>,
    notes: Vec<String>,
    flaws: Vec<String>,
    protocol: Vec<String>,
    tables: Tables,
    figures: Vec<FigureData>,
    set_aside: Vec<SetAsideLine>,
    remarks: Vec<Titled>,
    fits: Stage,
    budget: Stage,
    methods: Vec<Methods>,
    sources: Vec<SourceLine>,
    limits: [&'static str; 4],
    cautions: [&'static str; 3],
    settings: Vec<SettingGroup>,
    versions: Vec<(String, String)>,
    attachments: Vec<Attachment>,
    own: Vec<OwnText>,
    /// Characters that no face has, and what is shown in their place.
    without_glyph: Vec<(String, String)>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
struct Tables {
    design: Printed,
    samples: Printed,
    apparatus: Printed,
    states: Printed,
    thickening: Printed,
    exclusions: Printed,
    validity: Printed,
    left_out: Printed,
    claims: Printed,
    controls: Printed,
    candidate_models: Printed,
    fits: Printed,
    said_of_fits: Printed,
    budget: Printed,
    sensitivity: Printed,
    variants: Printed,
    reversals: Printed,
    provenance: Printed,
}

/// What is said of a stage that may be left out.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct Stage {
    skipped: bool,
    remarks: Vec<String>,
}

/// A date in parts, because the templates never parse text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Day {
    /// Year.
    pub year: i16,
    /// Month, from 1.
    pub month: i8,
    /// Day, from 1.
    pub day: i8,
}

impl Parts {
    /// The date of the study: as given, else the latest start of a run; none where nothing tells.
    pub fn date(&self) -> Option<jiff::civil::Date> {
        let starts = self.graded.iter().filter_map(|r| r.identity.started.as_deref()).filter_map(date);
        self.study.date.as_deref().and_then(date).or_else(|| starts.max())
    }

    /// The methods text.
    pub fn methods(&self) -> Vec<Paragraph> {
        methods::paragraphs(&self.in_force, &self.graded, &self.states)
    }

    /// `data.json`, keys in a fixed order; characters `without_glyph` are shown by their code points.
    ///
    /// # Errors
    /// If it cannot be written as JSON: a mistake in the program.
    pub fn json(&self, without_glyph: &BTreeSet<char>) -> Result<Vec<u8>, serde_json::Error> {
        let shown = |c: &char| (c.to_string(), format!("[U+{:04X}]", u32::from(*c)));
        let data = Data { without_glyph: without_glyph.iter().map(shown).collect(), ..self.data() };
        let mut bytes = serde_json::to_vec_pretty(&data)?;
        bytes.push(b'\n');
        Ok(bytes)
    }

    fn data(&self) -> Data {
        let paragraphs = self.methods();
        let cited = methods::cited(&paragraphs);
        Data {
            study: self.study.clone(),
            date: self.date().map(|d| Day { year: d.year(), month: d.month(), day: d.day() }),
            answers: self.states.thickening.iter().map(|t| self.answer(t)).collect(),
            notes: self.notes(),
            flaws: flaws(
                &self.set_aside,
                &self.graded,
                &self.states.reversals,
                self.in_force.reversal.resolved.dead_strain,
            ),
            protocol: crate::text::protocol::paragraphs(&self.graded, &self.states),
            tables: self.tables(),
            figures: self.figures.iter().map(figure).collect(),
            set_aside: self.set_aside.clone(),
            remarks: remarks::remarks(&self.graded, &self.states.states, &self.controls),
            fits: Stage { skipped: self.fits.skipped, remarks: fits::sentences(&self.fits) },
            budget: Stage {
                skipped: self.budget.skipped,
                remarks: self.budget.remarks.iter().map(|r| said::sentence(&uncertainty::words(r))).collect(),
            },
            methods: paragraphs.iter().map(|p| set_out(p, &cited)).collect(),
            sources: cited.iter().filter_map(|key| references::find(key).map(source)).collect(),
            limits: cautions::LIMITS,
            cautions: cautions::CAUTIONS,
            settings: groups(&self.settings),
            versions: self.versions.clone(),
            attachments: attached::attachments(self.tables.iter().map(String::as_str)),
            own: self.own.iter().map(own).collect(),
            without_glyph: Vec::new(),
        }
    }

    fn answer(&self, t: &Thickening) -> Answer {
        let share = t.contact_share_of_rise;
        let interval = share.as_ref().map(numbers::interval).filter(|i| i != numbers::MISSING);
        let ends = t.set_point_low.as_ref().zip(t.set_point_high.as_ref());
        Answer {
            sample: t.sample.clone(),
            verdict: t.verdict().name(),
            reason: state_words::reason(&t.reason),
            share: share.map(|s| numbers::plus_minus(s.value, s.u)),
            least: t.contact_share_of_rise_bound.map(|bound| numbers::significant(bound, 2)),
            interval,
            ends: ends.map(|(low, high)| format!("{low} to {high}")),
            rests: self.at_both_ends(t).map(|n| rests(t.loadings, n)),
            counts: self.at_both_ends(t).map(|(low, high)| format!("{}; {low}, {high}", t.loadings)),
            against: self.against(t, false),
            short: self.against(t, true),
        }
    }

    /// Reversals in the contact share at the lower and the upper end, where loadings have both.
    fn at_both_ends(&self, t: &Thickening) -> Option<(u32, u32)> {
        let at = |end: &Option<String>| {
            self.states.states.iter().find(|s| s.sample == t.sample && Some(&s.set_point) == end.as_ref())
        };
        let (low, high) = (at(&t.set_point_low)?, at(&t.set_point_high)?);
        (t.loadings > 0).then_some((low.reversals, high.reversals))
    }

    /// About how many pages the document will have; the time that it may take grows with it. Rows of the long
    /// tables and panels of the atlas as they fall on a page.
    pub fn pages(&self) -> usize {
        let reversals = self.states.reversals.len();
        let rows = self.states.states.len() + self.graded.len() + self.settings.len();
        20 + reversals / 60 + reversals / 20 + rows / 30 + self.own.len() * 10
    }

    /// What speaks against the answer, or limits it; in few words if `short`.
    fn against(&self, t: &Thickening, short: bool) -> Vec<String> {
        let of_sample = || self.states.states.iter().filter(|s| s.sample == t.sample);
        let open: Vec<&str> = of_sample().filter(|s| s.contact_share.is_none()).map(|s| s.set_point.as_str()).collect();
        if open.is_empty() {
            return Vec::new();
        }
        // Only where everything above the upper end is without a value could the rise go on unseen.
        let above = of_sample().skip_while(|s| Some(&s.set_point) != t.set_point_high.as_ref()).skip(1);
        let unseen = t.states_without_value > 0 && above.clone().all(|s| s.contact_share.is_none());
        let upper = t.set_point_high.as_deref().filter(|_| unseen);
        vec![unread(&open, of_sample().count(), upper, short)]
    }

    /// What holds for the study as a whole and stands beside the answer.
    fn notes(&self) -> Vec<String> {
        let mut out = vec![controls::note(&self.controls, &self.graded)];
        out.extend(sensitivity::that_matter(&self.sensitivity));
        out.extend(self.claims.iter().filter(|c| !c.holds).map(|c| format!("A {}.", claims::miss(c))));
        out
    }

    fn tables(&self) -> Tables {
        let (rows_of_fits, candidate_models) = (&self.fits.rows, &self.fits.candidate_models);
        let rows_of_budget = &self.budget.rows;
        Tables {
            design: design::design(&self.states.states, &self.states.reversals, &self.graded),
            samples: printed::samples(&self.samples),
            apparatus: printed::apparatus(&self.geometries, &self.instruments),
            states: printed::states(&self.states.states),
            thickening: printed::thickening(&self.states.thickening),
            exclusions: validity::exclusions(&self.graded),
            validity: validity::validity(&self.graded),
            left_out: left_out::left_out(&self.states.states, &self.states.reversals, &self.graded),
            claims: printed::claims(&self.claims),
            controls: controls::controls(&self.controls, &self.graded),
            candidate_models: fits::candidate_models(candidate_models),
            fits: fits::parameters(rows_of_fits),
            said_of_fits: fits::remarks(rows_of_fits),
            budget: budget::budget(rows_of_budget, &self.states.thickening),
            sensitivity: sensitivity::sensitivity(&self.sensitivity, &self.states.thickening),
            variants: sensitivity::variants(&self.states, &self.variants),
            reversals: one_by_one::reversals(&self.states.reversals),
            provenance: printed::provenance(&self.graded),
        }
    }
}

/// What an answer rests on: loadings and reversals at both ends.
fn rests(loadings: u32, (low, high): (u32, u32)) -> String {
    let both = if loadings == 1 { "with" } else { "each with" };
    format!(
        "{} {both} both ends of the rise; {} at the lower and {} at the upper end",
        counted(u64::from(loadings), "loading"),
        counted(u64::from(low), "reversal"),
        number(u64::from(high))
    )
}

/// At which of `all` set-points no contact share could be read, and up to which the rise is read for that reason.
fn unread(open: &[&str], all: usize, upper: Option<&str>, short: bool) -> String {
    let (n, at) = (open.len(), design::set_points(open));
    let none = match (n == all, short) {
        (true, true) => "no contact share at any set-point".to_owned(),
        (true, false) => format!("no contact share could be read at any of {}", counted(all as u64, "set-point")),
        (false, true) => format!("no contact share at {at}"),
        (false, false) => {
            format!("at {}, {at}, no contact share could be read", part_of(n as u64, all as u64, "set-point"))
        }
    };
    // In few words this goes without saying: the ends of the rise stand beside it.
    let upper = upper.filter(|_| !short);
    none + &upper.map_or_else(String::new, |high| format!(", so that the rise is read up to {high} only"))
}

/// A value that is a JSON list or null, in words.
fn for_people(value: &str) -> String {
    match serde_json::from_str::<serde_json::Value>(value) {
        Ok(serde_json::Value::Null) => "none".to_owned(),
        Ok(serde_json::Value::Array(items)) if items.is_empty() => "none".to_owned(),
        Ok(serde_json::Value::Array(items)) => {
            let item = |v: &serde_json::Value| v.as_str().map_or_else(|| v.to_string(), ToOwned::to_owned);
            items.iter().map(item).collect::<Vec<_>>().join(", ")
        }
        Ok(serde_json::Value::Object(fields)) if fields.is_empty() => "none".to_owned(),
        Ok(serde_json::Value::Bool(on)) => if on { "yes" } else { "no" }.to_owned(),
        Ok(serde_json::Value::Number(_)) => said::printed(value),
        _ => value.to_owned(),
    }
}

/// Settings by the stage or the layout that they belong to; how the report looks changes no result and is left out.
fn groups(settings: &[SettingLine]) -> Vec<SettingGroup> {
    let head = |path: &str| match path.split('.').collect::<Vec<_>>().as_slice() {
        [first @ ("stages" | "layouts"), name, _, ..] => format!("{first}.{name}"),
        _ => String::new(),
    };
    let rows: Vec<&SettingLine> = settings.iter().filter(|s| !s.path.starts_with("report.")).collect();
    let group = |rows: &[&SettingLine]| {
        let title = head(&rows[0].path);
        let row = |s: &&SettingLine| {
            let path = s.path.strip_prefix(&format!("{title}.")).unwrap_or(&s.path).to_owned();
            let meaning = quoted(&s.meaning).split_whitespace().collect::<Vec<_>>().join(" ");
            // A seed is a name, not a number of things.
            let value = if s.path == "seed" { s.value.clone() } else { for_people(&s.value) };
            SettingLine { path, value, meaning, ..(*s).clone() }
        };
        SettingGroup { rows: rows.iter().map(row).collect(), title }
    };
    rows.chunk_by(|a, b| head(&a.path) == head(&b.path)).map(group).collect()
}

/// Words between backticks in quotes.
fn quoted(text: &str) -> String {
    let mark = |(i, part): (usize, &str)| {
        let mark = if i == 0 {
            ""
        } else if i % 2 == 1 {
            "\u{201c}"
        } else {
            "\u{201d}"
        };
        format!("{mark}{part}")
    };
    text.split('`').enumerate().map(mark).collect()
}

fn set_out(paragraph: &Paragraph, cited: &[&str]) -> Methods {
    let sentence = |s: &methods::Sentence| Cited { text: s.text.clone(), cites: methods::numbers_of(s, cited) };
    let given = paragraph.given.as_ref();
    Methods {
        title: paragraph.title,
        formula: given.map(|given| given.formula),
        caption: given.map(|given| given.caption),
        table: given.map(printed::given),
        sentences: paragraph.sentences.iter().map(sentence).collect(),
    }
}

fn source(reference: &references::Reference) -> SourceLine {
    SourceLine { text: reference.citation(), doi: reference.confirmed_doi() }
}

fn own(section: &OwnSection) -> OwnText {
    OwnText {
        title: section.title.clone(),
        file: format!("{}/{}", attached::OWN, section.file),
        typst: section.file.ends_with(".typ"),
        after: section.after,
    }
}

fn figure((figure, caption): &(FigureRef, Caption)) -> FigureData {
    FigureData { file: format!("figures/{}.svg", figure.name), section: figure.section, caption: caption.clone() }
}

/// The day of an ISO 8601 date or time, by its own clock.
fn date(text: &str) -> Option<jiff::civil::Date> {
    text.get(..10)?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_of_settings_are_set_as_numbers_are() {
        let seed = SettingLine { path: "seed".into(), value: "20261012".into(), ..SettingLine::default() };
        assert_eq!(groups(&[seed])[0].rows[0].value, "20261012");
        assert_eq!(for_people("1000000"), "1\u{202f}000\u{202f}000");
        assert_eq!(for_people("-0.1"), "\u{2212}0.1");
        assert_eq!([for_people("[1.5,2.0]"), for_people("null"), for_people("true")], ["1.5, 2.0", "none", "yes"]);
    }

    #[test]
    fn what_an_answer_rests_on_and_lacks_reads_well_for_one_and_for_many() {
        assert_eq!(
            rests(1, (2, 1)),
            "one loading with both ends of the rise; two reversals at the lower and one at the upper end"
        );
        assert!(rests(12, (24, 20)).starts_with("12 loadings each with both ends of the rise; 24 reversals"));
        assert_eq!(
            unread(&["5.00 1/s"], 8, Some("2.00 1/s"), false),
            "at one of eight set-points, 5.00 1/s, no contact share could be read, so that the rise is read up to 2.00 1/s \
             only"
        );
        assert_eq!(
            unread(&["1 Pa", "2 Pa"], 2, None, false),
            "no contact share could be read at any of two set-points"
        );
        assert_eq!(unread(&["1 Pa", "2 Pa"], 20, None, true), "no contact share at 1 and 2 Pa");
    }
}

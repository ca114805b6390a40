//! The study as meant: `study.yaml` read, checked as a whole, names resolved, everything in SI.
//!
//! In comes the folder of a study, out comes a [`Study`], or every mistake of the study file that can be told
//! apart, with line, column and what to do. Syntax errors and unknown or duplicate keys stop at the first one,
//! because what follows them cannot be trusted. No export is opened, and no stage imports this room.
//!
//! As typed: `document.rs`, `stages.rs`, `origin.rs`; places: `source.rs`, `yaml.rs`; as meant: `materials.rs`,
//! `apparatus.rs`, `files.rs`, `sections.rs`, `check.rs`; what is not filled in: `todo.rs`; for `why`, `settings` and
//! `schema`: `written.rs`, `listing.rs`.

mod apparatus;
mod check;
pub mod document;
mod files;
pub mod listing;
mod materials;
pub mod names;
mod origin;
mod quantities;
mod sections;
mod source;
pub mod stages;
mod todo;
mod walk;
mod written;
mod yaml;

use crate::claims::params::Claim;
use crate::clean::params::SetAside;
use crate::earlier_results::params::EarlierTable;
use crate::ingest::layout::Layout;
use crate::physics::geometry::Geometry;
use crate::physics::instrument::Instrument;
use crate::physics::materials::Sample;
use crate::reversal::identity::Name;
use crate::states::params::SetPoint;
use document::{Author, Document, Report};
use pipeline::diagnostic::{Diagnostic, Place};
use pipeline::stage::Written;
use source::{Problems, Source};
use stages::Stages;
use std::collections::BTreeMap;
use std::io::ErrorKind;
use std::path::Path;

/// Name of the study file.
pub const STUDY_FILE: &str = "study.yaml";

/// Tables that claims can be about, with their columns.
pub type Tables<'a> = BTreeMap<&'a str, Vec<&'a str>>;

/// A study as meant. Everything has its SI value, and every name leads somewhere.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    /// Title.
    pub title: String,
    /// Authors in their order.
    pub authors: Vec<Author>,
    /// Licence of the data.
    pub licence: Option<String>,
    /// Date of the report, YYYY-MM-DD; none: the latest start of a run.
    pub date: Option<String>,
    /// Abstract.
    pub r#abstract: Option<String>,
    /// Keywords.
    pub keywords: Vec<String>,
    /// How it was measured, in free words.
    pub protocol: Option<String>,
    /// Seed of all random numbers.
    pub seed: u64,
    /// Samples by name; their place in the study file is `samples.NAME`.
    pub samples: BTreeMap<String, Sample>,
    /// Geometries by name; `geometries.NAME`.
    pub geometries: BTreeMap<String, Geometry>,
    /// Instruments by name; `instruments.NAME`.
    pub instruments: BTreeMap<String, Instrument>,
    /// Layouts by name; `layouts.NAME`.
    pub layouts: BTreeMap<String, Layout>,
    /// The runs, sorted by path.
    pub runs: Vec<RunPlan>,
    /// What is set aside by hand, by run; only runs that have something.
    pub set_aside: BTreeMap<String, Vec<SetAside>>,
    /// Settings of the stages; `stages.STAGE`.
    pub stages: Stages,
    /// Variants by name, each with all its settings; `variants.NAME.STAGE`.
    pub variants: BTreeMap<String, Stages>,
    /// Claims in their order.
    pub claims: Vec<Claim>,
    /// Tables of results from before, by name; `earlier_results.NAME`.
    pub earlier_results: BTreeMap<String, EarlierTable>,
    /// How the report looks; `report`.
    pub report: Report,
    /// The bytes of the study file as they were read.
    pub text: Vec<u8>,
    /// The study file as read: every key and value, without comments.
    pub as_read: serde_json::Value,
    /// Every leaf of the study file as written, also under the names that settings of tasks have.
    pub written: BTreeMap<String, Written>,
}

/// A raw export and what it is.
#[derive(Debug, Clone, PartialEq)]
pub struct RunPlan {
    /// Its name: path in the study, with `/`, and of a workbook's sheet also its name behind `#`.
    pub path: String,
    /// Path of its file in the study, with `/`.
    pub file: String,
    /// The sheet, where the entry names sheets.
    pub sheet: Option<String>,
    /// Its entry in the study file: `raw[2]`.
    pub entry: String,
    /// Name of its layout.
    pub layout: String,
    /// Name of its sample.
    pub sample: String,
    /// Name of its geometry.
    pub geometry: String,
    /// Name of its instrument.
    pub instrument: String,
    /// Its loading, or the key of the preamble that tells it; none: each export is its own loading.
    pub loading: Option<Name>,
    /// Its repeat in the same way; none: not told.
    pub repeat: Option<Name>,
    /// Keys of the preamble whose entries become columns of `runs`.
    pub preamble: Vec<String>,
    /// Set-points that its entry lists.
    pub set_points: Vec<SetPoint>,
}

/// Reads and checks the study in `folder`; claims are held against `tables`.
///
/// # Errors
/// Every mistake of the study file that can be told apart, in the order of the file.
pub fn load(folder: &Path, tables: &Tables<'_>) -> Result<Study, Vec<Diagnostic>> {
    let bytes = std::fs::read(folder.join(STUDY_FILE)).map_err(|error| vec![unread(folder, &error)])?;
    let study = load_text(decoded(bytes.clone())?, folder, tables)?;
    Ok(Study { text: bytes, ..study })
}

/// The same with another text in place of the study file of `folder`.
///
/// # Errors
/// As [`load`].
pub fn load_text(text: String, folder: &Path, tables: &Tables<'_>) -> Result<Study, Vec<Diagnostic>> {
    meant(text, folder, tables).map_err(|problems| problems.into_iter().map(short).collect())
}

/// A message holds the words that it is about, and these can be of any length.
fn short(problem: Diagnostic) -> Diagnostic {
    let clip = |text: String| match text.chars().count() {
        0..=600 => text,
        all => {
            let (head, tail): (String, String) =
                (text.chars().take(300).collect(), text.chars().skip(all - 200).collect());
            format!("{head} … {tail}")
        }
    };
    Diagnostic { message: clip(problem.message), help: problem.help.map(clip), ..problem }
}

fn meant(text: String, folder: &Path, tables: &Tables<'_>) -> Result<Study, Vec<Diagnostic>> {
    let source = Source::read(STUDY_FILE, text)?;
    if !source.has("study") {
        let problem = Diagnostic::new("`study` is missing").at(Place::file(STUDY_FILE));
        return Err(vec![problem.help("add `study: …`")]);
    }
    todo::none_left(&source)?;
    let document: Document = yaml::read(source.text(), STUDY_FILE)?;
    let as_read: serde_json::Value = yaml::read(source.text(), STUDY_FILE)?;
    let mut problems = Problems::new(&source);
    let text = source.text().as_bytes().to_vec();
    let study = Study { text, as_read, ..resolve(document, folder, tables, &mut problems) };
    let problems = problems.into_sorted();
    if problems.is_empty() { Ok(study) } else { Err(problems) }
}

/// A study file as typed: its keys and values without a meaning.
///
/// # Errors
/// Bad syntax or duplicate keys.
pub fn typed(text: &str) -> Result<serde_json::Value, Vec<Diagnostic>> {
    Source::read(STUDY_FILE, text.to_owned()).map(|source| source.value(&[]).clone())
}

/// The JSON Schema of `study.yaml`.
pub fn schema() -> serde_json::Value {
    schemars::schema_for!(Document).to_value()
}

fn resolve(document: Document, folder: &Path, tables: &Tables<'_>, problems: &mut Problems<'_>) -> Study {
    check::front(&document, problems);
    let samples = materials::samples(&document, problems);
    let geometries = apparatus::geometries(&document, problems);
    let instruments = apparatus::instruments(&document, problems);
    check::layouts(&document, problems);
    let files = files::Folder::list(folder, problems);
    let runs = files::runs(&document, &files, problems);
    let set_aside = files::set_aside(&document, &runs, problems);
    sections::check(&document.report, &files, problems);
    check::ranges(&document.stages, "stages", problems);
    check::ends(&document.stages, "stages", &document, problems);
    let variants = check::variants(&document, problems);
    check::claims(&document.claims, tables, problems);
    check::earlier_results(&document.earlier_results, &files, tables, problems);
    let written = written::written(&document, problems.source());
    Study {
        title: document.study,
        authors: document.authors,
        licence: document.licence,
        date: document.date,
        r#abstract: document.r#abstract,
        keywords: document.keywords,
        protocol: document.protocol,
        seed: document.seed,
        samples,
        geometries,
        instruments,
        layouts: document.layouts,
        runs,
        set_aside,
        stages: document.stages,
        variants,
        claims: document.claims,
        earlier_results: document.earlier_results,
        report: document.report,
        text: Vec::new(),
        as_read: serde_json::Value::Null,
        written,
    }
}

/// The study file as text, without a byte-order mark.
fn decoded(bytes: Vec<u8>) -> Result<String, Vec<Diagnostic>> {
    let text = String::from_utf8(bytes).map_err(|error| {
        let valid = String::from_utf8_lossy(&error.as_bytes()[..error.utf8_error().valid_up_to()]).into_owned();
        let line = valid.matches('\n').count() as u64 + 1;
        let column = valid.chars().rev().take_while(|c| *c != '\n').count() as u64 + 1;
        let place = Place { column: Some(column), ..Place::line(STUDY_FILE, line) };
        vec![Diagnostic::new("the study file is not UTF-8").at(place).help("save it as UTF-8 in the editor")]
    })?;
    let text = text.strip_prefix('\u{feff}').map_or(text.clone(), str::to_owned);
    let says_something = |line: &str| !line.trim().is_empty() && !line.trim_start().starts_with('#');
    if text.lines().any(says_something) {
        return Ok(text);
    }
    let help = "begin with `study: Title`; `shearback schema` tells what can follow";
    Err(vec![Diagnostic::new("the study file is empty").at(Place::file(STUDY_FILE)).help(help)])
}

fn unread(folder: &Path, error: &std::io::Error) -> Diagnostic {
    let at = |message: String| Diagnostic::new(message).at(Place::file(STUDY_FILE));
    let near = ["study.yml", "Study.yaml", "study.yaml.txt", "study.YAML"];
    let near = near.into_iter().find(|name| folder.join(name).is_file());
    match error.kind() {
        ErrorKind::NotFound => {
            let help = near.map(|name| format!("rename `{name}` to `{STUDY_FILE}`"));
            let help = help.unwrap_or("name the folder that holds it, or write one there".to_owned());
            at(format!("there is no `{STUDY_FILE}` in this folder")).help(help)
        }
        ErrorKind::IsADirectory => at(format!("`{STUDY_FILE}` is a folder")).help("the study file is a text file"),
        _ => at(format!("`{STUDY_FILE}` cannot be read: {error}")),
    }
}

#[cfg(test)]
#[allow(clippy::panic)]
mod hostile;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic)]
mod tests;

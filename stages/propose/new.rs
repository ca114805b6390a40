//! `new`: starts a study, from a folder of exports or empty. Exports are copied and compared, or left where they are;
//! nothing that is there is changed.

use super::columns::TODO;
use super::copy::write_new;
use super::names::Named;
use super::source;
use super::study::{self, SCHEMA_FILE};
use super::survey::Survey;
use crate::setup::{STUDY_FILE, schema};
use clap::{Arg, ArgAction, ArgMatches, value_parser};
use pipeline::command::{Answer, Command, Exit, Failure};
use pipeline::diagnostic::{Diagnostic, Place};
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use walkdir::WalkDir;

/// The command.
pub(crate) struct New;

impl Command for New {
    fn typed(&self) -> clap::Command {
        clap::Command::new("new")
            .about("Start a study: proposes layouts, samples, loadings and repeats from a folder of exports")
            .long_about(
                "Start a study in DIR. With --from the exports are copied into DIR/raw and compared by hash; with --in-place \
                 they stay where they are and their own folder becomes the study. Layouts, samples, loadings and repeats are \
                 proposed from what the exports, their folders and names say, the design is shown, and what only you know is \
                 marked TODO in DIR/study.yaml. Nothing that is there is changed.",
            )
            .arg(Arg::new("DIR").value_parser(value_parser!(PathBuf)).required_unless_present("from").help("The study's folder"))
            .arg(Arg::new("from").long("from").value_name("RAW").value_parser(value_parser!(PathBuf)).help("Folder of raw exports, or one export"))
            .arg(Arg::new("in-place").long("in-place").action(ArgAction::SetTrue).help("The folder of the exports becomes the study"))
    }

    fn perform(&self, typed: &ArgMatches) -> Result<Answer, Failure> {
        let start = Start::of(typed)?;
        if start.study.join(STUDY_FILE).symlink_metadata().is_ok() {
            return Err(refuse(
                "there is a study here already",
                &start.study.join(STUDY_FILE),
                "choose another folder, or edit that study",
            ));
        }
        start.perform()
    }
}

fn refuse(message: &str, path: &Path, help: &str) -> Failure {
    Failure::input(vec![Diagnostic::new(message).at(Place::file(path.display().to_string())).help(help)])
}

/// What was asked for.
struct Start {
    study: PathBuf,
    /// Where exports come from; none: an empty study.
    from: Option<PathBuf>,
    copies: bool,
}

/// One file that may be an export.
struct Candidate {
    path: PathBuf,
    /// Its path in the study, with `/`.
    inside: String,
}

impl Start {
    fn of(typed: &ArgMatches) -> Result<Self, Failure> {
        let (dir, from) = (typed.get_one::<PathBuf>("DIR").cloned(), typed.get_one::<PathBuf>("from").cloned());
        if !typed.get_flag("in-place") {
            let Some(study) = dir else {
                return Err(refuse(
                    "the study's folder is missing",
                    Path::new("new"),
                    "`shearback new DIR --from RAW`",
                ));
            };
            return Self { study, from, copies: true }.apart();
        }
        match (dir, from) {
            (Some(dir), Some(from)) if real(&dir) != real(&from) => Err(refuse(
                "with --in-place the study's folder is that of the exports",
                &dir,
                "leave DIR out, or leave --in-place out to copy",
            )),
            (Some(study), _) | (None, Some(study)) if study.is_dir() => {
                Ok(Self { from: Some(study.clone()), study, copies: false })
            }
            (study, from) => {
                let named = study.or(from).unwrap_or_default();
                Err(refuse("this is no folder", &named, "--in-place makes a folder of exports the study"))
            }
        }
    }

    /// Copies go from one folder to another, neither inside the other.
    fn apart(self) -> Result<Self, Failure> {
        let Some(from) = &self.from else { return Ok(self) };
        if !from.exists() {
            return Err(refuse("there is nothing here", from, "check the path behind --from"));
        }
        let (study, raw) = (real(&self.study), real(from));
        if study.starts_with(&raw) || raw.starts_with(&study) {
            let help = "choose a folder elsewhere, or make the exports' own folder the study with --in-place";
            return Err(refuse("the study and the exports lie in one another", from, help));
        }
        Ok(self)
    }

    fn perform(&self) -> Result<Answer, Failure> {
        let candidates = self.candidates()?;
        let mut survey = Survey::default();
        let mut files: Vec<String> = candidates.iter().map(|candidate| candidate.inside.clone()).collect();
        for candidate in &candidates {
            match source::read(&candidate.path) {
                Ok(bytes) => self.take(candidate, &bytes, &mut survey)?,
                Err(problem) => survey.refused.push(problem),
            }
        }
        if self.from.is_some() && survey.exports.is_empty() {
            let place = self.from.as_deref().map(|from| Place::file(from.display().to_string()));
            let none =
                Diagnostic::new("no export was found").help("`shearback peek FILE` tells what is amiss with one");
            survey.refused.push(Diagnostic { place, ..none });
            return Err(Failure::input(survey.refused));
        }
        if self.copies {
            // Only exports were copied.
            files.retain(|file| survey.exports.iter().any(|export| export.file == *file));
        }
        let named = survey.named(&files);
        let text = study::text(&survey, &named);
        write_new(&self.study.join(SCHEMA_FILE), format!("{:#}\n", schema()).as_bytes())?;
        write_new(&self.study.join(STUDY_FILE), text.as_bytes())?;
        Ok(self.answer(&survey, &named, left(&text)))
    }

    /// Everything under the folder of the exports that may be one, sorted.
    fn candidates(&self) -> Result<Vec<Candidate>, Failure> {
        let Some(from) = &self.from else { return Ok(Vec::new()) };
        let before = if self.copies { "raw/" } else { "" };
        let mut found = Vec::new();
        let theirs = |entry: &walkdir::DirEntry| {
            let name = entry.file_name().to_string_lossy();
            let results = entry.depth() == 1 && entry.file_type().is_dir() && name == "results";
            entry.depth() == 0 || !(results || name.starts_with('.'))
        };
        for entry in WalkDir::new(from).sort_by_file_name().into_iter().filter_entry(theirs) {
            let entry = entry.map_err(|error| {
                let message = format!("cannot list {}: {error}", from.display());
                Failure::surroundings(Diagnostic::new(message).help("check who may read it"))
            })?;
            if entry.file_type().is_dir() {
                continue;
            }
            let relative = entry.path().strip_prefix(from).unwrap_or(entry.path());
            let relative = if relative.as_os_str().is_empty() { Path::new(entry.file_name()) } else { relative };
            let Some(parts) = relative.iter().map(|part| part.to_str()).collect::<Option<Vec<_>>>() else {
                return Err(refuse("the name of this file is not UTF-8", entry.path(), "rename it"));
            };
            found.push(Candidate { path: entry.path().to_owned(), inside: format!("{before}{}", parts.join("/")) });
        }
        Ok(found)
    }

    fn take(&self, candidate: &Candidate, bytes: &[u8], survey: &mut Survey) -> Result<(), Failure> {
        let known = survey.exports.len();
        let refused = survey.refused.len();
        survey.add(&candidate.inside, bytes, |_, _| {});
        // It was not taken into the study, so it is named by where it is.
        for problem in &mut survey.refused[refused..] {
            let place = problem.place.take().unwrap_or(Place::file(""));
            problem.place = Some(Place { file: candidate.path.display().to_string(), ..place });
        }
        if self.copies && survey.exports.len() > known {
            write_new(&self.study.join(&candidate.inside), bytes)?;
        }
        Ok(())
    }

    fn answer(&self, survey: &Survey, named: &Named, todos: usize) -> Answer {
        let mut text = String::new();
        let study = self.study.display();
        if self.from.is_some() {
            let done = if self.copies { "copied and compared by hash" } else { "left in place" };
            let files: std::collections::BTreeSet<&str> =
                survey.exports.iter().map(|export| export.file.as_str()).collect();
            let _ = writeln!(
                text,
                "{} exports {done}, {} runs, {} layouts",
                files.len(),
                survey.exports.len(),
                survey.layouts.len()
            );
            let _ = writeln!(text, "{}", named.how.join("; "));
        }
        let design = survey.design(named);
        if !design.is_empty() {
            let _ = write!(
                text,
                "\ndesign, as a first look at the exports tells it (number of reversals)\n{}",
                design.in_columns()
            );
        }
        let unclear = survey.unclear(named);
        if !unclear.is_empty() {
            let _ = writeln!(text, "\nunclear");
        }
        for line in unclear {
            let _ = writeln!(text, "  {line}");
        }
        let _ = writeln!(text, "\n{study}/{STUDY_FILE} has {todos} {TODO}s, for what only you know.");
        let _ = writeln!(text, "next: fill them in, then `shearback run {}`", typed(&study.to_string()));
        Answer { text, remarks: survey.refused.clone(), exit: Exit::Good }
    }
}

/// A path as it can be typed into a shell.
fn typed(path: &str) -> String {
    let plain = path.chars().all(|c| c.is_alphanumeric() || "/\\._-:~".contains(c));
    if plain { path.to_owned() } else { format!("'{}'", path.replace('\'', r"'\''")) }
}

/// How many values are still to be filled in; comments speak of the mark too.
fn left(text: &str) -> usize {
    text.lines().filter(|line| !line.starts_with('#')).map(|line| line.matches(TODO).count()).sum()
}

/// The path without links and dots, as far as it exists.
fn real(path: &Path) -> PathBuf {
    let absolute = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let existing = absolute.ancestors().find_map(|part| Some((part, fs::canonicalize(part).ok()?)));
    match existing {
        Some((part, real)) => real.join(absolute.strip_prefix(part).unwrap_or(Path::new(""))),
        None => absolute,
    }
}

//! What goes into a bag: the study file, the files that it reads, the results that the manifest lists. Each with the
//! hash that it must have, so that nothing else is packed under its name.

use super::names;
use super::{ABOUT, CRATE};
use crate::tables::raw_exports;
use pipeline::command::Failure;
use pipeline::diagnostic::{Diagnostic, Place};
use pipeline::results::manifest::Manifest;
use pipeline::store::digest::Digest;
use pipeline::store::files::{Files, LEDGER, MANIFEST};
use pipeline::store::ledger::{Line, chain};
use stages::setup::STUDY_FILE;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

/// A file to be packed.
#[derive(Debug, Clone)]
pub struct Item {
    /// Path in the study.
    pub path: String,
    /// Where it is.
    pub from: PathBuf,
    /// Its size, bytes.
    pub size: u64,
    /// The hash that it must have, where the results know it.
    pub blake3: Option<Digest>,
}

/// All of it.
pub struct Contents {
    /// Study file and results.
    pub items: Vec<Item>,
    /// Raw exports and whatever else the study reads.
    pub raw: Vec<Item>,
    /// The line of the ledger that the results are of.
    pub line: Line,
    /// Files and folders of the study that are no part of it.
    pub left_out: Vec<String>,
}

impl Contents {
    /// Brings together what a study consists of; `raw` are the files that its plan reads.
    ///
    /// # Errors
    /// If there are no results, a file is missing, or a name cannot be held by every system.
    pub fn new(files: &Files, raw: &BTreeSet<&str>) -> Result<Self, Failure> {
        let read = |name: &str| {
            let path = files.result(name);
            std::fs::read(&path).map_err(|_| nothing(files, name))
        };
        let manifest = Manifest::parse(&read(MANIFEST)?).ok_or_else(|| nothing(files, MANIFEST))?;
        let ledger = read(LEDGER)?;
        let lines =
            chain(&String::from_utf8_lossy(&ledger), "results/ledger.jsonl").map_err(|d| Failure::input(vec![d]))?;
        let line = lines.into_iter().next_back().ok_or_else(|| nothing(files, LEDGER))?;
        let known = raw_exports::hashes(&files.results()).unwrap_or_default();
        let mut items = vec![item(files, STUDY_FILE, Some(line.study_file))?];
        for entry in &manifest.files {
            items.push(item(files, &format!("results/{}", entry.path), Some(entry.blake3))?);
        }
        items.push(item(files, &format!("results/{MANIFEST}"), Some(line.manifest))?);
        items.push(item(files, &format!("results/{LEDGER}"), Some(Digest::of(&ledger)))?);
        let hash = |path: &str| -> Option<Digest> { serde_json::from_value(known.get(path)?.as_str().into()).ok() };
        let raw = raw.iter().map(|path| item(files, path, hash(path))).collect::<Result<Vec<_>, Failure>>()?;
        let contents = Self { left_out: left_out(files, &raw), items, raw, line };
        contents.check_names()?;
        Ok(contents)
    }

    fn check_names(&self) -> Result<(), Failure> {
        let mut seen = names::Seen::default();
        let about = ABOUT.iter().map(|name| name.to_string());
        let mut problems = Vec::new();
        for path in about.chain(self.items.iter().chain(&self.raw).map(|item| item.path.clone())) {
            if let Err(why) = names::check(&path).and_then(|()| seen.enter(&path)) {
                let help = "rename it, in the study file as well: a receiver could not lay it out";
                problems.push(Diagnostic::new(format!("cannot be packed: {why}")).at(Place::file(path)).help(help));
            }
        }
        if problems.is_empty() { Ok(()) } else { Err(Failure::input(problems)) }
    }
}

fn nothing(files: &Files, name: &str) -> Failure {
    let message = format!("{} has no results to pack: results/{name} cannot be read", files.study().display());
    Failure::input(vec![Diagnostic::new(message).help("`shearback run` makes them")])
}

fn item(files: &Files, path: &str, blake3: Option<Digest>) -> Result<Item, Failure> {
    let from = files.in_study(path);
    let meta = std::fs::metadata(&from).map_err(|e| Failure::io("read", &from, &e))?;
    Ok(Item { path: path.to_owned(), from, size: meta.len(), blake3 })
}

/// What lies in the folder and is no part of the study, by its name at the top; our own folders are not worth a word.
fn left_out(files: &Files, raw: &[Item]) -> Vec<String> {
    let packed: BTreeMap<&str, ()> = raw.iter().map(|item| (item.path.split('/').next().unwrap_or(""), ())).collect();
    let entries = std::fs::read_dir(files.study()).into_iter().flatten().flatten();
    let names = entries.map(|entry| entry.file_name().to_string_lossy().into_owned());
    let ours = [STUDY_FILE, "results", "edited", ".shearback", CRATE];
    let mut names: Vec<String> =
        names.filter(|name| !ours.contains(&name.as_str()) && !packed.contains_key(name.as_str())).collect();
    names.sort();
    names
}

//! What stands in a study: the manifest and what it lists, the ledger, the raw exports. It reads and computes nothing.

use super::{Problem, Raw};
use crate::tables::raw_exports;
use pipeline::command::Failure;
use pipeline::diagnostic::Diagnostic;
use pipeline::results::manifest::Manifest;
use pipeline::store::digest::Digest;
use pipeline::store::files::{Files, LEDGER, MANIFEST};
use pipeline::store::ledger::{Line, chain};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// A study's results as they stand.
pub struct Standing {
    /// What must be in `results/`.
    pub manifest: Manifest,
    /// BLAKE3 of the manifest's own bytes.
    pub manifest_hash: Digest,
    /// What is there: hash by path below `results/`; manifest and ledger left out.
    pub files: BTreeMap<String, Digest>,
    /// The last line of the ledger, where it can be trusted.
    pub line: Option<Line>,
    /// What does not fit together.
    pub problems: Vec<Problem>,
}

impl Standing {
    /// Looks at `results/` of the study.
    ///
    /// # Errors
    /// If there are no results, or they cannot be read.
    pub fn look(files: &Files) -> Result<Self, Failure> {
        let path = files.result(MANIFEST);
        let bytes = std::fs::read(&path).map_err(|e| match e.kind() {
            std::io::ErrorKind::NotFound => nothing_there(files),
            _ => Failure::io("read", &path, &e),
        })?;
        let mut problems = Vec::new();
        let manifest = Manifest::parse(&bytes).unwrap_or_else(|| {
            problems.push(Problem::new("results/manifest.json", "it is no manifest any more: it was changed since"));
            Manifest::default()
        });
        if manifest.changing {
            problems.push(Problem::new("results/manifest.json", "a run was writing when it stopped: run again first"));
        }
        let manifest_hash = Digest::of(&bytes);
        let line = ledger(files, manifest_hash, &mut problems)?;
        Ok(Self { files: hashes(&files.results())?, manifest, manifest_hash, line, problems })
    }

    /// The raw exports that the results were made from, held against the files of the study.
    ///
    /// # Errors
    /// If the table `runs` is not there or cannot be read.
    pub fn raw(&self, files: &Files, planned: &BTreeSet<&str>) -> Result<Vec<Raw>, Problem> {
        let recorded = raw_exports::hashes(&files.results())
            .map_err(|words| Problem::new(format!("results/{}", raw_exports::TABLE), words))?;
        let paths = recorded.keys().map(String::as_str).chain(planned.iter().copied());
        let paths: BTreeSet<&str> = paths.collect();
        let now = |path: &str| Digest::of_file(&files.in_study(path)).ok().map(|(hash, _)| hash.to_string());
        let raw = |path: &str| Raw { path: path.to_owned(), then: recorded.get(path).cloned(), now: now(path) };
        Ok(paths.into_iter().map(raw).collect())
    }
}

fn nothing_there(files: &Files) -> Failure {
    let message = format!("there is nothing to audit: {} has no results", files.study().display());
    Failure::input(vec![Diagnostic::new(message).help("`shearback run` makes them")])
}

/// The last line of the ledger; what does not fit with it goes to `problems`.
fn ledger(files: &Files, manifest: Digest, problems: &mut Vec<Problem>) -> Result<Option<Line>, Failure> {
    let what = "results/ledger.jsonl";
    let text = match std::fs::read_to_string(files.result(LEDGER)) {
        Ok(text) => text,
        Err(e) => {
            problems.push(Problem::new(what, format!("the ledger cannot be read: {e}")));
            return Ok(None);
        }
    };
    let own = std::fs::read_to_string(files.ledger()).ok();
    if own.is_some_and(|own| own != text) {
        problems
            .push(Problem::new(what, "it is not the ledger that the study keeps in .shearback: it was changed since"));
    }
    let last = match chain(&text, what) {
        Ok(lines) => lines.into_iter().next_back(),
        Err(broken) => {
            let line = broken.place.and_then(|place| place.line).map_or(String::new(), |n| format!("line {n}: "));
            problems.push(Problem::new(what, format!("{line}{}: it was changed since", broken.message)));
            None
        }
    };
    let Some(line) = last else {
        problems.push(Problem::new(what, "it names no run that the results could be of"));
        return Ok(None);
    };
    if line.manifest != manifest {
        let words = format!("it is not the manifest of run {}, the last of the ledger", line.run);
        problems.push(Problem::new("results/manifest.json", words));
    }
    let study_file = files.in_study(stages::setup::STUDY_FILE);
    let bytes = std::fs::read(&study_file).map_err(|e| Failure::io("read", &study_file, &e))?;
    if Digest::of(&bytes) != line.study_file {
        let words = format!("it is not the study file of run {}, which the results are of", line.run);
        problems.push(Problem::new(stages::setup::STUDY_FILE, words));
    }
    Ok(Some(line))
}

/// Hashes of all files below a folder but manifest and ledger.
fn hashes(root: &Path) -> Result<BTreeMap<String, Digest>, Failure> {
    let mut found = BTreeMap::new();
    let mut folders = vec![(root.to_path_buf(), String::new())];
    while let Some((folder, prefix)) = folders.pop() {
        let entries = std::fs::read_dir(&folder).map_err(|e| Failure::io("read", &folder, &e))?;
        for entry in entries {
            let entry = entry.map_err(|e| Failure::io("read", &folder, &e))?;
            let (path, name) = (entry.path(), format!("{prefix}{}", entry.file_name().to_string_lossy()));
            let kind = entry.file_type().map_err(|e| Failure::io("read", &path, &e))?;
            if kind.is_dir() {
                folders.push((path, format!("{name}/")));
            } else if kind.is_file() && name != MANIFEST && name != LEDGER {
                let (hash, _) = Digest::of_file(&path).map_err(|e| Failure::io("read", &path, &e))?;
                found.insert(name, hash);
            }
        }
    }
    Ok(found)
}

//! One side of a comparison: a study with its results, a results folder alone, or an earlier run of a ledger.

use crate::tables::raw_exports;
use pipeline::command::Failure;
use pipeline::diagnostic::Diagnostic;
use pipeline::store::Store;
use pipeline::store::digest::Digest;
use pipeline::store::disk::SystemDisk;
use pipeline::store::files::{Files, LEDGER};
use pipeline::store::ledger::{Line, chain};
use pipeline::store::past::Past;
use stages::setup::STUDY_FILE;
use stages::table::Table;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The tables whose numbers are compared, in the order in which they are told.
pub const TABLES: [&str; 4] = ["thickening", "states", "fits", "reversals"];

/// A side.
pub struct Side {
    /// How it is called.
    pub name: String,
    /// Its tables.
    pub tables: BTreeMap<String, Table>,
    /// BLAKE3 of its raw exports by path.
    pub raw: BTreeMap<String, String>,
    /// The ledger's line of its run, where there is one.
    pub line: Option<Line>,
    /// Text of the study file that the results were made from, where it is still there.
    pub study_file: Option<String>,
    /// Folder with the raw exports.
    pub folder: Option<PathBuf>,
}

impl Side {
    /// A study with results, or a results folder.
    ///
    /// # Errors
    /// If there are no results there.
    pub fn standing(path: &Path) -> Result<Self, Failure> {
        let is_study = path.join(STUDY_FILE).is_file();
        let alone = path.join("tables").is_dir();
        if !is_study && !alone {
            let message = format!("{} is neither a study with results nor a results folder", path.display());
            return Err(Failure::input(vec![
                Diagnostic::new(message).help("name a folder with study.yaml, or with tables/"),
            ]));
        }
        let results = if is_study { path.join("results") } else { path.to_path_buf() };
        let tables = tables(|name| std::fs::read(results.join("tables").join(format!("{name}.parquet"))).ok());
        if !tables.contains_key("states") {
            let message = format!("{} has no table `states` that could be read", results.display());
            return Err(Failure::input(vec![Diagnostic::new(message).help("`shearback run` makes it")]));
        }
        let ledger = std::fs::read_to_string(results.join(LEDGER)).unwrap_or_default();
        let line = chain(&ledger, LEDGER).ok().and_then(|lines| lines.into_iter().next_back());
        let folder = is_study.then(|| path.to_path_buf());
        let study_file = folder.as_deref().zip(line.as_ref()).and_then(|(folder, line)| study_file(folder, line));
        let name = line.as_ref().map_or_else(String::new, |line| format!(" (run {})", line.run));
        let raw = raw_exports::hashes(&results).unwrap_or_default();
        Ok(Self { name: format!("{}{name}", path.display()), tables, raw, line, study_file, folder })
    }

    /// An earlier run, by its number; none: the one before the last.
    ///
    /// # Errors
    /// If the ledger has no such run, or its tables are no longer kept.
    pub fn earlier(study: &Path, number: Option<u64>) -> Result<Self, Failure> {
        let store = Store::new(study, &SystemDisk);
        let last = Past::find(&store, None)?.line.run;
        let past = Past::find(&store, Some(number.unwrap_or(last.saturating_sub(1))))?;
        let tables = tables(|name| past.output(&format!("table {name}"), "parquet"));
        if !tables.contains_key("states") {
            let message = format!("the tables of run {} are not all in the store", past.line.run);
            return Err(Failure::input(vec![
                Diagnostic::new(message).help("choose another run, or run that study file again"),
            ]));
        }
        Ok(Self {
            name: format!("{} (run {})", study.display(), past.line.run),
            raw: past
                .output("table runs", "parquet")
                .and_then(|bytes| raw_exports::hashes_in(&bytes).ok())
                .unwrap_or_default(),
            tables,
            study_file: past.study_file().and_then(|bytes| String::from_utf8(bytes).ok()),
            line: Some(past.line),
            folder: Some(study.to_path_buf()),
        })
    }

    /// Whether the raw exports that lie in its folder are those of its results.
    pub fn has_its_raw(&self) -> bool {
        let Some(folder) = &self.folder else { return false };
        let files = Files::new(folder);
        let same = |(path, hash): (&String, &String)| {
            Digest::of_file(&files.in_study(path)).is_ok_and(|(now, _)| now.to_string() == *hash)
        };
        !self.raw.is_empty() && self.raw.iter().all(same)
    }
}

/// The study file of a run: the one that stands there if it is still that one, else the one in the store.
fn study_file(folder: &Path, line: &Line) -> Option<String> {
    let stands = std::fs::read(folder.join(STUDY_FILE)).ok()?;
    if Digest::of(&stands) == line.study_file {
        return String::from_utf8(stands).ok();
    }
    let store = Store::new(folder, &SystemDisk);
    let past = Past::find(&store, Some(line.run)).ok()?;
    String::from_utf8(past.study_file()?).ok()
}

/// The tables that are there.
pub fn tables(read: impl Fn(&str) -> Option<Vec<u8>>) -> BTreeMap<String, Table> {
    let table = |name: &&str| Some(((*name).to_owned(), Table::from_parquet(&read(name)?).ok()?));
    TABLES.iter().filter_map(table).collect()
}

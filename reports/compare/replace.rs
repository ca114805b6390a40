//! Which change moved what: the first side is computed again with one change at a time put into it. Where the single
//! moves do not add up to the whole, the changes interact, and that is said.

use super::changes::{Change, Kind, bare};
use super::sides::{Side, TABLES, tables};
use crate::study;
use crate::tables::cells::{Differences, Moved, differences, key_columns};
use pipeline::command::Failure;
use pipeline::diagnostic::Diagnostic;
use pipeline::graph::select;
use pipeline::progress::Progress;
use pipeline::run::{Request, cancel, run_in};
use pipeline::store::Store;
use pipeline::store::disk::SystemDisk;
use pipeline::store::files::Files;
use serde::Serialize;
use serde_json::Value;
use stages::setup;
use stages::table::Table;
use std::collections::BTreeMap;
use std::fs;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

/// Most changes that are replaced one at a time; more are taken together by where they stand.
pub const MOST: usize = 8;
/// Single moves that miss the whole one by more than this many standard uncertainties show an interaction (empirical:
/// less changes no printed digit but the last).
pub const INTERACTION: f64 = 0.1;

/// What one change moved by itself.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Effect {
    /// The change, or several of one place.
    pub what: String,
    /// Numbers that it moved, the largest move first.
    pub moved: Vec<(String, Moved)>,
    /// Why it could not be put in by itself.
    pub not_possible: Option<String>,
}

/// A number whose whole move is not the sum of the single ones.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Interaction {
    /// Table, row and column.
    pub what: String,
    /// The whole move, in standard uncertainties.
    pub whole: f64,
    /// The sum of the single moves, in the same.
    pub sum: f64,
}

/// What was found by replacing.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Replaced {
    /// Per change.
    pub effects: Vec<Effect>,
    /// Where they do not add up.
    pub interactions: Vec<Interaction>,
    /// What limits it, or why it was not done.
    pub remarks: Vec<String>,
}

/// Tables by name.
pub type Tables = BTreeMap<String, Table>;

/// Replaces one change at a time.
///
/// # Errors
/// If the surroundings do not let us compute; what cannot be replaced is told in the result.
pub fn replace(old: &Side, new: &Side, changes: &[Change], jobs: Option<NonZeroUsize>) -> Result<Replaced, Failure> {
    let only = |remark: &str| Ok(Replaced { remarks: vec![remark.to_owned()], ..Replaced::default() });
    let groups = grouped(changes);
    let (Some(folder), Some(text)) = (&old.folder, &old.study_file) else {
        return only("which change moved which number is not known: the first side has no study file to compute from");
    };
    if groups.is_empty() {
        return only("no setting and no raw export differs: the program or its tools moved the numbers");
    }
    if groups.len() > MOST {
        return only(&format!("which change moved which number is not computed: more than {MOST} places differ"));
    }
    if !old.has_its_raw() {
        return only(
            "which change moved which number is not known: the raw exports of the first side are missing or changed",
        );
    }
    let Ok(mut document) = setup::typed(text) else {
        return only("the study file of the first side can no longer be read");
    };
    bare(&mut document);
    let bench = Bench::new(jobs)?;
    let base = match bench.compute(folder, &document) {
        Ok(base) => base,
        Err(Stop::Run(failure)) => return Err(failure),
        Err(Stop::Here(why)) => return only(&format!("the first side cannot be computed again: {why}")),
    };
    let mut replaced = Replaced::default();
    if moved(&old.tables, &base).iter().any(|(_, found)| !found.within(crate::audit::RELATIVE, crate::audit::OF_U)) {
        let words = "this program gives other numbers for the first side than its results hold: part of the difference comes from the program";
        replaced.remarks.push(words.to_owned());
    }
    let mut singles = Vec::new();
    for (what, group) in groups {
        match bench.with(folder, &document, &group, new) {
            Ok(tables) => {
                let found = moved(&base, &tables);
                replaced.effects.push(Effect { what, moved: headline(&found), not_possible: None });
                singles.push(found);
            }
            Err(Stop::Run(failure)) => return Err(failure),
            Err(Stop::Here(why)) => {
                replaced.effects.push(Effect { what, not_possible: Some(why), ..Effect::default() })
            }
        }
    }
    if replaced.effects.iter().all(|effect| effect.not_possible.is_none()) {
        replaced.interactions = interactions(&moved(&old.tables, &new.tables), &singles);
    } else {
        replaced
            .remarks
            .push("a change could not be applied alone, so it is not known whether the changes interact".to_owned());
    }
    Ok(replaced)
}

/// Changes that can move numbers; more than [`MOST`] are taken together by the place where they stand.
fn grouped(changes: &[Change]) -> Vec<(String, Vec<&Change>)> {
    let can: Vec<&Change> = changes.iter().filter(|change| change.kind != Kind::Words).collect();
    if can.len() <= MOST {
        return can.into_iter().map(|change| (change.what.clone(), vec![change])).collect();
    }
    for depth in [2, 1] {
        let mut groups: BTreeMap<String, Vec<&Change>> = BTreeMap::new();
        for change in &can {
            let place = match change.kind {
                Kind::Raw => "raw exports".to_owned(),
                _ => change.what.split('.').take(depth).collect::<Vec<_>>().join("."),
            };
            groups.entry(place).or_default().push(change);
        }
        if groups.len() <= MOST || depth == 1 {
            return groups
                .into_iter()
                .map(|(place, list)| (format!("{place} ({} changes)", list.len()), list))
                .collect();
        }
    }
    Vec::new()
}

/// What differs in each table that both have.
pub fn moved(old: &Tables, new: &Tables) -> Vec<(String, Differences)> {
    let both = TABLES.iter().filter_map(|name| Some((*name, old.get(*name)?, new.get(*name)?)));
    both.map(|(name, a, b)| (name.to_owned(), differences(a, b, key_columns(name)))).collect()
}

/// Numbers of interest that moved: no uncertainties, ends of intervals or counts; the largest move first.
pub fn headline(found: &[(String, Differences)]) -> Vec<(String, Moved)> {
    let mut list: Vec<(String, Moved)> = Vec::new();
    for (table, differences) in found {
        let plain = |m: &&Moved| {
            let number = m.in_u.is_some_and(|d| d > crate::audit::OF_U);
            let lost = m.old.is_some() != m.new.is_some();
            let verdict = matches!(m.column.as_str(), "verdict" | "grade");
            let side = m.column.starts_with("u_") || m.column.ends_with("_low") || m.column.ends_with("_high");
            !side
                && m.column != "volume_fraction"
                && (number || verdict || (lost && m.column.starts_with("contact_share")))
        };
        list.extend(differences.moved.iter().filter(plain).map(|m| (table.clone(), m.clone())));
    }
    let size = |m: &Moved| m.in_u.unwrap_or(f64::INFINITY);
    list.sort_by(|a, b| size(&b.1).total_cmp(&size(&a.1)));
    list
}

type Cell = (String, String, String);

/// Change in standard uncertainties, with its sign, by cell.
fn signed(found: &[(String, Differences)]) -> BTreeMap<Cell, (f64, f64)> {
    let cells = headline(found).into_iter().filter_map(|(table, m)| {
        let (change, in_u) = (m.change?, m.in_u?);
        Some(((table, m.row, m.column), (change, in_u)))
    });
    cells.collect()
}

/// Cells whose whole move misses the sum of the single ones.
fn interactions(whole: &[(String, Differences)], singles: &[Vec<(String, Differences)>]) -> Vec<Interaction> {
    let whole = signed(whole);
    let singles: Vec<_> = singles.iter().map(|found| signed(found)).collect();
    let mut found = Vec::new();
    for (cell, (change, in_u)) in &whole {
        let sum: f64 = singles.iter().filter_map(|single| single.get(cell)).map(|(change, _)| change).sum();
        let u = change.abs() / in_u;
        let (total, parts) = (change / u, sum / u);
        if (total - parts).abs() > INTERACTION {
            let (table, row, column) = cell;
            found.push(Interaction { what: format!("{table}: {row}: {column}"), whole: total, sum: parts });
        }
    }
    found.sort_by(|a, b| (b.whole - b.sum).abs().total_cmp(&(a.whole - a.sum).abs()));
    found
}

/// Why something could not be computed.
enum Stop {
    /// Here only.
    Here(String),
    /// Nothing can be computed.
    Run(Failure),
}

/// Where the mixed studies are computed; tasks that they share are computed once.
struct Bench {
    scratch: tempfile::TempDir,
    jobs: Option<NonZeroUsize>,
}

impl Bench {
    fn new(jobs: Option<NonZeroUsize>) -> Result<Self, Failure> {
        let scratch = tempfile::Builder::new().prefix("shearback-compare").tempdir();
        Ok(Self { scratch: scratch.map_err(|e| Failure::io("create a folder in", &std::env::temp_dir(), &e))?, jobs })
    }

    /// The first side with these changes.
    fn with(&self, folder: &Path, document: &Value, changes: &[&Change], new: &Side) -> Result<Tables, Stop> {
        let mut mixed = document.clone();
        changes.iter().for_each(|change| change.put_into(&mut mixed));
        let raw: Vec<&&Change> = changes.iter().filter(|change| change.kind == Kind::Raw).collect();
        if raw.is_empty() {
            return self.compute(folder, &mixed);
        }
        let other = match &new.folder {
            Some(other) if new.has_its_raw() => other,
            _ => return Err(Stop::Here("the raw exports of the second side are not there".to_owned())),
        };
        let (folder, _kept) = self.mixed_raw(folder, other, &raw).map_err(Stop::Run)?;
        self.compute(&folder, &mixed)
    }

    /// A folder with the first side's raw exports but for those that changed.
    fn mixed_raw(
        &self,
        folder: &Path,
        other: &Path,
        changes: &[&&Change],
    ) -> Result<(PathBuf, tempfile::TempDir), Failure> {
        let failed = |e: std::io::Error| Failure::io("copy raw exports to", self.scratch.path(), &e);
        let mixed = tempfile::tempdir_in(self.scratch.path()).map_err(failed)?;
        let plan = study::plan_of(folder, None)?;
        let graph = pipeline::graph::Graph::new(&plan)?;
        let changed = |path: &str| changes.iter().any(|change| change.what == path);
        let (from, to, with) = (Files::new(folder), Files::new(mixed.path()), Files::new(other));
        let kept = graph.raw().into_iter().filter(|path| !changed(path)).map(|path| (from.in_study(path), path));
        let put =
            changes.iter().filter(|change| change.new.is_some()).map(|c| (with.in_study(&c.what), c.what.as_str()));
        for (source, path) in kept.chain(put) {
            let target = to.in_study(path);
            target
                .parent()
                .map_or(Ok(()), fs::create_dir_all)
                .and_then(|()| fs::copy(source, target))
                .map_err(failed)?;
        }
        Ok((mixed.path().to_path_buf(), mixed))
    }

    fn compute(&self, folder: &Path, document: &Value) -> Result<Tables, Stop> {
        let words = |d: &[Diagnostic]| d.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
        let study = study::load_text(document.to_string(), folder).map_err(|f| Stop::Here(words(&f.diagnostics)))?;
        let plan = study::plan(&study, &study::typst());
        let plan = select::until(plan, "uncertainty", &study::ALONG).map_err(Stop::Run)?;
        let store = Store::apart(folder, self.scratch.path(), &SystemDisk);
        let cores = || std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
        let request = Request {
            jobs: self.jobs.unwrap_or_else(cores).get(),
            until: Some("uncertainty"),
            cancel: &*cancel::on_signals().map_err(Stop::Run)?,
            progress: &Progress::on_terminal(),
            disk: &SystemDisk,
        };
        let report = run_in(&store, &plan, &request);
        if let Some(failure) = report.failure {
            return Err(Stop::Run(failure));
        }
        if !report.laid_out {
            let failed = report.tasks.iter().flat_map(|entry| &entry.finished.diagnostics).next();
            return Err(Stop::Here(failed.map_or_else(|| "a task failed".to_owned(), ToString::to_string)));
        }
        let results = store.files.results();
        Ok(tables(|name| fs::read(results.join("tables").join(format!("{name}.parquet"))).ok()))
    }
}

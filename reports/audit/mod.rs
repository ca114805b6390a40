//! `audit`: everything once more from the raw exports, in a folder apart and without what was kept, and held against
//! what stands in `results/`. It changes nothing in the study.
//!
//! What is found is an [`Audit`]; `standing.rs` looks at what is there, `kept.rs` at the store, `artefacts.rs` compares
//! files, `surroundings.rs` versions, `work.rs` brings all together, `without_raw.rs` does what can be done without raw
//! exports, `words.rs` says it, `sheet.rs` sets it on one page, `command.rs` is the command.

pub mod artefacts;
pub mod command;
pub mod kept;
pub mod sheet;
pub mod standing;
pub mod surroundings;
pub mod without_raw;
pub mod words;
pub mod work;

use crate::tables::cells::Moved;
use serde::Serialize;

/// Numbers count as the same if they differ by no more than this part of themselves: some 10⁷ times the rounding of
/// double precision, which fits and sums may amplify, and far below any digit that is printed.
pub const RELATIVE: f64 = 1e-9;
/// Or by no more than this part of their standard uncertainty: it is printed with two digits, so nothing printed
/// hangs on a thousandth of it.
pub const OF_U: f64 = 1e-3;

/// What an audit found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Audit {
    /// Title of the study.
    pub study: String,
    /// Number of the run that the results are of, and when that was, as the ledger says.
    pub run: Option<u64>,
    /// Coordinated universal time of that run.
    pub when: Option<String>,
    /// BLAKE3 of `results/manifest.json` as it stands.
    pub manifest: Option<String>,
    /// Whether it could be computed again at all; not without raw exports.
    pub recomputed: bool,
    /// What it was computed again with: program, compiler, platform, tools.
    pub with: std::collections::BTreeMap<String, String>,
    /// What is not as it was when the results were made.
    pub surroundings: Vec<Surrounding>,
    /// How many files that the study keeps for itself are damaged or missing; none where it keeps nothing.
    pub store: Option<usize>,
    /// The raw exports.
    pub raw: Vec<Raw>,
    /// The files of `results/`.
    pub files: Vec<Artefact>,
    /// The claims, as computed now.
    pub claims: Vec<ClaimFound>,
    /// Everything that does not hold, in words.
    pub problems: Vec<Problem>,
    /// Whether all holds.
    pub holds: bool,
    /// Parts of a number, and of its standard uncertainty, within which it counts as the same.
    pub tolerance: [f64; 2],
}

/// A version or the like that differs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Surrounding {
    /// What it is: `shearback`, `typst`, `compiler`, `target`, `profile`.
    pub what: String,
    /// When the results were made.
    pub then: String,
    /// Here and now.
    pub now: String,
}

/// A raw export against the ledger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Raw {
    /// Path in the study.
    pub path: String,
    /// BLAKE3 that the results were made from; none where they do not know the export.
    pub then: Option<String>,
    /// BLAKE3 of the file; none where it cannot be read.
    pub now: Option<String>,
}

impl Raw {
    /// Whether it is the export of the ledger.
    pub fn holds(&self) -> bool {
        self.then.is_some() && self.then == self.now
    }
}

/// How a file of `results/` compares.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Outcome {
    /// The same bytes.
    #[serde(rename = "same bytes")]
    SameBytes,
    /// Other bytes, and every number within the tolerance.
    #[serde(rename = "same numbers")]
    SameNumbers,
    /// A page, or the versions printed on it, that differs only because another typesetter or version set it.
    #[serde(rename = "other typesetter")]
    OtherTypesetter,
    /// Different.
    #[serde(rename = "different")]
    Different,
    /// Not as it was written: changed since.
    #[serde(rename = "changed since")]
    Changed,
    /// Not there.
    #[serde(rename = "missing")]
    Missing,
    /// There, and in no list of ours.
    #[serde(rename = "not ours")]
    NotOurs,
    /// Not computed again, because a task before it failed.
    #[serde(rename = "not recomputed")]
    NotRecomputed,
}

impl Outcome {
    /// Whether the file holds.
    pub fn holds(self) -> bool {
        matches!(self, Self::SameBytes | Self::SameNumbers | Self::OtherTypesetter)
    }
}

/// A file of `results/`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Artefact {
    /// Path below `results/`.
    pub path: String,
    /// How it compares.
    pub outcome: Outcome,
    /// What differs, in words; empty for the same bytes.
    pub words: String,
    /// The number that differs most.
    pub largest: Option<Moved>,
}

/// A claim as computed now.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClaimFound {
    /// The sentence.
    pub says: String,
    /// The number in it.
    pub value: Option<f64>,
    /// How far the found one may lie from it.
    pub within: Option<f64>,
    /// What the raw exports give.
    pub found: Option<f64>,
    /// Its standard uncertainty.
    pub u_found: Option<f64>,
    /// Whether it holds.
    pub holds: bool,
    /// The same in words.
    pub words: String,
}

/// Something that does not hold.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// The file, claim or task.
    pub what: String,
    /// What is wrong with it.
    pub words: String,
}

impl Problem {
    /// A problem of something.
    pub fn new(what: impl Into<String>, words: impl Into<String>) -> Self {
        Self { what: what.into(), words: words.into() }
    }
}

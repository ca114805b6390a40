//! Every file that the engine keeps, and where it stands. Nobody else joins these paths.

use crate::store::digest::Digest;
use std::path::{Path, PathBuf};

/// Name of the list of what must be in `results/`.
pub const MANIFEST: &str = "manifest.json";
/// Name of the copy of the ledger in `results/`.
pub const LEDGER: &str = "ledger.jsonl";

/// The paths of one study.
#[derive(Debug, Clone)]
pub struct Files {
    study: PathBuf,
    /// Where everything of ours stands: the study itself, or a folder apart that leaves it as it is.
    work: PathBuf,
}

impl Files {
    /// The paths of the study in this folder.
    pub fn new(study: impl Into<PathBuf>) -> Self {
        let study = study.into();
        Self { work: study.clone(), study }
    }

    /// What is read stands in `study`, what is written in `work`: the study is left as it is.
    pub fn apart(study: impl Into<PathBuf>, work: impl Into<PathBuf>) -> Self {
        Self { study: study.into(), work: work.into() }
    }

    /// The study itself.
    pub fn study(&self) -> &Path {
        &self.study
    }

    /// A file of the study by its relative path with `/`.
    pub fn in_study(&self, path: &str) -> PathBuf {
        join(&self.study, path)
    }

    /// Everything of ours that is no result.
    pub fn home(&self) -> PathBuf {
        self.work.join(".shearback")
    }

    /// Held while a run writes.
    pub fn lock(&self) -> PathBuf {
        self.home().join("lock")
    }

    /// The last whole run and what was seen on disk.
    pub fn state(&self) -> PathBuf {
        self.home().join("state.json")
    }

    /// One line per whole run.
    pub fn ledger(&self) -> PathBuf {
        self.home().join(LEDGER)
    }

    /// Tasks and keys of a whole run.
    pub fn run(&self, number: u64) -> PathBuf {
        self.home().join("runs").join(format!("{number}.json"))
    }

    /// There while a run has written something and is not whole: what it leaves may be of no use to anybody.
    pub fn unfinished(&self) -> PathBuf {
        self.home().join("unfinished")
    }

    /// Files on their way; whatever is left here is of no use.
    pub fn temporary(&self) -> PathBuf {
        self.home().join("tmp")
    }

    /// The folder of all records.
    pub fn all_records(&self) -> PathBuf {
        self.home().join("records")
    }

    /// All records whose tasks differ in nothing but the content of their inputs.
    pub fn records(&self, partial: &Digest) -> PathBuf {
        self.all_records().join(partial.to_string())
    }

    /// The record of one key.
    pub fn record(&self, partial: &Digest, key: &Digest) -> PathBuf {
        self.records(partial).join(format!("{key}.json"))
    }

    /// Large objects, apart from the others because they are let go.
    pub fn bulky(&self) -> PathBuf {
        self.home().join("bulky")
    }

    /// The other objects.
    pub fn objects(&self) -> PathBuf {
        self.home().join("outputs")
    }

    /// An object by its hash, in a folder for each of its first three digits: some file systems are slow with many
    /// thousands of files in one folder.
    pub fn object(&self, hash: &Digest, bulky: bool) -> PathBuf {
        let folder = if bulky { self.bulky() } else { self.objects() };
        let name = hash.to_string();
        folder.join(&name[..3]).join(name)
    }

    /// What the person looks at.
    pub fn results(&self) -> PathBuf {
        self.work.join("results")
    }

    /// A file of `results/` by its relative path with `/`.
    pub fn result(&self, path: &str) -> PathBuf {
        join(&self.results(), path)
    }

    /// Where what is not ours is moved to.
    pub fn edited(&self) -> PathBuf {
        self.work.join("edited")
    }
}

fn join(folder: &Path, path: &str) -> PathBuf {
    path.split('/').fold(folder.to_path_buf(), |at, part| at.join(part))
}

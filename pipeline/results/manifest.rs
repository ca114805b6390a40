//! `manifest.json`: what must be in `results/`, and whether a run is changing it at this moment.

use crate::command::Failure;
use crate::store::digest::Digest;
use serde::{Deserialize, Serialize};

/// A file that must be there.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Entry {
    /// Path below `results/`, with `/`.
    pub path: String,
    /// Size in bytes.
    pub size: u64,
    /// BLAKE3 of its bytes.
    pub blake3: Digest,
}

/// The list of files, sorted by path.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// A run began to lay out `files` and has not finished: what is there may be old or new.
    pub changing: bool,
    /// What must be there.
    pub files: Vec<Entry>,
    /// While changing: what of ours was there before.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub before: Vec<Entry>,
}

impl Manifest {
    /// Reads one; anything else counts as none.
    pub fn parse(bytes: &[u8]) -> Option<Self> {
        serde_json::from_slice(bytes).ok()
    }

    /// Its bytes: a file per line, so that two of them can be compared by eye.
    ///
    /// # Errors
    /// If it cannot be written as JSON: a mistake in the program.
    pub fn bytes(&self) -> Result<Vec<u8>, Failure> {
        let list = |entries: &[Entry]| -> Result<String, Failure> {
            let lines = entries.iter().map(crate::store::json).collect::<Result<Vec<_>, _>>()?;
            let lines: Vec<_> = lines.iter().map(|line| String::from_utf8_lossy(line)).collect();
            Ok(if lines.is_empty() { "[]".into() } else { format!("[\n{}\n]", lines.join(",\n")) })
        };
        let before =
            if self.before.is_empty() { String::new() } else { format!(",\"before\":{}", list(&self.before)?) };
        Ok(format!("{{\"changing\":{},\"files\":{}{before}}}\n", self.changing, list(&self.files)?).into_bytes())
    }

    /// Whether a file with this content was laid out by us, before or now.
    pub fn lists(&self, path: &str, hash: &Digest) -> bool {
        let same = |entry: &&Entry| entry.path == path;
        let find = |entries: &[Entry]| match entries.binary_search_by(|entry| entry.path.as_str().cmp(path)) {
            Ok(at) => entries.get(at).is_some_and(|entry| entry.blake3 == *hash),
            Err(_) => entries.iter().find(same).is_some_and(|entry| entry.blake3 == *hash),
        };
        find(&self.files) || find(&self.before)
    }
}

//! What stands in `results/` now.

use crate::command::Failure;
use crate::store::files::Files;
use crate::store::stamp::Seen;
use crate::store::state::State;
use std::collections::BTreeMap;
use std::path::Path;
use walkdir::WalkDir;

/// The files of `results/` by relative path with `/`; none for what is no plain file (a link, a socket).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// The files.
    pub files: BTreeMap<String, Option<Seen>>,
}

impl Found {
    /// Walks `results/`. Files that are as the state knows them are not read.
    ///
    /// # Errors
    /// If a folder or file cannot be read.
    pub fn look(files: &Files, state: &State) -> Result<Self, Failure> {
        let root = files.results();
        let Ok(meta) = std::fs::symlink_metadata(&root) else { return Ok(Self::default()) };
        if !meta.is_dir() {
            let error = std::io::Error::from(std::io::ErrorKind::NotADirectory);
            return Err(Failure::io("use", &root, &error));
        }
        let mut found = Self::default();
        for entry in WalkDir::new(&root).min_depth(1) {
            let entry = entry.map_err(|e| {
                let path = e.path().unwrap_or(&root).to_path_buf();
                Failure::io("read", &path, &e.into())
            })?;
            let path = entry.path();
            let meta = std::fs::symlink_metadata(path).map_err(|e| Failure::io("read", path, &e))?;
            if meta.is_dir() {
                continue;
            }
            let name = relative(path, &root);
            let look = || Seen::look(path, &meta, state.results.get(&name)).map_err(|e| Failure::io("read", path, &e));
            let seen = meta.is_file().then(look).transpose()?;
            found.files.insert(name, seen);
        }
        Ok(found)
    }
}

/// A path below `root`, with `/`.
fn relative(path: &Path, root: &Path) -> String {
    let parts = path.strip_prefix(root).unwrap_or(path).iter();
    parts.map(|part| part.to_string_lossy()).collect::<Vec<_>>().join("/")
}

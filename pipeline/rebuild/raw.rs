//! Raw files: looked at, hashed, read, and never opened for writing.

use crate::diagnostic::{Diagnostic, Place};
use crate::graph::is_inside;
use crate::store::digest::Digest;
use crate::store::files::Files;
use crate::store::stamp::Seen;
use std::collections::BTreeMap;
use std::fs::Metadata;
use std::io;
use std::path::{Path, PathBuf};

/// The raw files of a study as they stand.
pub struct RawFiles<'a> {
    files: &'a Files,
    root: Option<PathBuf>,
    folders: BTreeMap<PathBuf, bool>,
}

impl<'a> RawFiles<'a> {
    /// A look at the raw files of this study.
    pub fn new(files: &'a Files) -> Self {
        Self { files, root: files.study().canonicalize().ok(), folders: BTreeMap::new() }
    }

    /// Looks at all of these; what is as it was in `before` is not read.
    pub fn look_at<'p>(
        &mut self,
        paths: impl IntoIterator<Item = &'p str>,
        before: &BTreeMap<String, Seen>,
    ) -> BTreeMap<&'p str, Result<Seen, Box<Diagnostic>>> {
        paths.into_iter().map(|path| (path, self.look(path, before.get(path)))).collect()
    }

    fn look(&mut self, path: &str, before: Option<&Seen>) -> Result<Seen, Box<Diagnostic>> {
        let full = self.files.in_study(path);
        let mut meta = std::fs::symlink_metadata(&full).map_err(|e| unreadable(path, &e))?;
        let link = meta.is_symlink();
        if !is_inside(path) || !self.stays_inside(&full, link) {
            return Err(refused(path, "it leads out of the study", "copy the file into the study"));
        }
        if link {
            meta = std::fs::metadata(&full).map_err(|e| unreadable(path, &e))?;
        }
        regular(path, &meta)?;
        Seen::look(&full, &meta, before).map_err(|e| unreadable(path, &e))
    }

    /// Whether a path, all links followed, ends inside the study. Each folder is resolved once.
    fn stays_inside(&mut self, full: &Path, link: bool) -> bool {
        let Some(root) = &self.root else { return true };
        if link {
            return full.canonicalize().is_ok_and(|target| target.starts_with(root));
        }
        let Some(folder) = full.parent() else { return false };
        let inside = |folder: &Path| folder.canonicalize().map_or(true, |target| target.starts_with(root));
        *self.folders.entry(folder.to_path_buf()).or_insert_with(|| inside(folder))
    }
}

/// The bytes of a raw file that was looked at before; they must still be those.
///
/// # Errors
/// If it cannot be read, or is no longer what it was.
pub fn read(files: &Files, path: &str, expected: &Digest) -> Result<Vec<u8>, Box<Diagnostic>> {
    let bytes = std::fs::read(files.in_study(path)).map_err(|e| unreadable(path, &e))?;
    if Digest::of(&bytes) == *expected {
        return Ok(bytes);
    }
    let diagnostic = Diagnostic::new("the file changed while it was being read").at(Place::file(path));
    Err(Box::new(diagnostic.help("wait until nothing writes to it any more, then run again")))
}

fn regular(path: &str, meta: &Metadata) -> Result<(), Box<Diagnostic>> {
    if meta.is_file() {
        return Ok(());
    }
    let what = if meta.is_dir() { "it is a folder" } else { "it is not a plain file (a device, pipe or socket)" };
    Err(refused(path, what, "name the exports themselves, as plain files"))
}

fn refused(path: &str, why: &str, help: &str) -> Box<Diagnostic> {
    Box::new(Diagnostic::new(format!("not taken as a raw export: {why}")).at(Place::file(path)).help(help))
}

fn unreadable(path: &str, error: &io::Error) -> Box<Diagnostic> {
    let diagnostic = Diagnostic::new(format!("cannot read this export: {error}")).at(Place::file(path));
    Box::new(match error.kind() {
        io::ErrorKind::PermissionDenied => diagnostic.help("give yourself the right to read it, then run again"),
        io::ErrorKind::NotFound => diagnostic.help("put it back, or take it out of the study file"),
        _ => diagnostic,
    })
}

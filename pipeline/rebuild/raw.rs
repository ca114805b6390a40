//! Raw files: looked at, hashed, read, and never opened for writing.

use crate::diagnostic::{Diagnostic, Place};
use crate::graph::is_inside;
use crate::store::digest::{Digest, Growing};
use crate::store::files::Files;
use crate::store::record::Kept;
use crate::store::stamp::Seen;
use std::collections::BTreeMap;
use std::fs::{File, Metadata};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

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

/// A file of which the hash is known; reading it gives those bytes or an error.
#[derive(Debug)]
pub struct HashedFile {
    /// Where it is.
    full: PathBuf,
    /// How it is called: by its path in the study.
    path: String,
    expected: Digest,
    /// Streams that were opened and not read to their end.
    unread: AtomicUsize,
}

impl HashedFile {
    /// The file at this path of the study, which must still have this hash.
    pub fn raw(files: &Files, path: &str, expected: Digest) -> Self {
        Self { full: files.in_study(path), path: path.to_owned(), expected, unread: AtomicUsize::new(0) }
    }

    /// A stored object.
    pub fn stored(files: &Files, kept: &Kept) -> Self {
        let full = files.object(&kept.hash, kept.bulky);
        let home = files.home();
        let path = full.strip_prefix(home.parent().unwrap_or(&home)).unwrap_or(&full).display().to_string();
        Self { path, full, expected: kept.hash, unread: AtomicUsize::new(0) }
    }

    /// The hash that it must have.
    pub fn expected(&self) -> Digest {
        self.expected
    }

    /// From its beginning.
    ///
    /// # Errors
    /// If it cannot be opened.
    pub fn open(&self) -> Result<Stream<'_>, Box<Diagnostic>> {
        let file = File::open(&self.full).map_err(|e| unreadable(&self.path, &e))?;
        self.unread.fetch_add(1, Ordering::Relaxed);
        Ok(Stream { of: self, file, hash: Growing::default(), end: None })
    }

    /// Whether all that was opened was read to its end, and so is known to be what was looked at.
    pub fn is_whole(&self) -> bool {
        self.unread.load(Ordering::Relaxed) == 0
    }

    /// Whether it is no longer what was looked at.
    ///
    /// # Errors
    /// Then, or if it cannot be read.
    pub fn unchanged(&self) -> Result<(), Box<Diagnostic>> {
        let (hash, _) = Digest::of_file(&self.full).map_err(|e| unreadable(&self.path, &e))?;
        if hash == self.expected { Ok(()) } else { Err(self.changed()) }
    }

    fn changed(&self) -> Box<Diagnostic> {
        let diagnostic = Diagnostic::new("the file changed while it was being read").at(Place::file(&self.path));
        Box::new(diagnostic.help("wait until nothing writes to it any more, then run again"))
    }
}

/// Such a file being read. Its end is given only if all before it was what was looked at.
#[derive(Debug)]
pub struct Stream<'a> {
    of: &'a HashedFile,
    file: File,
    hash: Growing,
    /// Whether the end was reached, and all was well.
    end: Option<bool>,
}

impl Stream<'_> {
    fn end(&mut self) -> io::Result<usize> {
        let well = *self.end.get_or_insert_with(|| {
            let well = self.hash.digest() == self.of.expected;
            self.of.unread.fetch_sub(usize::from(well), Ordering::Relaxed);
            well
        });
        if well { Ok(0) } else { Err(io::Error::other(*self.of.changed())) }
    }
}

impl Read for Stream<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.end.is_some() {
            return self.end();
        }
        let read = self.file.read(buffer).map_err(|e| io::Error::other(*unreadable(&self.of.path, &e)))?;
        if read == 0 && !buffer.is_empty() {
            return self.end();
        }
        self.hash.take(&buffer[..read]);
        Ok(read)
    }
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

//! A bag that came from elsewhere, folder or zip: its files by name, and their bytes. What no bag of ours could hold is
//! refused before a single byte is laid out; nothing in it is ever run.

use super::names;
use pipeline::command::Failure;
use pipeline::diagnostic::{Diagnostic, Place};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};
use walkdir::WalkDir;
use zip::ZipArchive;

/// More files than this are no study (empirical: the largest has some thousands).
const MOST_FILES: usize = 200_000;
/// A file that is larger than this and shrinks more than 500-fold is no measurement (empirical: exports shrink about
/// ten-fold; deflate itself ends at 1032).
const SUSPICIOUS: (u64, u64) = (16 << 20, 500);

/// A bag to be read.
pub struct Origin {
    /// Size by path in the bag.
    pub files: BTreeMap<String, u64>,
    kind: Kind,
}

enum Kind {
    Folder(PathBuf),
    Zip { archive: Box<ZipArchive<BufReader<File>>>, index: BTreeMap<String, usize> },
}

/// Something that is refused, by name.
pub fn refused(path: &str, why: impl std::fmt::Display) -> Diagnostic {
    Diagnostic::new(format!("refused: {why}")).at(Place::file(path))
}

impl Origin {
    /// Opens a bag and looks at its names; `largest` is the most that all files together may hold, bytes.
    ///
    /// # Errors
    /// Everything in it that is refused, or that it cannot be read.
    pub fn open(bag: &Path, largest: u64) -> Result<Self, Failure> {
        let origin = if bag.is_dir() { folder(bag)? } else { archive(bag)? };
        let total: u64 = origin.files.values().fold(0, |sum, size| sum.saturating_add(*size));
        if total > largest {
            let help = format!("`--largest` takes a limit in GiB; {} bytes would be laid out", total);
            let why = format!("it holds {total} bytes, more than the limit of {largest}");
            return Err(Failure::input(vec![refused(&bag.to_string_lossy(), why).help(help)]));
        }
        Ok(origin)
    }

    /// The bytes of a file.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn read(&mut self, path: &str) -> std::io::Result<Box<dyn Read + '_>> {
        match &mut self.kind {
            Kind::Folder(root) => {
                let full = path.split('/').fold(root.clone(), |at, part| at.join(part));
                Ok(Box::new(BufReader::new(File::open(full)?)))
            }
            Kind::Zip { archive, index } => {
                let at = *index.get(path).ok_or(std::io::ErrorKind::NotFound)?;
                Ok(Box::new(archive.by_index(at)?))
            }
        }
    }

    /// A short file as text; at most `limit` bytes.
    ///
    /// # Errors
    /// If it cannot be read, is longer, or is no UTF-8.
    pub fn text(&mut self, path: &str, limit: u64) -> Result<String, Diagnostic> {
        if self.files.get(path).is_some_and(|size| *size > limit) {
            return Err(refused(path, format!("it is larger than {limit} bytes")));
        }
        let mut bytes = Vec::new();
        let read = self.read(path).and_then(|reader| reader.take(limit).read_to_end(&mut bytes));
        read.map_err(|e| refused(path, format!("it cannot be read: {e}")))?;
        String::from_utf8(bytes).map_err(|_| refused(path, "it is no UTF-8"))
    }
}

/// What was found under which name; everything refused is collected.
#[derive(Default)]
struct Names {
    seen: names::Seen,
    files: BTreeMap<String, u64>,
    problems: Vec<Diagnostic>,
}

impl Names {
    fn file(&mut self, path: &str, size: u64) {
        match names::check(path).and_then(|()| self.seen.enter(path)) {
            Ok(()) => {
                self.files.insert(path.to_owned(), size);
            }
            Err(why) => self.problems.push(refused(path, why)),
        }
    }

    fn refuse(&mut self, path: &str, why: impl std::fmt::Display) {
        self.problems.push(refused(path, why));
    }

    fn finish(mut self) -> Result<BTreeMap<String, u64>, Failure> {
        if self.files.len() > MOST_FILES {
            self.refuse("the bag", format!("it has more than {MOST_FILES} files"));
        }
        if self.problems.is_empty() { Ok(self.files) } else { Err(Failure::input(self.problems)) }
    }
}

fn folder(root: &Path) -> Result<Origin, Failure> {
    let mut names = Names::default();
    for entry in WalkDir::new(root).min_depth(1).follow_links(false).sort_by_file_name() {
        let entry = entry.map_err(|e| Failure::io("read", root, &e.into()))?;
        let relative = entry.path().strip_prefix(root).unwrap_or(entry.path());
        let Some(path) = relative.to_str() else {
            names.refuse(&relative.to_string_lossy(), "its name is no UTF-8");
            continue;
        };
        let path = if cfg!(windows) { path.replace('\\', "/") } else { path.to_owned() };
        let kind = entry.file_type();
        match entry.metadata() {
            Ok(meta) if kind.is_file() => names.file(&path, meta.len()),
            Ok(_) if kind.is_dir() => {}
            Ok(_) if kind.is_symlink() => names.refuse(&path, "it is a link"),
            Ok(_) => names.refuse(&path, "it is neither a file nor a folder"),
            Err(e) => names.refuse(&path, format!("it cannot be read: {e}")),
        }
    }
    Ok(Origin { files: names.finish()?, kind: Kind::Folder(root.to_path_buf()) })
}

fn archive(path: &Path) -> Result<Origin, Failure> {
    let file = File::open(path).map_err(|e| Failure::io("read", path, &e))?;
    let whole = |why: String| Failure::input(vec![refused(&path.to_string_lossy(), why)]);
    let mut archive = ZipArchive::new(BufReader::new(file)).map_err(|e| whole(format!("it is no zip archive: {e}")))?;
    if archive.has_duplicate_names() {
        return Err(whole("it has two entries of one name".to_owned()));
    }
    if archive.offset() != 0 {
        return Err(whole("something stands before the archive".to_owned()));
    }
    if archive.has_overlapping_files().map_err(|e| whole(e.to_string()))? {
        return Err(whole("its entries lie over each other".to_owned()));
    }
    archive.validate_header_consistency().map_err(|e| whole(format!("its two lists of entries differ: {e}")))?;
    let (mut names, mut index, mut base) = (Names::default(), BTreeMap::new(), None);
    for at in 0..archive.len() {
        let entry = archive.by_index_raw(at).map_err(|e| whole(e.to_string()))?;
        let raw = String::from_utf8(entry.name_raw().to_vec());
        let Ok(name) = raw else {
            names.refuse(&String::from_utf8_lossy(entry.name_raw()), "its name is no UTF-8");
            continue;
        };
        let is_folder = name.ends_with('/');
        let whole = name.trim_end_matches('/');
        if let Err(why) = names::check(whole).and_then(|()| entry_kind(&entry, is_folder)) {
            names.refuse(&name, why);
            continue;
        }
        let (top, inside) = whole.split_once('/').unwrap_or((whole, ""));
        if base.get_or_insert_with(|| top.to_owned()) != top || (inside.is_empty() && !is_folder) {
            names.refuse(&name, "it stands beside the one folder that a packed bag has (RFC 8493, 4)");
        } else if !is_folder {
            names.file(inside, entry.size());
            index.insert(inside.to_owned(), at);
        }
    }
    Ok(Origin { files: names.finish()?, kind: Kind::Zip { archive: Box::new(archive), index } })
}

/// Only plain files and folders, not encrypted, that do not swell beyond reason.
fn entry_kind<R: Read>(entry: &zip::read::ZipFile<'_, R>, is_folder: bool) -> Result<(), String> {
    const KIND: u32 = 0o170_000;
    match entry.unix_mode().map(|mode| mode & KIND) {
        Some(0o120_000) => return Err("it is a link".to_owned()),
        None | Some(0 | 0o100_000) => {}
        Some(0o040_000) if is_folder => {}
        Some(_) => return Err("it is neither a file nor a folder".to_owned()),
    }
    if entry.encrypted() {
        return Err("it is encrypted".to_owned());
    }
    if is_folder && entry.size() > 0 {
        return Err("it is a folder with content".to_owned());
    }
    let (size, packed) = (entry.size(), entry.compressed_size().max(1));
    if size > SUSPICIOUS.0 && size / packed > SUSPICIOUS.1 {
        return Err(format!("it would swell {}-fold to {size} bytes", size / packed));
    }
    Ok(())
}

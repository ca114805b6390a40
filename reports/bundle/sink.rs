//! Where a bag is written: a folder, or a zip with fixed times and rights, so that the same dataset gives the same
//! bytes. Nothing stands under the final name before it is whole.

use super::hashes::{Hashes, copy};
use pipeline::command::Failure;
use pipeline::diagnostic::Diagnostic;
use std::fs::{self, File};
use std::io::{BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

/// Entries from this size on have 64-bit sizes (APPNOTE 4.5.3), with some room for what does not shrink.
const LARGE: u64 = 0xf000_0000;

/// A bag on its way; dropped before [`Sink::finish`] it leaves nothing.
pub struct Sink {
    partial: Partial,
    to: PathBuf,
    zip: Option<Zip>,
}

struct Zip {
    writer: ZipWriter<BufWriter<File>>,
    base: String,
}

/// What is removed unless it got its name.
struct Partial(Option<PathBuf>);

impl Drop for Partial {
    fn drop(&mut self) {
        if let Some(path) = &self.0 {
            // A leftover disturbs nobody, and there is nobody to tell.
            let _ = if path.is_dir() { fs::remove_dir_all(path) } else { fs::remove_file(path) };
        }
    }
}

/// Whether this name asks for a zip.
pub fn is_zip(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("zip"))
}

impl Sink {
    /// A bag at `to`: a zip with one folder `base` in it where the name ends in `.zip`, else a folder.
    ///
    /// # Errors
    /// If something stands there, or the disk refuses.
    pub fn new(to: &Path, base: &str) -> Result<Self, Failure> {
        if fs::symlink_metadata(to).is_ok() {
            let message = format!("{} is there already", to.display());
            return Err(Failure::input(vec![Diagnostic::new(message).help("choose another name, or move it away")]));
        }
        let mut name = to.file_name().unwrap_or_default().to_owned();
        name.push(format!(".partial-{}", std::process::id()));
        let path = to.with_file_name(name);
        let zip = if is_zip(to) {
            let file = File::create(&path).map_err(|e| Failure::io("write", &path, &e))?;
            Some(Zip { writer: ZipWriter::new(BufWriter::new(file)), base: base.to_owned() })
        } else {
            fs::create_dir_all(&path).map_err(|e| Failure::io("create", &path, &e))?;
            None
        };
        Ok(Self { partial: Partial(Some(path)), to: to.to_owned(), zip })
    }

    /// Writes a file of the bag; `size` is what is expected of it, and more is refused.
    ///
    /// # Errors
    /// If it cannot be read or written.
    pub fn put(&mut self, path: &str, size: u64, from: &mut dyn Read) -> Result<Hashes, Failure> {
        let failed = |e: std::io::Error| Failure::io("pack", path.as_ref(), &e);
        match &mut self.zip {
            Some(zip) => {
                let options = SimpleFileOptions::default()
                    .compression_method(CompressionMethod::Deflated)
                    .compression_level(Some(6))
                    .last_modified_time(DateTime::default())
                    .unix_permissions(0o644)
                    .large_file(size >= LARGE);
                zip.writer.start_file(format!("{}/{path}", zip.base), options).map_err(|e| failed(e.into()))?;
                copy(from, &mut zip.writer, size).map_err(failed)
            }
            None => {
                let root = self.partial.0.clone().unwrap_or_default();
                let full = path.split('/').fold(root, |at, part| at.join(part));
                full.parent().map_or(Ok(()), fs::create_dir_all).map_err(failed)?;
                let mut file = BufWriter::new(File::create(&full).map_err(failed)?);
                let hashes = copy(from, &mut file, size).map_err(failed)?;
                file.flush().map_err(failed)?;
                Ok(hashes)
            }
        }
    }

    /// Writes a short file of the bag.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn put_text(&mut self, path: &str, text: &str) -> Result<Hashes, Failure> {
        self.put(path, text.len() as u64, &mut text.as_bytes())
    }

    /// The bag is whole: it gets its name.
    ///
    /// # Errors
    /// If the disk refuses.
    pub fn finish(mut self) -> Result<(), Failure> {
        if let Some(zip) = self.zip.take() {
            let written = zip.writer.finish().map_err(std::io::Error::from).and_then(|mut out| out.flush());
            written.map_err(|e| Failure::io("write", &self.to, &e))?;
        }
        let Some(path) = self.partial.0.take() else { return Ok(()) };
        fs::rename(&path, &self.to).map_err(|e| {
            self.partial.0 = Some(path);
            Failure::io("write", &self.to, &e)
        })
    }
}

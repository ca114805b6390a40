//! Files into a study: copies whose content is read back and compared. Nothing is overwritten.

use pipeline::command::Failure;
use pipeline::diagnostic::{Diagnostic, Place};
use std::fs;
use std::io::Write;
use std::path::Path;

/// Writes a new file whole or not at all, and reads it back.
///
/// # Errors
/// If something stands there already, it cannot be written, or what comes back is not what was written.
pub(super) fn write_new(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    if path.symlink_metadata().is_ok() {
        let diagnostic = Diagnostic::new("this file is there already").at(Place::file(path.display().to_string()));
        return Err(Failure::input(vec![
            diagnostic.help("move it away, or choose another folder: nothing is overwritten"),
        ]));
    }
    let folder = path.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder).map_err(|error| Failure::io("make", folder, &error))?;
    let half = path.with_file_name(format!(".{}.part", path.file_name().unwrap_or_default().to_string_lossy()));
    let written = whole(&half, bytes).and_then(|()| fs::rename(&half, path));
    if let Err(error) = written {
        // The half of a file is of no use; that it stays is the smaller trouble.
        let _ = fs::remove_file(&half);
        return Err(Failure::io("write", path, &error));
    }
    let back = fs::read(path).map_err(|error| Failure::io("read back", path, &error))?;
    if blake3::hash(&back) == blake3::hash(bytes) {
        return Ok(());
    }
    let diagnostic =
        Diagnostic::new("what was written does not come back the same").at(Place::file(path.display().to_string()));
    Err(Failure::surroundings(diagnostic.help("check the disk, and start again in another folder")))
}

fn whole(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut file = fs::File::create(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a/b.txt");
        write_new(&path, b"1").unwrap();
        assert!(write_new(&path, b"2").is_err());
        assert_eq!(fs::read(&path).unwrap(), b"1");
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1);
    }
}

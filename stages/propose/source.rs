//! Files that a person names, as bytes: only whole regular files, and each refusal says why.

use pipeline::diagnostic::{Diagnostic, Place};
use std::fs::{self, Metadata};
use std::io::{Error, ErrorKind};
use std::path::Path;

/// Reads a file that may be anything.
///
/// # Errors
/// If it is not there, leads nowhere, is a folder, a pipe or a device, or changes while it is read.
pub(super) fn read(path: &Path) -> Result<Vec<u8>, Diagnostic> {
    let at =
        |message: &str, help: &str| Diagnostic::new(message).at(Place::file(path.display().to_string())).help(help);
    let before = fs::metadata(path).map_err(|error| unreadable(path, &error))?;
    if before.is_dir() {
        return Err(at(
            "this is a folder",
            "name its files, or start a study from it: `shearback new DIR --from FOLDER`",
        ));
    }
    if !before.is_file() {
        return Err(at("this is no regular file but a pipe or a device", "save the export as a file first"));
    }
    let bytes = fs::read(path).map_err(|error| unreadable(path, &error))?;
    let after = fs::metadata(path).map_err(|error| unreadable(path, &error))?;
    if seen(&before) != seen(&after) || bytes.len() as u64 != after.len() {
        return Err(at("the file changed while it was being read", "wait until the export is finished, and try again"));
    }
    Ok(bytes)
}

fn seen(metadata: &Metadata) -> (u64, Option<std::time::SystemTime>) {
    (metadata.len(), metadata.modified().ok())
}

fn unreadable(path: &Path, error: &Error) -> Diagnostic {
    let message = match error.kind() {
        ErrorKind::NotFound if path.is_symlink() => "this link leads nowhere".to_owned(),
        ErrorKind::NotFound => "there is no such file".to_owned(),
        _ => format!("cannot read this file: {error}"),
    };
    Diagnostic::new(message).at(Place::file(path.display().to_string())).help("check the path and who may read it")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_file_is_refused_by_name() {
        let folder = tempfile::tempdir().unwrap();
        let said = |path: &Path| read(path).unwrap_err().to_string();
        assert!(said(folder.path()).contains("this is a folder"));
        assert!(said(&folder.path().join("a.txt")).contains("there is no such file"));
        let file = folder.path().join("b.txt");
        fs::write(&file, "t;M\n").unwrap();
        assert_eq!(read(&file).unwrap(), b"t;M\n");
    }

    #[cfg(unix)]
    #[test]
    fn links_to_nowhere_and_pipes_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("link");
        std::os::unix::fs::symlink(folder.path().join("gone"), &link).unwrap();
        assert!(read(&link).unwrap_err().to_string().contains("this link leads nowhere"));
        let pipe = folder.path().join("pipe");
        assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        assert!(read(&pipe).unwrap_err().to_string().contains("no regular file"));
    }
}

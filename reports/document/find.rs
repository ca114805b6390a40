//! Finds the typesetter. It is looked for, never installed; only 0.15 is taken, because pages change with the version.

use pipeline::diagnostic::Diagnostic;
use pipeline::stage::Tool;
use std::env;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Name of the program.
pub const NAME: &str = "typst";
/// Major and minor version that the templates are written for.
const WANTED: &str = "0.15.";
const PROGRAM: &str = if cfg!(windows) { "typst.exe" } else { "typst" };

/// What to type where there is none: the quick build (about two minutes), and the optimised one for daily work.
pub const HELP: &str = "install it, then run again. Quick to build (about 2 minutes on two cores):
    CARGO_PROFILE_RELEASE_OPT_LEVEL=0 CARGO_PROFILE_RELEASE_STRIP=symbols cargo install --locked typst-cli --version \
                        0.15.1 --no-default-features --features embedded-fonts
ten times faster at setting pages, for daily work (about 10 minutes):
    cargo install --locked typst-cli --version 0.15.1 --no-default-features --features embedded-fonts
A typst that is elsewhere is named by the environment variable TYPST";

/// The typesetter: by `TYPST`, beside our own program, in the user's data folder, in `.tools/bin` of a checkout that
/// holds our program, then on `PATH`. A `TYPST` that does not fit is an error, not passed over.
///
/// # Errors
/// If none of version 0.15 is found; what was tried is listed, and the help says how to install it.
pub fn find_typst() -> Result<Tool, Diagnostic> {
    let mut tried = Vec::new();
    if let Some(named) = env::var_os("TYPST").filter(|v| !v.is_empty()) {
        return tool(PathBuf::from(named), &mut tried).ok_or_else(|| not_found(&tried));
    }
    let found = candidates().into_iter().filter(|c| c.is_file()).find_map(|c| tool(c, &mut tried));
    found.ok_or_else(|| not_found(&tried))
}

fn not_found(tried: &[String]) -> Diagnostic {
    let seen = if tried.is_empty() { "none found".to_owned() } else { tried.join("; ") };
    Diagnostic::new(format!("the typesetter typst 0.15 is needed for the report: {seen}")).help(HELP)
}

fn candidates() -> Vec<PathBuf> {
    let own = env::current_exe().ok();
    let own = own.as_deref().and_then(Path::parent);
    let secondary = own.map(|folder| folder.join(PROGRAM));
    // A checkout holds our program in target/debug or the like; its tools stand at its top.
    let checkouts = own.into_iter().flat_map(Path::ancestors).map(|a| a.join(".tools").join("bin").join(PROGRAM));
    let path = env::var_os("PATH").unwrap_or_default();
    let on_path: Vec<PathBuf> = env::split_paths(&path).map(|folder| folder.join(PROGRAM)).collect();
    let data = data_folder().map(|folder| folder.join("shearback").join("bin").join(PROGRAM));
    secondary.into_iter().chain(data).chain(checkouts).chain(on_path).collect()
}

/// The user's data folder: by the XDG base directories, else what the system has for it.
fn data_folder() -> Option<PathBuf> {
    let variable = |name: &str| env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    if let Some(folder) = variable("XDG_DATA_HOME").filter(|f| f.is_absolute()) {
        return Some(folder);
    }
    if cfg!(windows) {
        return variable("LOCALAPPDATA");
    }
    let home = variable("HOME")?;
    Some(if cfg!(target_os = "macos") { home.join("Library/Application Support") } else { home.join(".local/share") })
}

/// The tool at a path, if it runs and its version fits; otherwise why not goes to `tried`.
fn tool(path: PathBuf, tried: &mut Vec<String>) -> Option<Tool> {
    let said = Command::new(&path).arg("--version").stdin(Stdio::null()).output();
    let text = match said {
        Ok(output) if output.status.success() => String::from_utf8_lossy(&output.stdout).into_owned(),
        Ok(output) => {
            tried.push(format!("{} ended with {}", path.display(), output.status));
            return None;
        }
        Err(e) => {
            tried.push(format!("{} does not run ({e})", path.display()));
            return None;
        }
    };
    let version = text.split_whitespace().nth(1).unwrap_or_default().to_owned();
    if version.starts_with(WANTED) {
        return Some(Tool { name: NAME, version, path: Some(path) });
    }
    tried.push(format!("{} is version {version}", path.display()));
    None
}

#[cfg(all(test, unix))]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::document::typeset::tests::script;

    #[test]
    fn only_the_version_of_the_templates_is_taken() {
        let folder = tempfile::tempdir().unwrap();
        let fit = script(folder.path(), "fit", "echo 'typst 0.15.9 (abc)'");
        let other = script(folder.path(), "other", "echo typst 0.14.2");
        let broken = script(folder.path(), "broken", "exit 3");
        let mut tried = Vec::new();
        assert_eq!(tool(fit, &mut tried).unwrap().version, "0.15.9");
        for path in [other, broken, folder.path().join("none")] {
            assert_eq!(tool(path, &mut tried), None);
        }
        let error = not_found(&tried);
        assert!(error.message.contains("is version 0.14.2") && error.message.contains("does not run"), "{error}");
        assert!(
            error.help.is_some_and(|h| h.matches("cargo install --locked typst-cli --version 0.15.1").count() == 2)
        );
    }
}

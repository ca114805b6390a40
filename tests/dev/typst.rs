//! Finds typst, or builds it into `.tools`; the program itself never installs anything.

use std::env;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The version that is built where none is found; any 0.15 is taken.
const VERSION: &str = "0.15.1";
const SERIES: &str = "0.15.";

/// A typst 0.15: `TYPST`, `.tools/bin`, `PATH`, or built now.
pub(crate) fn ensure(root: &Path) -> Result<PathBuf, String> {
    match find(root) {
        Some(typst) => {
            eprintln!("== typst: {}", typst.display());
            Ok(typst)
        }
        None => build(root),
    }
}

fn find(root: &Path) -> Option<PathBuf> {
    let program = format!("typst{}", env::consts::EXE_SUFFIX);
    let path = env::var_os("PATH").unwrap_or_default();
    let named = env::var_os("TYPST").map(PathBuf::from);
    let folders = [root.join(".tools/bin")].into_iter().chain(env::split_paths(&path));
    named.into_iter().chain(folders.map(|folder| folder.join(&program))).find(|candidate| fits(candidate))
}

fn fits(candidate: &Path) -> bool {
    let Ok(output) = Command::new(candidate).arg("--version").output() else { return false };
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    output.status.success() && text.split_whitespace().nth(1).is_some_and(|version| version.starts_with(SERIES))
}

/// Unoptimised: a quarter of the build time and the same PDF, a few seconds slower per report.
fn build(root: &Path) -> Result<PathBuf, String> {
    let tools = root.join(".tools");
    eprintln!("== no typst {SERIES}x was found: building {VERSION} into .tools (about 2.5 minutes on two cores)");
    let mut features = "embedded-fonts".to_owned();
    if !openssl_headers() {
        eprintln!("== OpenSSL's headers are missing: building them too (needs perl and make, some minutes more)");
        features += ",vendor-openssl";
    }
    let cargo = env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let status = Command::new(cargo)
        .args(["install", "--locked", "typst-cli", "--version", VERSION, "--no-default-features", "--features"])
        .arg(&features)
        .arg("--root")
        .arg(&tools)
        .env("CARGO_PROFILE_RELEASE_OPT_LEVEL", "0")
        .env("CARGO_PROFILE_RELEASE_STRIP", "symbols")
        .env("CARGO_TARGET_DIR", tools.join("build"))
        .status()
        .map_err(|error| format!("cargo could not be started: {error}"))?;
    let typst = tools.join("bin").join(format!("typst{}", env::consts::EXE_SUFFIX));
    // What the build left behind is a gigabyte that nobody needs again; it does no harm if it stays.
    let _ = std::fs::remove_dir_all(tools.join("build"));
    if status.success() && fits(&typst) { Ok(typst) } else { Err(format!("building typst ended with {status}")) }
}

/// Whether `openssl-sys` will find a system OpenSSL; on other systems than Linux typst does not ask for it.
fn openssl_headers() -> bool {
    if !cfg!(target_os = "linux") {
        return true;
    }
    Command::new("pkg-config").args(["--exists", "openssl"]).status().is_ok_and(|status| status.success())
}

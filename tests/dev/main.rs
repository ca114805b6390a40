//! `cargo demo` and `cargo check-all`: what a fresh checkout needs, and nothing heavy in it; and `make-demo`, which
//! writes the demo's raw exports anew.
//!
//! It installs typst into `.tools` where none of a fit version is found, and calls cargo and the built program;
//! it holds no knowledge of studies or reports.

#[path = "../generator/mod.rs"]
mod generator;
mod make_demo;
mod typst;

use std::env;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

const USAGE: &str = "usage: cargo demo | cargo check-all | cargo run -p shearback-dev -- make-demo";

fn main() -> ExitCode {
    let outcome = match env::args().nth(1).as_deref() {
        Some("demo") => demo(),
        Some("check-all") => check_all(),
        Some("make-demo") => make_demo::run().map_err(|error| format!("make-demo: {error}")),
        _ => Err(USAGE.to_owned()),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            eprintln!("{message}");
            ExitCode::FAILURE
        }
    }
}

/// The checkout: cargo runs this program from inside it.
fn checkout() -> Result<PathBuf, String> {
    let here = env::var_os("CARGO_MANIFEST_DIR").map(PathBuf::from).ok_or("call it as `cargo demo`")?;
    here.ancestors().nth(2).map(Path::to_owned).ok_or_else(|| "the checkout was not found".to_owned())
}

fn demo() -> Result<(), String> {
    let root = checkout()?;
    let typst = typst::ensure(&root)?;
    say("building shearback (first time: about five minutes on two cores)");
    cargo(&root, &["build", "--locked", "--package", "shearback"], &typst)?;
    say("running the demo study");
    cargo(&root, &["run", "--quiet", "--locked", "--package", "shearback", "--", "run", "demo-project"], &typst)?;
    say("the report is demo-project/results/report.pdf");
    Ok(())
}

fn check_all() -> Result<(), String> {
    let root = checkout()?;
    let typst = typst::ensure(&root)?;
    say("formatting");
    cargo(&root, &["fmt", "--all", "--check"], &typst)?;
    say("lints");
    cargo(&root, &["clippy", "--locked", "--workspace", "--all-targets", "--", "--deny", "warnings"], &typst)?;
    say("tests");
    cargo(&root, &["test", "--locked", "--workspace"], &typst)
}

fn say(what: &str) {
    eprintln!("== {what}");
}

/// Runs cargo in the checkout with the typst that was found.
fn cargo(root: &Path, words: &[&str], typst: &Path) -> Result<(), String> {
    let cargo = env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let status = Command::new(cargo).args(words).current_dir(root).env("TYPST", typst).status();
    match status {
        Ok(status) if status.success() => Ok(()),
        Ok(status) => Err(format!("`cargo {}` ended with {status}", words.join(" "))),
        Err(error) => Err(format!("cargo could not be started: {error}")),
    }
}

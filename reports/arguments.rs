//! Arguments that several commands of this crate have.

use clap::{Arg, ArgAction, ArgMatches, value_parser};
use pipeline::command::Failure;
use pipeline::diagnostic::Diagnostic;
use std::num::NonZeroUsize;
use std::path::PathBuf;

/// The argument STUDY.
pub fn study_argument() -> Arg {
    let help = "Folder with study.yaml";
    Arg::new("study").value_name("STUDY").default_value(".").value_parser(value_parser!(PathBuf)).help(help)
}

/// The option `--json`.
pub fn json_option() -> Arg {
    Arg::new("json").long("json").action(ArgAction::SetTrue).help("Print one JSON document")
}

/// The option `--jobs`.
pub fn jobs_option() -> Arg {
    let help = "Number of tasks at a time [default: number of cores]";
    Arg::new("jobs").long("jobs").value_name("N").value_parser(value_parser!(NonZeroUsize)).help(help)
}

/// The folder STUDY.
///
/// # Errors
/// If it is none.
pub fn study_folder(typed: &ArgMatches) -> Result<PathBuf, Failure> {
    let folder = typed.get_one::<PathBuf>("study").cloned().unwrap_or_default();
    if folder.is_dir() {
        return Ok(folder);
    }
    let diagnostic = Diagnostic::new(format!("{} is not a folder", folder.display()));
    Err(Failure::input(vec![diagnostic.help("give a folder that holds a study.yaml")]))
}

//! `shearback audit`, as typed.

use super::{sheet, words, work};
use clap::{Arg, ArgAction, ArgMatches, value_parser};
use pipeline::command::{Answer, Command, Exit, Failure};
use std::num::NonZeroUsize;
use std::path::PathBuf;

/// The command.
pub struct AuditCommand;

impl Command for AuditCommand {
    fn typed(&self) -> clap::Command {
        clap::Command::new("audit")
            .about("Compute everything again from the raw exports, compare with results/, check every claim")
            .after_help("Changes nothing in the study. The folder apart is made where TMPDIR says. Exit status 1 if anything does not hold.")
            .arg(study())
            .arg(Arg::new("sheet").long("sheet").value_name("PDF").value_parser(value_parser!(PathBuf)).help(
                "Write a one-page audit sheet here, and all that was found beside it as JSON",
            ))
            .arg(jobs())
            .arg(json())
    }

    fn perform(&self, typed: &ArgMatches) -> Result<Answer, Failure> {
        let folder = folder(typed, "study")?;
        let path = typed.get_one::<PathBuf>("sheet");
        path.map_or(Ok(()), |path| sheet::check(path, &folder))?;
        let audit = work::audit(&folder, typed.get_one("jobs").copied())?;
        let written = path.map(|path| sheet::write(&audit, path)).transpose()?;
        let text = if typed.get_flag("json") {
            serde_json::to_string_pretty(&audit).unwrap_or_default()
        } else {
            let sheets = written.iter().flatten().map(|path| format!("sheet: {}\n", path.display()));
            words::text(&audit) + &sheets.collect::<String>()
        };
        Ok(Answer { text, remarks: Vec::new(), exit: if audit.holds { Exit::Good } else { Exit::Unmet } })
    }
}

/// The argument STUDY.
pub fn study() -> Arg {
    let help = "Folder with study.yaml";
    Arg::new("study").value_name("STUDY").default_value(".").value_parser(value_parser!(PathBuf)).help(help)
}

/// The option `--json`.
pub fn json() -> Arg {
    Arg::new("json").long("json").action(ArgAction::SetTrue).help("Print one JSON document")
}

/// The option `--jobs`.
pub fn jobs() -> Arg {
    let help = "Number of tasks at a time [default: number of cores]";
    Arg::new("jobs").long("jobs").value_name("N").value_parser(value_parser!(NonZeroUsize)).help(help)
}

/// A folder that was named.
///
/// # Errors
/// If it is none.
pub fn folder(typed: &ArgMatches, name: &str) -> Result<PathBuf, Failure> {
    let folder = typed.get_one::<PathBuf>(name).cloned().unwrap_or_default();
    if folder.is_dir() {
        return Ok(folder);
    }
    let diagnostic = pipeline::diagnostic::Diagnostic::new(format!("{} is not a folder", folder.display()));
    Err(Failure::input(vec![diagnostic.help("give a folder that holds a study.yaml")]))
}

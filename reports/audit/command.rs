//! `shearback audit`, as typed.

use super::{sheet, words, work};
use crate::arguments::{jobs_option, json_option, study_argument, study_folder};
use clap::{Arg, ArgMatches, value_parser};
use pipeline::command::{Answer, Command, Exit, Failure};
use std::path::PathBuf;

/// The command.
pub struct AuditCommand;

impl Command for AuditCommand {
    fn typed(&self) -> clap::Command {
        clap::Command::new("audit")
            .about("Compute everything again from the raw exports, compare with results/, and check every claim")
            .after_help("Changes nothing in the study; computes in a temporary folder (TMPDIR). Exit status 1 if anything does not hold.")
            .arg(study_argument())
            .arg(Arg::new("sheet").long("sheet").value_name("PDF").value_parser(value_parser!(PathBuf)).help(
                "Write a one-page audit sheet to this file, and everything found to a JSON file beside it",
            ))
            .arg(jobs_option())
            .arg(json_option())
    }

    fn perform(&self, typed: &ArgMatches) -> Result<Answer, Failure> {
        let folder = study_folder(typed)?;
        let path = typed.get_one::<PathBuf>("sheet");
        path.map_or(Ok(()), |path| sheet::check(path, &folder))?;
        let audit = work::audit(&folder, typed.get_one("jobs").copied())?;
        let written = path.map(|path| sheet::write(&audit, path)).transpose()?;
        let text = if typed.get_flag("json") {
            serde_json::to_string_pretty(&audit).unwrap_or_default()
        } else {
            let sheets = written.iter().flatten().map(|path| format!("sheet: {}\n", path.display()));
            words::audit_text(&audit) + &sheets.collect::<String>()
        };
        Ok(Answer { text, remarks: Vec::new(), exit: if audit.holds { Exit::Good } else { Exit::Unmet } })
    }
}

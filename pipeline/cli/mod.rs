//! The command line: what was typed, what is done for it, and the exit status.

pub mod args;
pub mod render;
mod run;
mod why;

use crate::command::{Domain, Exit, Failure, Form};
use crate::diagnostic::Diagnostic;
use crate::store::FORMAT;
use args::{Args, Command};
use clap::Parser;
use std::path::Path;
use std::process::ExitCode;

/// Runs the program for what was typed.
pub fn main(domain: &dyn Domain) -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => {
            // Help goes to stdout, where the reader may have gone; that is fine.
            let _ = error.print();
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(Exit::Input as u8));
        }
    };
    let exit = perform(domain, args).unwrap_or_else(|failure| render::fail(&failure));
    ExitCode::from(exit as u8)
}

fn perform(domain: &dyn Domain, args: Args) -> Result<Exit, Failure> {
    if args.version {
        return print(version(domain).as_bytes());
    }
    let Some(command) = args.command else {
        let diagnostic = Diagnostic::new("no command was given").help("`shearback --help` lists them");
        return Err(Failure::input(vec![diagnostic]));
    };
    match command {
        Command::Run { study, until, jobs, json } => {
            run::run(domain, &run::Options { study: &study, until: until.as_deref(), jobs, json })
        }
        Command::Why { study, json } => why::why(domain, &study, json),
        Command::Settings { study, json } => {
            let form = if json { Form::Json } else { Form::Text };
            print(domain.settings(exists(&study)?, form)?.as_bytes())
        }
        Command::Schema => print(domain.schema()?.as_bytes()),
        Command::Show { table, study, json, csv } => {
            let form = match (json, csv) {
                (true, _) => Form::Json,
                (_, true) => Form::Csv,
                _ => Form::Text,
            };
            print(domain.show(&table, exists(&study)?, form)?.as_bytes())
        }
        Command::Completions { shell } => print(&args::completions(shell)),
        Command::Man => print(&args::man().map_err(|e| Failure::io("write", "the manual page".as_ref(), &e))?),
    }
}

fn print(bytes: &[u8]) -> Result<Exit, Failure> {
    render::say(bytes)?;
    if !bytes.ends_with(b"\n") {
        render::say(b"\n")?;
    }
    Ok(Exit::Good)
}

fn version(domain: &dyn Domain) -> String {
    let tool = domain.tool_version().unwrap_or_else(|| "typst not found".into());
    format!("shearback {}\nstore format {FORMAT}\n{tool}\n", env!("CARGO_PKG_VERSION"))
}

/// The folder, if it is one.
fn exists(study: &Path) -> Result<&Path, Failure> {
    if study.is_dir() {
        return Ok(study);
    }
    let diagnostic = Diagnostic::new(format!("{} is not a folder", study.display()));
    Err(Failure::input(vec![diagnostic.help("give a folder that holds a study.yaml")]))
}

/// The document of `--json` for a command that could not begin: the keys that it always has, and why.
fn document_of(study: &Path, failure: &Failure) -> serde_json::Value {
    serde_json::json!({
        "study": null, "tasks": [], "built": 0, "reused": 0, "failed": 0,
        "results": study.join("results").to_string_lossy(), "errors": failure.diagnostics,
    })
}

/// One JSON document on stdout.
fn print_json(document: &serde_json::Value) -> Result<(), Failure> {
    let mut bytes = crate::store::json(document)?;
    bytes.push(b'\n');
    render::say(&bytes)
}

//! The command line: what was typed, what is done for it, and the exit status.

pub mod args;
pub mod render;
mod run;
mod space;
mod why;

use crate::command::{self, Domain, Exit, Failure, Form};
use crate::diagnostic::Diagnostic;
use crate::store::FORMAT;
use args::{Args, Command};
use clap::{ArgMatches, FromArgMatches};
use std::path::Path;
use std::process::ExitCode;

/// Runs the program for what was typed.
pub fn main(domain: &dyn Domain) -> ExitCode {
    let brought = domain.commands();
    let typed = match args::line(&brought).try_get_matches() {
        Ok(typed) => typed,
        Err(error) => return usage(&error),
    };
    let done = match brought_command(&brought, &typed) {
        Some((command, typed)) => answer(command, typed),
        None => match Args::from_arg_matches(&typed) {
            Ok(args) => perform(domain, args),
            Err(error) => return usage(&error),
        },
    };
    ExitCode::from(done.unwrap_or_else(|failure| render::fail(&failure)) as u8)
}

fn usage(error: &clap::Error) -> ExitCode {
    // Help goes to stdout, where the reader may have gone; that is fine.
    let _ = error.print();
    ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(Exit::Input as u8))
}

/// The command of the domain that was typed, with its arguments.
fn brought_command<'a>(
    brought: &'a [Box<dyn command::Command>],
    typed: &'a ArgMatches,
) -> Option<(&'a dyn command::Command, &'a ArgMatches)> {
    let (name, typed) = typed.subcommand()?;
    let command = brought.iter().find(|command| command.typed().get_name() == name)?;
    Some((&**command, typed))
}

fn answer(command: &dyn command::Command, typed: &ArgMatches) -> Result<Exit, Failure> {
    let answer = command.perform(typed)?;
    if !answer.text.is_empty() {
        print(answer.text.as_bytes())?;
    }
    answer.remarks.iter().for_each(|remark| render::complain(None, remark));
    Ok(answer.exit)
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
        Command::Run { study, last_stage, jobs, json } => {
            run::run(domain, &run::Options { study: &study, last_stage: last_stage.as_deref(), jobs, json })
        }
        Command::Why { study, json } => why::why(domain, &study, json),
        Command::Space { study, free, json } => space::space(&study, free, json),
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
        Command::Completions { shell } => print(&args::completions(shell, args::line(&domain.commands()))),
        Command::Man => {
            let page = args::man(args::line(&domain.commands()));
            print(&page.map_err(|e| Failure::io("write", "the manual page".as_ref(), &e))?)
        }
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

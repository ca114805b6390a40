//! `shearback compare`, as typed.

use super::changes;
use super::replace::{Replaced, headline, moved, replace};
use super::sides::Side;
use super::words::{self, Comparison};
use crate::arguments::{jobs_option, json_option};
use crate::audit::surroundings::surroundings;
use clap::{Arg, ArgAction, ArgMatches, value_parser};
use pipeline::command::{Answer, Command, Exit, Failure};
use pipeline::diagnostic::Diagnostic;
use stages::setup;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

/// The command.
pub struct CompareCommand;

impl Command for CompareCommand {
    fn typed(&self) -> clap::Command {
        let path = |name: &'static str, value: &'static str, help: &'static str| {
            Arg::new(name).value_name(value).value_parser(value_parser!(PathBuf)).help(help)
        };
        clap::Command::new("compare")
            .about("Show which numbers moved between two studies, results folders or runs, by how much, and what moved them")
            .after_help(
                "With one study: its last run against the run before. With --run N: run N against the last run; with \
                 --run given twice: the first against the second. Exit status 0 whenever the comparison was possible.",
            )
            .arg(path("a", "A", "A study with results, or a results folder").default_value("."))
            .arg(path("b", "B", "The second study or results folder").conflicts_with("run"))
            .arg(
                Arg::new("run")
                    .long("run")
                    .value_name("N")
                    .action(ArgAction::Append)
                    .value_parser(value_parser!(u64))
                    .help("Number of an earlier run in the ledger of A"),
            )
            .arg(
                Arg::new("numbers-only")
                    .long("numbers-only")
                    .action(ArgAction::SetTrue)
                    .help("Do not compute which change moved which number"),
            )
            .arg(jobs_option())
            .arg(json_option())
    }

    fn perform(&self, typed: &ArgMatches) -> Result<Answer, Failure> {
        let a = typed.get_one::<PathBuf>("a").cloned().unwrap_or_default();
        let runs: Vec<u64> = typed.get_many("run").into_iter().flatten().copied().collect();
        let (old, new) = sides(&a, typed.get_one::<PathBuf>("b").map(PathBuf::as_path), &runs)?;
        let found = compare(&old, &new, !typed.get_flag("numbers-only"), typed.get_one("jobs").copied())?;
        let text = if typed.get_flag("json") {
            serde_json::to_string_pretty(&words::comparison_json(&found)).unwrap_or_default()
        } else {
            words::comparison_text(&found)
        };
        Ok(Answer { text, remarks: Vec::new(), exit: Exit::Good })
    }
}

fn sides(a: &Path, b: Option<&Path>, runs: &[u64]) -> Result<(Side, Side), Failure> {
    match (b, runs) {
        (Some(b), _) => Ok((Side::standing(a)?, Side::standing(b)?)),
        (None, []) => Ok((Side::earlier(a, None)?, Side::standing(a)?)),
        (None, [run]) => Ok((Side::earlier(a, Some(*run))?, Side::standing(a)?)),
        (None, [first, second]) => Ok((Side::earlier(a, Some(*first))?, Side::earlier(a, Some(*second))?)),
        _ => Err(Failure::input(vec![
            Diagnostic::new("`--run` was given more than twice").help("give it once or twice: two runs are compared"),
        ])),
    }
}

fn compare(old: &Side, new: &Side, one_at_a_time: bool, jobs: Option<NonZeroUsize>) -> Result<Comparison, Failure> {
    let typed = |side: &Side| side.study_file.as_deref().and_then(|text| setup::typed(text).ok());
    let files = typed(old).zip(typed(new));
    let mut found = files.as_ref().map_or_else(Vec::new, |(a, b)| changes::settings(a, b));
    found.extend(changes::raw(&old.raw, &new.raw));
    let differences = moved(&old.tables, &new.tables);
    let nothing = headline(&differences).is_empty();
    let replaced = match &files {
        Some(_) if one_at_a_time && !nothing => replace(old, new, &found, jobs)?,
        None if !nothing => Replaced {
            remarks: vec!["which change moved which number is not known: one side has no study file".to_owned()],
            ..Replaced::default()
        },
        _ => Replaced::default(),
    };
    let made = old.line.as_ref().zip(new.line.as_ref());
    Ok(Comparison {
        sides: [old.name.clone(), new.name.clone()],
        changes: found,
        files_known: files.is_some(),
        surroundings: made.map_or_else(Vec::new, |(a, b)| surroundings(&a.made, &b.made)),
        moved: differences,
        replaced,
    })
}

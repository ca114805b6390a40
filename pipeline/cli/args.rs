//! The command line as typed: the engine's commands, and the place of the domain's. Must not do anything.

use crate::command;
use clap::{CommandFactory, Parser, Subcommand};
use clap_complete::Shell;
use std::num::NonZeroUsize;
use std::path::PathBuf;

/// From raw shear-reversal exports to contact shares that survive a referee.
#[derive(Debug, Parser)]
#[command(name = "shearback", disable_version_flag = true, arg_required_else_help = true)]
#[command(after_help = "Exit status: 0 all good, 1 done but something does not hold, 2 bad input, 3 the surroundings.")]
pub struct Args {
    /// Print our version, the store's format and the typst found
    #[arg(short = 'V', long)]
    pub version: bool,
    /// What to do
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Bring every result up to date; only what changed is computed again
    Run {
        /// Folder with study.yaml
        #[arg(default_value = ".")]
        study: PathBuf,
        /// Stop after this stage, and take later, stale results away
        #[arg(long, value_name = "STAGE")]
        last_stage: Option<String>,
        /// Number of tasks at a time [default: number of cores]
        #[arg(long, value_name = "N")]
        jobs: Option<NonZeroUsize>,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
    /// Tell for each task its condition and the exact reason; computes nothing
    Why {
        /// Folder with study.yaml
        #[arg(default_value = ".")]
        study: PathBuf,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
    /// Tell how much .shearback takes, and free what the current results do not need
    Space {
        /// Folder with study.yaml
        #[arg(default_value = ".")]
        study: PathBuf,
        /// Let go of the readings of earlier runs and of what stopped runs left
        #[arg(long)]
        free: bool,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
    /// Show every setting: value in force, default, unit, range, meaning, line
    Settings {
        /// Folder with study.yaml
        #[arg(default_value = ".")]
        study: PathBuf,
        /// Print one JSON document
        #[arg(long)]
        json: bool,
    },
    /// Print the JSON Schema of study.yaml, for editors
    Schema,
    /// Show a table of results
    Show {
        /// Name of the table
        table: String,
        /// Folder with study.yaml
        #[arg(default_value = ".")]
        study: PathBuf,
        /// Print one JSON document
        #[arg(long, conflicts_with = "csv")]
        json: bool,
        /// Print comma-separated values
        #[arg(long)]
        csv: bool,
    },
    /// Print completions for a shell
    Completions {
        /// The shell
        shell: Shell,
    },
    /// Print the manual page
    Man,
}

/// The whole command line: the engine's commands and those that the domain brings.
pub fn line(brought: &[Box<dyn command::Command>]) -> clap::Command {
    Args::command().subcommands(brought.iter().map(|command| command.typed()))
}

/// The completions for a shell.
pub fn completions(shell: Shell, mut line: clap::Command) -> Vec<u8> {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut line, "shearback", &mut text);
    text
}

/// The manual page.
///
/// # Errors
/// None in practice: it is written to memory.
pub fn man(line: clap::Command) -> std::io::Result<Vec<u8>> {
    let mut text = Vec::new();
    clap_mangen::Man::new(line).render(&mut text)?;
    Ok(text)
}

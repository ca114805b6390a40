//! Trials against known truth, for anyone to run: each makes synthetic data apart from the stages, lets the stages
//! read them in process, and prints bias and coverage as a Markdown table.

mod coverage;
mod fits;
#[allow(dead_code)] // The demo's campaign uses the rest.
#[path = "../generator/instrument.rs"]
mod instrument;
#[allow(dead_code)] // The demo's campaign uses the rest.
#[path = "../generator/material.rs"]
mod material;
#[path = "../generator/random.rs"]
mod random;
mod resampling;
mod reversal;

use std::process::ExitCode;

/// A trial: its name on the command line, what it shows, and what runs it with the remaining arguments.
type Trial = (&'static str, &'static str, fn(&[String]) -> ExitCode);

/// All trials.
const TRIALS: [Trial; 3] = [
    ("coverage", "how often the intervals of made-up studies hold the truth", coverage::trial),
    ("reversal", "contact shares of synthetic reversals: bias, coverage, resolved or not", reversal::trial),
    ("fits", "speed of 10,000 global fits to resampled data (with --release); beside it fits.py", fits::trial),
];

fn main() -> ExitCode {
    let typed: Vec<String> = std::env::args().skip(1).collect();
    let wanted = typed.first().map(String::as_str);
    match TRIALS.iter().find(|(name, ..)| Some(*name) == wanted) {
        Some((_, _, trial)) => trial(&typed[1..]),
        None => {
            TRIALS.iter().for_each(|(name, shows, _)| eprintln!("cargo trial {name}: {shows}"));
            ExitCode::from(2)
        }
    }
}

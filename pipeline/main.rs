//! The program: joins engine, stages and reports. It belongs to the package at the top of the repository, though it
//! stands in the engine's folder; the engine itself must not know it.

use pipeline::command::{Command, Domain, Earlier, Exit, Failure, Form, Summary};
use pipeline::diagnostic::{Diagnostic, Place};
use pipeline::stage::Plan;
use reports::document::find::find_typst;
use reports::study::{load, plan_of};
use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    pipeline::cli::main(&Reversal)
}

/// Shear reversal: what the engine asks of those who know the domain.
struct Reversal;

impl Domain for Reversal {
    fn plan(&self, folder: &Path, until: Option<&str>) -> Result<Plan, Failure> {
        plan_of(folder, until)
    }

    fn before_run(&self, plan: &Plan) -> Result<(), Failure> {
        if plan.tasks.iter().any(|task| task.tool.as_ref().is_some_and(|tool| tool.path.is_none())) {
            find_typst().map_err(Failure::surroundings)?;
        }
        Ok(())
    }

    fn remark_words(&self, stage: &str, remark: &serde_json::Value) -> String {
        reports::text::remarks::of_task(stage, remark)
    }

    fn summary(&self, results: &Path, earlier: Option<&Earlier<'_>>) -> Result<Summary, Failure> {
        let then = |path: &str| earlier.and_then(|earlier| earlier.read(path));
        let told = reports::after_run::after_run(results, then).map_err(unreadable)?;
        Ok(Summary { unmet: !told.missed_claims.is_empty(), lines: told.lines, json: told.json })
    }

    fn settings(&self, folder: &Path, form: Form) -> Result<String, Failure> {
        let study = load(folder)?;
        Ok(match form {
            Form::Json => reports::settings::settings_json(&study),
            _ => reports::settings::settings_text(&study),
        })
    }

    fn schema(&self) -> Result<String, Failure> {
        Ok(reports::settings::schema())
    }

    fn show(&self, table: &str, folder: &Path, form: Form) -> Result<String, Failure> {
        let table = reports::tables::find::find(table, &folder.join("results")).map_err(|d| Failure::input(vec![d]))?;
        match form {
            Form::Text => Ok(reports::tables::show::show(&table)),
            Form::Json => Ok(reports::tables::find::json(&table)),
            Form::Csv => table
                .to_csv()
                .map(|csv| String::from_utf8_lossy(&csv).into_owned())
                .map_err(|e| unreadable(e.to_string())),
        }
    }

    fn commands(&self) -> Vec<Box<dyn Command>> {
        stages::commands(reports::text::remarks::ingest::words).into_iter().chain(reports::commands()).collect()
    }

    fn tool_version(&self) -> Option<String> {
        find_typst().ok().map(|tool| format!("{} {}", tool.name, tool.version))
    }
}

fn unreadable(message: String) -> Failure {
    let help = "run again: what does not fit is made anew";
    Failure {
        exit: Exit::Surroundings,
        diagnostics: vec![Diagnostic::new(message).at(Place::file("results")).help(help)],
    }
}

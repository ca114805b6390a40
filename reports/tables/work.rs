//! The work of the tasks that write tables: results in, Parquet and CSV out; nothing else.

use super::{controls, dictionary, models, reversals, rows, runs, states, validity};
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced, from_json};
use stages::claims::result::ClaimRow;
use stages::earlier_results::result::Held;
use stages::fit::result::Fits;
use stages::reversal::result::GradedRun;
use stages::states::result::States;
use stages::table::Table;
use stages::uncertainty::result::{Budget, Remark, SensitivityRow};

type Made = Result<Produced, Vec<Diagnostic>>;

/// Both forms of a table, as outputs `parquet` and `csv`.
fn written(table: &Table) -> Made {
    Ok(Produced::default().with("parquet", table.to_parquet()?).with("csv", table.to_csv()?))
}

/// All inputs as graded runs, in the declared order.
fn graded(context: &Context<'_>) -> Result<Vec<GradedRun>, Vec<Diagnostic>> {
    context.inputs().iter().map(|(name, bytes)| from_json(name, bytes)).collect()
}

/// `table runs`: every input is a graded run.
pub fn runs(context: &Context<'_>) -> Made {
    written(&runs::runs_table(&graded(context)?))
}

/// `table exclusions`: every input is a graded run.
pub fn exclusions(context: &Context<'_>) -> Made {
    written(&runs::exclusions_table(&graded(context)?))
}

/// `table validity`: every input is a graded run.
pub fn validity(context: &Context<'_>) -> Made {
    written(&validity::validity_table(&graded(context)?))
}

/// `table controls`: inputs `control:NAME`, and every graded run.
pub fn controls(context: &Context<'_>) -> Made {
    let (controls, runs): (Vec<_>, Vec<_>) = context.inputs().iter().partition(|(name, _)| name.starts_with(CONTROL));
    let all = controls.into_iter().map(|(name, bytes)| from_json(name, bytes)).collect::<Result<Vec<_>, _>>()?;
    let graded = runs.into_iter().map(|(name, bytes)| from_json(name, bytes)).collect::<Result<Vec<_>, _>>()?;
    written(&controls::controls_table(&all, &graded))
}

/// How the names of inputs begin that are controls.
pub const CONTROL: &str = "control:";

/// `table reversals`, from the input `states`.
pub fn reversals(context: &Context<'_>) -> Made {
    written(&reversals::reversals_table(&context.json::<States>("states")?.reversals))
}

/// `table states`, from the input `states`.
pub fn states(context: &Context<'_>) -> Made {
    written(&states::states_table(&context.json::<States>("states")?.states))
}

/// `table thickening`, from the input `states`.
pub fn thickening(context: &Context<'_>) -> Made {
    written(&states::thickening_table(&context.json::<States>("states")?.thickening))
}

/// The result under `name`, or an empty one where the study has no such stage.
fn optional<T: serde::de::DeserializeOwned + Default>(cx: &Context<'_>, name: &str) -> Result<T, Vec<Diagnostic>> {
    if cx.inputs().iter().any(|(n, _)| n == name) { cx.json(name) } else { Ok(T::default()) }
}

/// `table fits`, from the input `fits` where there is one.
pub fn fits(context: &Context<'_>) -> Made {
    written(&rows::fits_table(&optional::<Fits>(context, "fits")?.rows))
}

/// `table models`, from the input `fits` where there is one.
pub fn models(context: &Context<'_>) -> Made {
    written(&models::models_table(&optional::<Fits>(context, "fits")?.quality))
}

/// `table candidate_models`, from the input `fits` where there is one.
pub fn candidate_models(context: &Context<'_>) -> Made {
    written(&models::candidate_models_table(&optional::<Fits>(context, "fits")?.candidate_models))
}

/// `table flow_states`, from the input `fits` where there is one.
pub fn flow_states(context: &Context<'_>) -> Made {
    written(&models::flow_states_table(&optional::<Fits>(context, "fits")?.flow_states))
}

/// `table budget`, from the input `budget` where there is one. Terms that are left out are a remark.
pub fn budget(context: &Context<'_>) -> Made {
    let budget: Budget = optional(context, "budget")?;
    let left_out = budget.remarks.iter().filter(|remark| **remark == Remark::TermsLeftOut);
    written(&rows::budget_table(&budget.rows))?.with_remarks(&left_out.collect::<Vec<_>>())
}

/// `table sensitivity`, from the input `sensitivity` where there is one.
pub fn sensitivity(context: &Context<'_>) -> Made {
    written(&rows::sensitivity_table(&optional::<Vec<SensitivityRow>>(context, "sensitivity")?))
}

/// `table claims`, from the input `claims` where there is one. A claim that misses is a remark.
pub fn claims(context: &Context<'_>) -> Made {
    let rows: Vec<ClaimRow> = optional(context, "claims")?;
    written(&rows::claims_table(&rows))?.with_remarks(&rows.iter().filter(|r| !r.holds).collect::<Vec<_>>())
}

/// `earlier results table`: every input is an earlier table, held.
pub fn earlier_results(context: &Context<'_>) -> Made {
    let held = context.inputs().iter().map(|(name, bytes)| from_json::<Held>(name, bytes));
    let rows = held.collect::<Result<Vec<_>, _>>()?.into_iter().flat_map(|held| held.rows).collect::<Vec<_>>();
    written(&rows::earlier_results_table(&rows))
}

/// `table dictionary`: no input; setting `preamble`, the keys of the entries that are columns of `runs`.
pub fn dictionary(context: &Context<'_>) -> Made {
    written(&dictionary::table(&context.settings::<Vec<String>>("preamble")?))
}

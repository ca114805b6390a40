//! The work of the tasks that write tables: results in, Parquet and CSV out; nothing else.

use super::claims::{self, Claim};
use super::{dictionary, reversals, rows, runs, states};
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced, from_json};
use stages::reversal::result::JudgedRun;
use stages::states::result::States;
use stages::table::Table;
use std::collections::BTreeMap;

type Made = Result<Produced, Vec<Diagnostic>>;

/// Both forms of a table, as outputs `parquet` and `csv`.
fn written(table: &Table) -> Made {
    Ok(Produced::default().with("parquet", table.to_parquet()?).with("csv", table.to_csv()?))
}

/// All inputs as judged runs, in the declared order.
fn judged(context: &Context<'_>) -> Result<Vec<JudgedRun>, Vec<Diagnostic>> {
    context.inputs().iter().map(|(name, bytes)| from_json(name, bytes)).collect()
}

/// `table runs`: every input is a judged run.
pub fn runs(context: &Context<'_>) -> Made {
    written(&runs::runs_table(&judged(context)?))
}

/// `table exclusions`: every input is a judged run.
pub fn exclusions(context: &Context<'_>) -> Made {
    written(&runs::exclusions_table(&judged(context)?))
}

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

/// The rows under `name`, or none where the stage that makes them is skipped.
fn optional<T: serde::de::DeserializeOwned>(context: &Context<'_>, name: &str) -> Result<Vec<T>, Vec<Diagnostic>> {
    if context.inputs().iter().any(|(n, _)| n == name) { context.json(name) } else { Ok(Vec::new()) }
}

/// `table fits`, from the input `fits` where the stage is not skipped.
pub fn fits(context: &Context<'_>) -> Made {
    written(&rows::fits_table(&optional(context, "fits")?))
}

/// `table budget`, from the input `budget` where the stage is not skipped.
pub fn budget(context: &Context<'_>) -> Made {
    written(&rows::budget_table(&optional(context, "budget")?))
}

/// `table claims`, from the settings `claims` and an input per table that they name. A miss is a remark.
pub fn claims(context: &Context<'_>) -> Made {
    let claims: Vec<Claim> = context.settings("claims")?;
    let mut tables = BTreeMap::new();
    for (name, bytes) in context.inputs() {
        tables.insert(name.as_str(), Table::from_parquet(bytes)?);
    }
    let (mut rows, mut problems) = (Vec::new(), Vec::new());
    for claim in &claims {
        match tables.get(claim.table.as_str()).map(|table| claims::check(claim, table)) {
            Some(Ok(row)) => rows.push(row),
            Some(Err(problem)) => problems.push(problem),
            None => problems.push(unknown_table(claim)),
        }
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let mut produced = written(&claims::claims_table(&rows))?.with_json("rows", &rows)?;
    produced.remarks = rows.iter().filter(|r| !r.holds).map(miss).collect();
    Ok(produced)
}

fn unknown_table(claim: &Claim) -> Diagnostic {
    Diagnostic::new(format!("claim \"{}\" names the table {}, which there is not", claim.says, claim.table))
        .help("name one of runs, reversals, states, thickening, fits, budget")
}

/// The sentence about a claim that does not hold.
pub fn miss(row: &claims::ClaimRow) -> String {
    use crate::text::numbers::{plus_minus, setting};
    let found = match row.found {
        Some(found) => plus_minus(found, row.u_found.unwrap_or(f64::NAN)),
        None => "no number".to_owned(),
    };
    format!("claim misses: \"{}\": {} within {}, found {found}", row.says, setting(row.value), setting(row.within))
}

/// `table dictionary`: no input.
pub fn dictionary(_: &Context<'_>) -> Made {
    written(&dictionary::table())
}

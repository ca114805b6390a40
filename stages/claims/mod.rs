//! Claims: numbers that were, or will be, printed somewhere, held against what the study gives.
//!
//! In: the claims of the study file and the published tables. Out: a row per claim. A claim that fits no row, or
//! more than one, does not hold, and its row says what there is instead; one that holds is held against what other
//! choices of settings give as well.

mod compute;
pub mod params;
mod remark;
pub mod result;

use crate::claims::params::Claim;
use crate::table::Table;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Output, Produced};
use std::collections::BTreeMap;

/// What the task gives.
pub const OUTPUTS: [Output; 1] = [Output { name: "claims", bulky: false }];

/// Settings `claims`; inputs: Parquet tables, each under its name.
///
/// # Errors
/// If a table cannot be read, which is a mistake in the program.
pub fn work(cx: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let claims: Vec<Claim> = cx.settings("claims")?;
    let mut tables = BTreeMap::new();
    for (name, bytes) in cx.inputs() {
        tables.insert(name.clone(), Table::from_parquet(bytes)?);
    }
    let rows: Vec<_> = claims.iter().map(|claim| compute::check(claim, &tables)).collect();
    Produced::default().with_json("claims", &rows)
}

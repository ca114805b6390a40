//! Claims: numbers that were, or will be, printed somewhere, held against what the study gives.
//!
//! A paper says "contacts carry 0.86 of the viscosity of A at 100 Pa". The study file repeats the sentence as data: the
//! published table, the column, what picks the row, the number, and how far the study may lie from it. Whenever the
//! analysis changes, this stage says whether the sentence still holds, so that text and numbers cannot drift apart.
//!
//! In: the claims of the study file and the published tables. Out: a [`result::ClaimRow`] per claim.
//!
//! A claim must fit exactly one row. Texts match word by word, set-points by number and unit, so that `10 Pa` finds
//! `9.98 Pa` as found from the motion within rounding (`physics::set_point`). One that fits none, or several, does not hold,
//! and its remark says what the table offers instead. |found − value| ≤ within decides; the uncertainty of the study's
//! number is shown beside it and does not widen the limit, because the sentence that is printed states one number.
//!
//! A contact share or a share of the rise that holds is held against the table `sensitivity` as well: a claim that would
//! miss under another choice of settings that could be defended holds, with that remark.

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

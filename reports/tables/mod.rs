//! The published tables: their columns, how rows are made from results, their Parquet and CSV, the dictionary.
//! It must hold no analysis: a column is a field of a result, or null where the field may not be claimed.

pub mod column;
pub mod controls;
pub mod dictionary;
pub mod find;
pub mod models;
pub mod reversals;
pub mod rows;
pub mod runs;
pub mod show;
pub mod states;
pub mod validity;
pub mod work;

pub use column::Column;
use stages::table::ColumnSpec;

/// A published table: its name, what a row is, and its columns.
#[derive(Debug, Clone)]
pub struct TableSpec {
    /// Name, as in `tables/NAME.parquet`.
    pub name: &'static str,
    /// What a row stands for.
    pub row: &'static str,
    /// The columns in order.
    pub columns: Vec<ColumnSpec>,
}

/// Every published table, in the order of the dictionary.
pub fn published() -> Vec<TableSpec> {
    let spec = |name, row, columns| TableSpec { name, row, columns };
    vec![
        spec("runs", "raw export", column::specs(&runs::runs())),
        spec("exclusions", "run and reason", column::specs(&runs::exclusions())),
        spec("validity", "run and number", column::specs(&validity::validity())),
        spec("controls", "instrument and geometry with a control", column::specs(&controls::controls())),
        spec("reversals", "reversal", column::specs(&reversals::reversals())),
        spec("states", "state", column::specs(&states::states())),
        spec("thickening", "sample", column::specs(&states::thickening())),
        spec("fits", "model and parameter", column::specs(&rows::fits())),
        spec("models", "model and what it was fitted to", column::specs(&models::models())),
        spec("candidate_models", "explanation of contact shares", column::specs(&models::candidate_models())),
        spec("flow_states", "state under the fitted law", column::specs(&models::flow_states())),
        spec("budget", "quantity and source", column::specs(&rows::budget())),
        spec("sensitivity", "quantity and choice", column::specs(&rows::sensitivity())),
        spec("claims", "claim", column::specs(&rows::claims())),
        spec("earlier_results", "old number", column::specs(&rows::earlier_results())),
        spec("points", "reading", runs::POINTS.to_vec()),
    ]
}

/// Tables that no claim can be about: those of what is claimed, and the readings, which are a file per export.
const WITHOUT_CLAIMS: [&str; 3] = ["claims", "earlier_results", "points"];

/// The tables that a claim can be about.
pub fn claimable() -> Vec<TableSpec> {
    published().into_iter().filter(|table| !WITHOUT_CLAIMS.contains(&table.name)).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

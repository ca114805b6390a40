//! The published tables: the list of them, their columns, how rows are made from results, their Parquet and CSV.
//! It must hold no analysis: a column is a field of a result, or null where the field may not be claimed.

pub mod cells;
pub mod column;
pub mod controls;
pub mod dictionary;
pub mod find;
pub mod models;
pub mod published;
pub mod raw_exports;
pub mod reversals;
pub mod rows;
pub mod runs;
pub mod show;
pub mod states;
pub mod validity;
pub mod work;

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

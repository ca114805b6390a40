//! Ingest: what does one raw export say? Bytes by their layout → readings in SI and a head, with no knowledge of
//! sample, geometry or instrument.
//!
//! `container.rs` gzip or workbook · `workbook.rs` a sheet → text · `text.rs` bytes → text · `header.rs` columns and preamble · `units.rs` their units · `number.rs` one field · `times.rs` times with colons and dates ·
//! `compute.rs` rows · `steps.rs`, `angle.rs` what a row alone cannot tell. Rows in = rows out + rows refused by
//! name.

mod angle;
pub mod compute;
pub(crate) mod container;
#[cfg(test)]
#[allow(clippy::panic)]
pub(crate) mod corpus;
pub(crate) mod header;
pub mod layout;
#[cfg(test)]
mod made_workbook;
pub(crate) mod number;
pub mod params;
pub mod result;
mod steps;
#[cfg(test)]
#[allow(clippy::panic)]
mod tests;
pub(crate) mod text;
pub(crate) mod times;
pub(crate) mod units;
pub(crate) mod workbook;

use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced};

/// The task: input `raw`, settings `layout`, `sheet` and `ingest` → `readings` (Parquet) and `head` (JSON).
///
/// # Errors
/// As [`compute::read`]; places name the file `raw`.
pub fn work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let raw = context.input("raw")?;
    let (readings, mut head) = compute::read(
        &raw,
        context.settings::<Option<String>>("sheet")?.as_deref(),
        &context.settings("layout")?,
        &context.settings("ingest")?,
    )?;
    head.blake3 = blake3::hash(&raw).to_hex().to_string();
    let produced = Produced { remarks: head.remarks.clone(), ..Produced::default() };
    produced.with("readings", readings.to_parquet()?).with_json("head", &head)
}

//! Ingest: what does one raw export say? Bytes by their layout → readings in SI and a head, with no knowledge of
//! sample, geometry or instrument.
//!
//! `container.rs` gzip or workbook · `workbook.rs` a sheet → text · `pages.rs` bytes → lines, page by page · `text.rs`
//! encodings and lines · `header.rs` columns and preamble · `units.rs` their units · `number.rs` one field · `times.rs` times with colons and dates ·
//! `compute.rs` rows · `steps.rs`, `angle.rs` what a row alone cannot tell. Rows in = rows out + rows refused by
//! name.

mod angle;
pub mod compute;
pub mod container;
#[cfg(test)]
#[allow(clippy::panic)]
pub(crate) mod corpus;
pub(crate) mod header;
pub mod layout;
#[cfg(test)]
mod made_workbook;
pub(crate) mod number;
pub(crate) mod pages;
pub mod params;
pub mod remark;
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

/// The export of the task.
struct Raw<'a>(&'a Context<'a>);

impl container::Export for Raw<'_> {
    fn open(&self) -> Result<Box<dyn std::io::Read + '_>, Vec<Diagnostic>> {
        self.0.open("raw")
    }
}

/// The task: input `raw`, settings `layout`, `sheet` and `ingest` → `readings` (Parquet) and `head` (JSON).
///
/// # Errors
/// As [`compute::read_export`]; places name the file `raw`.
pub fn work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let (readings, mut head) = compute::read_export(
        &Raw(context),
        context.settings::<Option<String>>("sheet")?.as_deref(),
        &context.settings("layout")?,
        &context.settings("ingest")?,
    )?;
    head.blake3 = context.hash("raw")?.to_string();
    let produced = Produced::default().with_remarks(&head.remarks)?;
    produced.with("readings", readings.to_parquet()?).with_json("head", &head)
}

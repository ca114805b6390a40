//! Before a study there is a folder of exports: what an export looks like, which layout reads it, and what a study of
//! such exports is. Proposals only: what is read in earnest is read by the stages from the study file.
//!
//! `shape.rs` separators, header, rows · `columns.rs` roles · `proposal.rs` one export → its layout · `motion.rs` a
//! first look at reversals · `names.rs` samples, loadings, repeats · `apparatus.rs` geometries and instruments ·
//! `survey.rs` many exports → layouts, entries and design · `yaml.rs`, `study.rs` what is written · `source.rs`, `copy.rs` files · `peek.rs`, `new.rs` the commands.

mod apparatus;
mod columns;
mod copy;
mod motion;
mod names;
pub(crate) mod new;
pub(crate) mod peek;
mod proposal;
mod shape;
mod source;
mod study;
mod survey;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic)]
mod tests;
mod yaml;

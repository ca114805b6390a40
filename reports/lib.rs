//! How results are shown: tables, figures, the methods text and the document. It reads results and computes no
//! rheology; what it prints is rounded in one place, `text/numbers.rs`.
//!
//! Results of the stages → tables (Parquet, CSV) → figures (SVG, CSV) → text → one PDF by typst.

pub mod after_run;
pub mod arguments;
pub mod audit;
pub mod bundle;
pub mod compare;
pub mod design;
pub mod document;
pub mod figures;
#[cfg(test)]
mod fixture;
pub mod plan;
pub mod settings;
pub mod study;
pub mod tables;
pub mod text;

/// The commands that stand with what they use, in the order of help.
pub fn commands() -> Vec<Box<dyn pipeline::command::Command>> {
    vec![
        Box::new(audit::command::AuditCommand),
        Box::new(compare::command::CompareCommand),
        Box::new(bundle::pack::PackCommand),
        Box::new(bundle::receive::ReceiveCommand),
    ]
}

/// Code hashes of the tasks of this crate, made by the build script.
pub mod code {
    include!(concat!(env!("OUT_DIR"), "/code.rs"));
}

//! What is computed, in the order of the data: ingest → clean → reversal → states → fit → uncertainty → claims, earlier results.
//!
//! Each stage has a folder; shared rooms are `physics`, `numerics`, `table`, `settings`, `near_miss`, `design` and
//! `references`.
//! `setup` reads the study file, `plan` makes the task graph, `propose` starts studies; no stage imports them.

pub mod claims;
pub mod clean;
pub mod design;
pub mod earlier_results;
pub mod fit;
#[cfg(test)]
mod fixture;
pub mod ingest;
pub mod near_miss;
pub mod numerics;
pub mod physics;
pub mod plan;
mod propose;
pub mod references;
pub mod reversal;
pub mod settings;
pub mod setup;
pub mod stage_names;
pub mod states;
pub mod table;
pub mod uncertainty;

/// The commands that stand with what they use, in the order of help. `words` says what reading an export remarks.
pub fn commands(words: fn(&ingest::remark::Remark) -> String) -> Vec<Box<dyn pipeline::command::Command>> {
    vec![Box::new(propose::peek::Peek { words }), Box::new(propose::new::New)]
}

/// Code hashes, made by the build script.
pub mod code {
    include!(concat!(env!("OUT_DIR"), "/code.rs"));
}

//! What is computed, in the order of the data: ingest → clean → reversal → states → fit → uncertainty.
//!
//! Each stage has a folder; shared rooms are `physics`, `numerics`, `table` and `references`.
//! `setup` reads the study file; no stage imports it.

pub mod clean;
pub mod fit;
pub mod ingest;
pub mod near_miss;
pub mod numerics;
pub mod physics;
pub mod reversal;
pub mod settings;
pub mod setup;
pub mod states;
pub mod table;
pub mod uncertainty;

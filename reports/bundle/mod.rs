//! A whole dataset handed on: a BagIt bag (RFC 8493) whose payload is the study and an RO-Crate 1.2 about it.
//!
//! `pack.rs` brings together, `receive.rs` takes apart. The bag: `tags.rs` (its text files), `hashes.rs`, `names.rs`
//! (paths that every system can hold), `sink.rs` and `origin.rs` (folder or zip, written and read). What stands beside
//! the study in it: `rocrate.rs`, `citation.rs`, `guide.rs`, all from the facts in `facts.rs`.

pub mod citation;
pub mod contents;
pub mod facts;
pub mod guide;
pub mod hashes;
pub mod names;
pub mod origin;
pub mod pack;
pub mod receive;
pub mod rocrate;
pub mod sink;
pub mod tags;

/// Folder of the payload (RFC 8493, 2.1.2).
pub const PAYLOAD: &str = "data/";
/// Name of the crate's description (RO-Crate 1.2, root data entity).
pub const CRATE: &str = "ro-crate-metadata.json";
/// Raw exports that were kept back, with hashes and reason.
pub const WITHHELD: &str = "withheld.csv";
/// Files of the payload that are about the study and no part of it, in the order in which they are written.
pub const ABOUT: [&str; 5] = ["CITATION.cff", "README.md", "datacite.json", WITHHELD, CRATE];
/// Where a received study keeps them.
pub const RECEIVED: &str = "received";

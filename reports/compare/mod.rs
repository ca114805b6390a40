//! Results held against other results: what moved, and what moved it.
//!
//! `sides.rs` finds the two sides, `changes.rs` what differs in their study files and raw exports, `tables/cells.rs`
//! what moved in a table, `replace.rs` which change moved what, `words.rs` says it, `command.rs` is the command.

pub mod changes;
pub mod command;
pub mod replace;
pub mod sides;
pub mod words;

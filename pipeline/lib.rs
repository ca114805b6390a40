//! The rebuild engine: it takes a [`stage::Plan`] and brings `results/` up to date, computing only what changed.
//!
//! It knows tasks, bytes and hashes, and nothing of what they mean: plan → graph → rebuild → run → store → results.
//! Start reading at [`rebuild`].

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic))]

pub mod cli;
pub mod command;
pub mod diagnostic;
pub mod graph;
pub mod progress;
pub mod rebuild;
pub mod results;
pub mod run;
pub mod stage;
pub mod store;

// Compiled into the build scripts of `stages` and `reports`; here only for its tests.
#[cfg(test)]
#[allow(dead_code)]
mod code_hash;
#[cfg(test)]
mod toy;

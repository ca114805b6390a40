//! The rebuild engine: it takes a [`stage::Plan`] and brings `results/` up to date, computing only what changed.
//!
//! It knows tasks, bytes and hashes, and no rheology: study file → graph → rebuild → run → store → results.

pub mod diagnostic;
pub mod stage;

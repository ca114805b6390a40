//! Results held against other results: what moved, and what moved it.

pub mod cells;

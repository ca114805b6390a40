//! The hashes of the code behind the tasks of this crate, as they enter the keys; nothing else.

/// Code of the tasks that write tables.
pub const TABLE: &str = "dev";
/// Code of the tasks that draw figures.
pub const FIGURE: &str = "dev";
/// Code of the task that typesets, its templates included.
pub const DOCUMENT: &str = "dev";

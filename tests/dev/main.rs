//! `cargo demo` and `cargo check-all`.
fn main() {}

//! Writes the code hash of each kind of task that reports bring.

#[path = "../pipeline/code_hash.rs"]
mod code_hash;

use std::path::Path;

fn main() -> Result<(), String> {
    let crates = [("reports", Path::new(".")), ("stages", Path::new("../stages"))];
    let sources = code_hash::Sources::read(&crates, Path::new("../Cargo.lock"))?;
    code_hash::write(
        &sources,
        "reports",
        &[("TABLE", &["tables"]), ("FIGURE", &["figures"]), ("DOCUMENT", &["document"])],
    )
}

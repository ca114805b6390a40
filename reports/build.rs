//! Writes the code hash of each kind of task that reports bring.

#[path = "../pipeline/code_hash.rs"]
mod code_hash;

use std::path::Path;

const STAGES: [&str; 8] = ["ingest", "clean", "reversal", "states", "fit", "uncertainty", "claims", "earlier_results"];

fn main() -> Result<(), String> {
    let crates = [("reports", Path::new(".")), ("stages", Path::new("../stages"))];
    let sources = code_hash::Sources::read(&crates, &STAGES, Path::new("../Cargo.lock"))?;
    code_hash::write(
        &sources,
        "reports",
        &[("TABLE", &["tables"]), ("FIGURE", &["figures"]), ("DOCUMENT", &["document"])],
    )
}

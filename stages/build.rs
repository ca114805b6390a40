//! Writes the code hash of each stage.

#[path = "../pipeline/code_hash.rs"]
mod code_hash;

use std::path::Path;

const STAGES: [&str; 8] = ["ingest", "clean", "reversal", "states", "fit", "uncertainty", "claims", "earlier_results"];

fn main() -> Result<(), String> {
    let here = Path::new(".");
    let sources = code_hash::Sources::read(&[("stages", here)], &STAGES, Path::new("../Cargo.lock"))?;
    let names = STAGES.map(str::to_uppercase);
    let rooms = STAGES.map(|stage| [stage]);
    let constants: Vec<(&str, &[&str])> = names.iter().zip(&rooms).map(|(n, r)| (n.as_str(), &r[..])).collect();
    code_hash::write(&sources, "stages", &constants)
}

//! Writes the code hash of each stage.

#[path = "../pipeline/code_hash.rs"]
mod code_hash;

#[allow(unreachable_pub)]
mod stage_names;

use stage_names::STAGES;
use std::path::Path;

fn main() -> Result<(), String> {
    let here = Path::new(".");
    let sources = code_hash::Sources::read(&[("stages", here)], Path::new("../Cargo.lock"))?;
    let names = STAGES.map(str::to_uppercase);
    let rooms = STAGES.map(|stage| [stage]);
    let constants: Vec<(&str, &[&str])> = names.iter().zip(&rooms).map(|(n, r)| (n.as_str(), &r[..])).collect();
    code_hash::write(&sources, "stages", &constants)
}

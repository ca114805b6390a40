//! The raw exports that results were made from, as the published table `runs` has them. It opens no export.

use stages::setup::names::file_of;
use stages::table::Table;
use std::collections::BTreeMap;
use std::path::Path;

/// Where they are written down, below `results/`.
pub const TABLE: &str = "tables/runs.parquet";

/// BLAKE3 of each raw export by its path in the study.
///
/// # Errors
/// If the table `runs` is not in this `results` folder or cannot be read: what is wrong with it.
pub fn hashes(results: &Path) -> Result<BTreeMap<String, String>, String> {
    let bytes = std::fs::read(results.join(TABLE)).map_err(|e| format!("it cannot be read: {e}"))?;
    hashes_in(&bytes)
}

/// The same from the bytes of the table.
///
/// # Errors
/// If they are not those of the table `runs`: what is wrong with them.
pub fn hashes_in(bytes: &[u8]) -> Result<BTreeMap<String, String>, String> {
    let table = Table::from_parquet(bytes).map_err(|e| format!("it is damaged: {e}"))?;
    let (Some(runs), Some(hashes)) = (table.texts("run"), table.texts("blake3")) else {
        return Err("it has no columns `run` and `blake3`".to_owned());
    };
    let file = |run: &String| file_of(run).to_owned();
    Ok(runs.iter().zip(hashes).filter_map(|(run, hash)| Some((file(run.as_ref()?), hash.clone()?))).collect())
}

//! What the study keeps for itself in `.shearback`, held against the hashes that it carries. It computes no results.

use super::Problem;
use crate::bundle::hashes::Hashes;
use crate::bundle::tags::read_manifest;
use crate::bundle::{PAYLOAD, RECEIVED};
use pipeline::store::Store;
use pipeline::store::check::check;
use pipeline::store::disk::SystemDisk;
use pipeline::store::files::{Files, LEDGER};
use pipeline::store::ledger::{Line, chain};
use std::collections::BTreeSet;
use std::path::Path;

/// Every file of the store that is damaged or missing; none where the study has no store, as one that was received and
/// not yet run.
pub fn faults(files: &Files) -> Option<Vec<Problem>> {
    if !files.objects().is_dir() && !files.state().exists() {
        return None;
    }
    let store = Store::new(files.study(), &SystemDisk);
    let elsewhere = elsewhere(files);
    let faults = check(&store).into_iter().filter(|fault| !elsewhere.contains(&fault.path));
    Some(faults.map(|fault| Problem::new(fault.path, fault.what)).collect())
}

/// Files of the store that only the sender has: those of the runs before the study was received here.
fn elsewhere(files: &Files) -> BTreeSet<String> {
    let (mine, theirs): (Vec<Line>, Vec<Line>) = {
        let lines = chain(&std::fs::read_to_string(files.ledger()).unwrap_or_default(), LEDGER).unwrap_or_default();
        let received = received(files);
        lines.into_iter().partition(|line| received.is_none_or(|last| line.run > last))
    };
    let objects =
        |lines: &[Line]| -> BTreeSet<_> { lines.iter().flat_map(|line| [line.study_file, line.settings]).collect() };
    let (mine, of_theirs) = (objects(&mine), objects(&theirs));
    let objects = of_theirs.difference(&mine).map(|hash| files.object(hash, false));
    let paths = theirs.iter().map(|line| files.run(line.run)).chain(objects);
    paths.map(|path| in_study(files, &path)).collect()
}

fn in_study(files: &Files, path: &Path) -> String {
    let parts = path.strip_prefix(files.study()).unwrap_or(path).iter();
    parts.map(|part| part.to_string_lossy()).collect::<Vec<_>>().join("/")
}

/// Number of the last run that the sender's ledger had, where this study was received: the ledger must begin with the
/// bytes that the bag's manifest lists.
fn received(files: &Files) -> Option<u64> {
    let list = std::fs::read_to_string(files.in_study(&format!("{RECEIVED}/manifest-sha512.txt"))).ok()?;
    let sent = read_manifest("sha512", &list).ok()?.remove(&format!("{PAYLOAD}results/{LEDGER}"))?;
    let text = std::fs::read_to_string(files.ledger()).ok()?;
    let ends = text.match_indices('\n').map(|(at, _)| &text[..=at]);
    let begin = ends.into_iter().find(|begin| Hashes::of(begin.as_bytes()).sha512 == sent)?;
    Some(chain(begin, LEDGER).ok()?.last()?.run)
}

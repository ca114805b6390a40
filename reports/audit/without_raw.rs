//! The audit of a study none of whose raw exports are here: what can be checked without them, and that nothing could be
//! computed again. It computes nothing.

use super::standing::Standing;
use super::work::claims;
use super::{Artefact, Audit, OF_U, Outcome, Problem, RELATIVE, Raw, kept};
use crate::bundle::{RECEIVED, WITHHELD};
use crate::tables::raw_exports;
use crate::text::numbers;
use pipeline::store::files::Files;
use stages::table::Table;
use std::collections::{BTreeMap, BTreeSet};

/// The audit, if the results know raw exports and none of them is here.
pub fn audit(files: &Files, standing: &Standing) -> Option<Audit> {
    let known = raw_exports::hashes(&files.results()).ok().filter(|known| !known.is_empty())?;
    if known.keys().any(|path| files.in_study(path).exists()) {
        return None;
    }
    let withheld = Withheld::read(files);
    let mut problems = standing.problems.clone();
    problems.push(Problem::new("raw exports", none_here(known.len(), withheld.as_ref())));
    problems.extend(withheld.iter().flat_map(|withheld| withheld.against(&known)));
    let store = kept::faults(files);
    problems.extend(store.iter().flatten().cloned());
    let artefacts = artefacts(standing);
    let wrong = artefacts.iter().filter(|artefact| artefact.outcome != Outcome::NotRecomputed);
    problems.extend(wrong.map(|a| Problem::new(format!("results/{}", a.path), a.words.clone())));
    let claims = claims(&files.results(), "the results give");
    problems.extend(claims.iter().filter(|claim| !claim.holds).map(|claim| Problem::new("claim", claim.words.clone())));
    let raw = known.into_iter().map(|(path, then)| Raw { path, then: Some(then), now: None }).collect();
    Some(Audit {
        study: title(files),
        run: standing.line.as_ref().map(|line| line.run),
        when: standing.line.as_ref().map(|line| line.when.clone()),
        manifest: Some(standing.manifest_hash.to_string()),
        recomputed: false,
        with: BTreeMap::new(),
        surroundings: Vec::new(),
        store: store.map(|faults| faults.len()),
        raw,
        files: artefacts,
        claims,
        problems,
        holds: false,
        tolerance: [RELATIVE, OF_U],
    })
}

fn title(files: &Files) -> String {
    let text = std::fs::read_to_string(files.in_study(stages::setup::STUDY_FILE)).unwrap_or_default();
    let typed = stages::setup::typed(&text).ok();
    let title = typed.as_ref().and_then(|typed| typed.get("study")).and_then(|title| title.as_str());
    title.unwrap_or("a study without a title").to_owned()
}

/// What the sender said of the raw exports that were kept back.
struct Withheld {
    hashes: BTreeMap<String, String>,
    reason: Option<String>,
}

impl Withheld {
    fn read(files: &Files) -> Option<Self> {
        let table = Table::from_csv(&std::fs::read(files.in_study(&format!("{RECEIVED}/{WITHHELD}"))).ok()?).ok()?;
        let (paths, hashes) = (table.texts("path")?, table.texts("blake3")?);
        let reason = table.texts("reason").and_then(|reasons| reasons.first().cloned().flatten());
        let both = paths.iter().zip(hashes);
        Some(Self { hashes: both.filter_map(|(path, hash)| Some((path.clone()?, hash.clone()?))).collect(), reason })
    }

    /// Exports that were kept back and are not those that the results were made from.
    fn against(&self, known: &BTreeMap<String, String>) -> Vec<Problem> {
        let other = |(path, hash): &(&String, &String)| self.hashes.get(*path) != Some(*hash);
        let words = "the sender's list of what was kept back does not have the export that the results were made from";
        known.iter().filter(other).map(|(path, _)| Problem::new(path.clone(), words)).collect()
    }
}

fn none_here(count: usize, withheld: Option<&Withheld>) -> String {
    let count = numbers::whole(count as u64);
    let why = match withheld {
        Some(Withheld { reason: Some(reason), .. }) => format!("the sender kept them back ({reason})"),
        Some(_) => "the sender kept them back".to_owned(),
        None => "they are not in the folder".to_owned(),
    };
    format!(
        "none of the {count} is here: {why}. Nothing could be computed again; that study file, results and ledger are \
         those of the run was checked"
    )
}

/// The files of the results against their manifest.
fn artefacts(standing: &Standing) -> Vec<Artefact> {
    let listed: BTreeMap<&String, _> = standing.manifest.files.iter().map(|e| (&e.path, e.blake3)).collect();
    let paths: BTreeSet<&String> = listed.keys().copied().chain(standing.files.keys()).collect();
    let artefact = |path: &String| {
        let (outcome, words) = match (listed.get(path), standing.files.get(path)) {
            (_, None) => (Outcome::Missing, "it is not there"),
            (None, Some(_)) => (Outcome::NotOurs, "no run wrote it"),
            (Some(written), Some(now)) if written == now => {
                (Outcome::NotRecomputed, "as the run wrote it; not computed again")
            }
            (Some(_), Some(_)) => (Outcome::Changed, "it was changed since it was written"),
        };
        Artefact { path: path.clone(), outcome, words: words.to_owned(), largest: None }
    };
    paths.into_iter().map(artefact).collect()
}

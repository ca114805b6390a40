//! A flipped bit, anywhere in the store or in `results/`: found by the check of the whole store, put right by `run`
//! where it matters, and never carried on. `SHEARBACK_FLIPS` says how many.

use super::{Dice, Toy, times, whole};
use crate::results::manifest::Manifest;
use crate::store::Store;
use crate::store::check::check;
use crate::store::digest::Digest;
use crate::store::disk::SystemDisk;
use std::collections::{BTreeMap, BTreeSet};

/// Three runs of history, with a variant, so that the store holds what is current and what is not.
fn lived() -> Toy {
    let mut toy = Toy::new();
    for (unit, title) in [(4, "Sum"), (8, "Total"), (8, "Sum")] {
        (toy.config.unit, toy.config.title, toy.config.variant) = (unit, title.into(), Some(3));
        whole(&toy.run());
    }
    toy
}

fn flippable(toy: &Toy) -> Vec<String> {
    let files = toy.files(".shearback").into_iter().chain(toy.files("results"));
    let held = |path: &String| !path.ends_with("/lock") && std::fs::metadata(toy.path(path)).unwrap().len() > 0;
    files.filter(held).collect()
}

fn place(path: &str) -> String {
    path.split('/').take(2).collect::<Vec<_>>().join("/")
}

/// What an audit does: every file of the store, and every file of `results/` against the manifest and the ledger.
fn audited(toy: &Toy) -> Vec<String> {
    let store = Store::new(toy.folder.path(), &SystemDisk);
    let mut found: Vec<String> = check(&store).into_iter().map(|fault| fault.path).collect();
    let ledger = toy.read(".shearback/ledger.jsonl");
    if std::fs::read(toy.path("results/ledger.jsonl")).unwrap() != ledger.as_bytes() {
        found.push("results/ledger.jsonl".into());
    }
    let manifest = std::fs::read(toy.path("results/manifest.json")).unwrap();
    if !ledger.contains(&Digest::of(&manifest).to_string()) {
        found.push("results/manifest.json".into());
        return found;
    }
    let listed = Manifest::parse(&manifest).unwrap().files.into_iter();
    let differs = listed.filter(|e| e.blake3 != Digest::of(&std::fs::read(toy.path("results").join(&e.path)).unwrap()));
    found.extend(differs.map(|entry| format!("results/{}", entry.path)));
    found
}

#[test]
fn a_flipped_bit_is_found_and_put_right_where_it_is_used() {
    let reference = lived();
    assert_eq!(audited(&reference), Vec::<String>::new(), "nothing is found where nothing is wrong");
    let (results, ledger) = (reference.results(), reference.read(".shearback/ledger.jsonl"));
    let files = flippable(&reference);
    let places: BTreeSet<String> = files.iter().map(|path| place(path)).collect();
    let mut by_place: BTreeMap<String, u32> = BTreeMap::new();
    for number in 0..times("SHEARBACK_FLIPS", 150) {
        let mut dice = Dice::number(number);
        let toy = reference.copy();
        // First the place, so that the few files that matter most get their share.
        let at = dice.pick(places.clone()).unwrap();
        let path = dice.pick(files.iter().filter(|path| place(path) == at).cloned()).unwrap();
        let bit = dice.roll(std::fs::metadata(toy.path(&path)).unwrap().len() as usize * 8);
        toy.flip(&path, bit);
        let case = format!("flip {number}: bit {bit} of {path}");
        // The manifest is only known by the ledger, and a ledger whose line is broken names none.
        let found = if path == ".shearback/ledger.jsonl" { faults(&toy) } else { audited(&toy) };
        assert!(found.contains(&path), "{case}: {found:?}");
        let report = toy.run();
        assert_eq!(whole(&report).line, None, "{case}: nothing new to tell");
        assert_eq!(toy.results(), results, "{case}");
        assert_eq!(toy.read(".shearback/ledger.jsonl"), ledger, "{case}: the history is kept");
        assert_eq!(toy.read("results/ledger.jsonl"), ledger, "{case}");
        let moved: Vec<&str> = report.moved.iter().map(String::as_str).collect();
        let edited = path.replacen("results/", "edited/1/", 1);
        assert_eq!(moved, if path.starts_with("results/") { vec![edited.as_str()] } else { vec![] }, "{case}");
        used_after_all(toy, &results, &case);
        *by_place.entry(at).or_default() += 1;
    }
    println!("flips by place: {by_place:?}");
}

fn faults(toy: &Toy) -> Vec<String> {
    check(&Store::new(toy.folder.path(), &SystemDisk)).into_iter().map(|fault| fault.path).collect()
}

/// With results and state gone, the current objects and records are read; then the settings of the first run ask for
/// the old ones.
fn used_after_all(mut toy: Toy, results: &BTreeMap<String, Vec<u8>>, case: &str) {
    std::fs::remove_dir_all(toy.path("results")).unwrap();
    whole(&toy.run());
    assert_eq!(toy.results(), *results, "{case}: laid out from the store");
    std::fs::remove_file(toy.path(".shearback/state.json")).unwrap();
    (toy.config.unit, toy.config.title) = (4, "Sum".into());
    whole(&toy.run());
    assert_eq!(toy.results(), toy.clean(), "{case}: a setting put back");
}

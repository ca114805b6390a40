//! What happens to `results/`.

use super::{Toy, whole, with};
use crate::rebuild::assess::Condition;
use crate::results::manifest::Manifest;
use crate::run::outcome::Outcome;
use crate::store::digest::Digest;
use crate::store::disk::SystemDisk;

#[test]
fn the_manifest_lists_every_file_with_size_and_hash() {
    let toy = Toy::new();
    toy.run();
    let manifest = Manifest::parse(toy.read("results/manifest.json").as_bytes()).unwrap();
    assert!(!manifest.changing);
    let listed: Vec<String> = manifest.files.iter().map(|entry| format!("results/{}", entry.path)).collect();
    let mut there = toy.files("results");
    there.remove("results/manifest.json");
    there.remove("results/ledger.jsonl");
    assert_eq!(listed, there.into_iter().collect::<Vec<_>>());
    for entry in &manifest.files {
        let bytes = toy.read(&format!("results/{}", entry.path));
        assert_eq!((entry.size, entry.blake3), (bytes.len() as u64, Digest::of(bytes.as_bytes())));
    }
}

#[test]
fn deleted_results_are_laid_out_again_without_computing() {
    let toy = Toy::new();
    toy.run();
    let before = toy.results();
    std::fs::remove_dir_all(toy.path("results")).unwrap();
    assert_eq!(toy.condition("note study"), Condition::InStore);
    assert!(toy.reasons("note study").contains(&"results/note/note.txt is missing".to_string()));
    let report = toy.run();
    assert_eq!(whole(&report).count(Outcome::Built), 0);
    assert_eq!(toy.results(), before);
}

#[test]
fn edited_and_foreign_files_are_moved_aside_and_named() {
    let toy = Toy::new();
    toy.run();
    let before = toy.results();
    toy.write("results/note/note.txt", "my own words");
    toy.write("results/plans/todo.txt", "buy oil");
    assert_eq!(toy.condition("note study"), Condition::InStore);
    assert!(toy.reasons("note study").contains(&"results/note/note.txt is not as it was written".to_string()));
    assert_eq!(toy.foreign(), ["plans/todo.txt"]);
    let report = toy.run();
    assert_eq!(whole(&report).moved, ["edited/1/note/note.txt", "edited/1/plans/todo.txt"]);
    assert!(toy.foreign().is_empty());
    assert_eq!(report.count(Outcome::Built), 0);
    assert_eq!(toy.read("edited/1/note/note.txt"), "my own words");
    assert_eq!(toy.read("edited/1/plans/todo.txt"), "buy oil");
    assert!(!toy.exists("results/plans"));
    assert_eq!(toy.results(), before);
    toy.write("results/manifest.json", "{}");
    toy.write("results/ledger.jsonl", "mine");
    assert_eq!(toy.run().moved, ["edited/2/manifest.json", "edited/2/ledger.jsonl"]);
    assert_eq!(toy.results(), before);
}

#[test]
fn a_file_where_a_folder_must_be_and_the_reverse_give_way() {
    let toy = Toy::new();
    toy.run();
    let before = toy.results();
    std::fs::remove_dir_all(toy.path("results/note")).unwrap();
    toy.write("results/note", "a file");
    std::fs::remove_file(toy.path("results/sum.txt")).unwrap();
    toy.write("results/sum.txt/inside", "a folder");
    std::fs::remove_file(toy.path("results/log")).unwrap();
    std::fs::create_dir(toy.path("results/log")).unwrap();
    assert_eq!(whole(&toy.run()).moved, ["edited/1/note", "edited/1/sum.txt/inside"]);
    assert_eq!(toy.results(), before);
}

#[test]
fn a_flipped_bit_is_put_right() {
    let toy = Toy::new();
    toy.run();
    let before = toy.results();
    let mut bytes = std::fs::read(toy.path("results/sum.txt")).unwrap();
    bytes[0] ^= 1;
    std::fs::write(toy.path("results/sum.txt"), bytes).unwrap();
    whole(&toy.run());
    assert_eq!(toy.results(), before);
}

#[test]
fn a_spoilt_object_is_built_again_only_when_needed() {
    let toy = Toy::new();
    toy.run();
    let before = toy.results();
    for path in toy.files(".shearback/outputs") {
        toy.write(&path, "spoilt");
    }
    assert_eq!(toy.run().count(Outcome::Built), 0);
    std::fs::remove_file(toy.path("results/sum.txt")).unwrap();
    let told: Vec<String> =
        toy.why().into_iter().filter(|task| task.condition == Condition::OutOfDate).map(|task| task.name).collect();
    assert_eq!(told.last().unwrap(), "sum study");
    assert!(toy.reasons("sum study").contains(&"stored `sum` of sum study is damaged".to_string()));
    let report = toy.run();
    assert_eq!(with(whole(&report), Outcome::Built), told);
    assert_eq!(toy.results(), before);
}

#[test]
fn a_run_that_stops_early_takes_later_results_away() {
    let toy = Toy::new();
    toy.run();
    let before = toy.results();
    whole(&toy.run_with(2, Some("sum"), &SystemDisk));
    assert!(toy.exists("results/sum.txt") && !toy.exists("results/note") && !toy.exists("results/log"));
    assert_eq!(toy.condition("note study"), Condition::InStore);
    let report = toy.run();
    assert_eq!(whole(&report).count(Outcome::Built), 0);
    assert_eq!(toy.results(), before);
    assert!(!toy.exists("edited"));
}

#[test]
fn results_survive_the_loss_of_the_store() {
    let toy = Toy::new();
    toy.run();
    let before = toy.results();
    std::fs::remove_dir_all(toy.path(".shearback")).unwrap();
    toy.write("raw/a.txt", "#first\nsomething much longer than before, so that the sum is another one\n");
    let report = toy.run();
    // Everything but the old ledger, which is history that the new one does not hold, is known as ours.
    assert_eq!(whole(&report).moved, ["edited/1/ledger.jsonl"]);
    assert_ne!(toy.results(), before);
}

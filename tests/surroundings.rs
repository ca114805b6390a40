//! Bad input and bad surroundings: the right exit status, a message that helps, and nothing lost.

use crate::support::{Said, command, contents, json, open_study, shearback};
use std::fs;
use std::path::Path;

fn run(study: &Path) -> Said {
    shearback(&["run", study.to_str().unwrap()])
}

fn replace(study: &Path, from: &str, to: &str) {
    let file = study.join("study.yaml");
    let text = fs::read_to_string(&file).unwrap();
    assert!(text.contains(from), "{from} is not in the study file");
    fs::write(file, text.replacen(from, to, 1)).unwrap();
}

#[test]
fn without_typst_nothing_is_started_and_the_way_out_is_told() {
    let study = open_study("sheet-study");
    let empty = tempfile::tempdir().unwrap();
    let said: Said = command(&["run", study.path().to_str().unwrap()])
        .env("TYPST", empty.path().join("typst"))
        .env("PATH", empty.path())
        .env("HOME", empty.path())
        .env("XDG_DATA_HOME", empty.path())
        .output()
        .unwrap()
        .into();
    if study.path().join("results").exists() {
        // A typst beside the program or in the checkout's own tools is found before any of these.
        println!("skipped: a typst stands beside the program");
        return;
    }
    assert_eq!(said.status, 3, "{}", said.err);
    assert!(said.err.contains("cargo install") && said.err.contains("typst-cli"), "{}", said.err);
    assert!(!study.path().join(".shearback/records").exists(), "computed before looking for typst");
}

#[test]
fn mistakes_in_the_study_file_are_told_with_their_place() {
    for (from, to, wanted) in [
        ("radius:", "raduis:", "radius"),
        ("20.00(1) mm", "20.00(1)", "unit"),
        ("volume_fraction: 0.5004 ± 0.002", "volume_fraction: 1.5004", "1.5004"),
        ("sample: S1", "sample: S9", "S9"),
        ("raw/S1/*.tsv", "raw/S1/*.nothing", "raw/S1/*.nothing"),
    ] {
        let study = open_study("sheet-study");
        replace(study.path(), from, to);
        let said = run(study.path());
        assert_eq!(said.status, 2, "{to}: {}", said.err);
        assert!(said.err.contains(wanted) && said.err.contains("study.yaml:"), "{to}: {}", said.err);
    }
}

#[test]
fn a_folder_without_a_study_is_a_usage_error() {
    let empty = tempfile::tempdir().unwrap();
    let said = run(empty.path());
    assert_eq!(said.status, 2, "{}", said.err);
    assert!(said.err.contains("study.yaml"), "{}", said.err);
}

#[test]
fn an_unreadable_export_fails_alone_and_results_stay() {
    let study = open_study("sheet-study");
    assert_eq!(run(study.path()).status, 0);
    let before = contents(&study.path().join("results"));
    let image: Vec<u8> =
        [0x89, b'P', b'N', b'G', 13, 10, 26, 10].into_iter().chain((0..4000).map(|i| (i * 7) as u8)).collect();
    fs::write(study.path().join("raw/S2/S2_L1.tsv"), image).unwrap();
    let raw = study.path().join("raw/S3/S3_L1.tsv");
    let text = fs::read_to_string(&raw).unwrap();
    fs::write(&raw, text.lines().take(1500).collect::<Vec<_>>().join("\n") + "\n").unwrap();
    let (status, told) = json("run", study.path(), &[]);
    assert_eq!(status, 1, "{told}");
    let outcome = |name: &str| {
        let tasks = told["tasks"].as_array().unwrap();
        tasks.iter().find(|t| t["name"] == name).unwrap()["outcome"].as_str().unwrap().to_owned()
    };
    assert_eq!(outcome("ingest raw/S2/S2_L1.tsv"), "failed");
    assert_eq!(outcome("clean raw/S3/S3_L1.tsv"), "built", "the others go on");
    assert_eq!(outcome("document study"), "skipped");
    assert_eq!(contents(&study.path().join("results")), before, "results stay as they were");
    let said = run(study.path());
    assert!(said.err.contains("raw/S2/S2_L1.tsv"), "{}", said.err);
}

#[test]
fn a_store_that_cannot_be_made_is_the_surroundings() {
    let study = open_study("sheet-study");
    fs::write(study.path().join(".shearback"), "in the way").unwrap();
    let said = run(study.path());
    assert_eq!(said.status, 3, "{}", said.err);
    assert!(said.err.contains(".shearback"), "{}", said.err);
}

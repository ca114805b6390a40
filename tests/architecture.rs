//! The rules that keep the house in order: arrows between crates, who may name what, and what is linked.

use crate::support::root;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn sources(folder: &str) -> Vec<(String, String)> {
    let base = root();
    let mut out = Vec::new();
    for entry in walkdir::WalkDir::new(base.join(folder)).sort_by_file_name() {
        let path: PathBuf = entry.unwrap().into_path();
        if path.extension().is_some_and(|e| e == "rs") {
            let name = path.strip_prefix(&base).unwrap().to_string_lossy().replace('\\', "/");
            out.push((name, fs::read_to_string(&path).unwrap()));
        }
    }
    assert!(!out.is_empty(), "no sources in {folder}");
    out
}

/// Code lines without comments, with the part from the first inline test module on left out.
fn code(text: &str) -> String {
    let body = text.split("#[cfg(test)]").next().unwrap_or("");
    body.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

fn manifest(folder: &str) -> String {
    fs::read_to_string(root().join(folder).join("Cargo.toml")).unwrap()
}

#[test]
fn arrows_between_crates_run_one_way() {
    for (folder, forbidden) in [("pipeline", vec!["stages", "reports"]), ("stages", vec!["reports"])] {
        for word in forbidden {
            assert!(!manifest(folder).contains(&format!("{word}.workspace")), "{folder} depends on {word}");
        }
    }
}

#[test]
fn the_engine_knows_no_rheology() {
    let words = ["viscosity", "rheo", "torque", "stress", "strain", "shear ", "reversal", "suspension"];
    for (name, text) in sources("pipeline").into_iter().filter(|(name, _)| name != "pipeline/main.rs") {
        for word in words {
            assert!(!code(&text).to_lowercase().contains(word), "{name} says {word}");
        }
    }
}

/// Raw exports are only read: nothing in the engine or the stages can write but through the engine's one door, its
/// lock, the clearing of its own temporary folder, and the command that copies exports into a new study.
#[test]
fn files_are_written_through_one_door() {
    let writes = [
        "fs::write",
        "File::create",
        "OpenOptions",
        "File::options",
        "fs::rename",
        "fs::remove_",
        "fs::create_dir",
        "set_permissions",
        ".set_len(",
        "set_modified",
        "fs::copy",
        "hard_link",
    ];
    let doors = [
        "pipeline/store/disk.rs",
        "pipeline/store/lock.rs",
        "pipeline/store/mod.rs",
        "pipeline/code_hash.rs",
        "stages/propose/copy.rs",
    ];
    let of_tests = |name: &str| name.contains("/toy/") || name.ends_with("tests.rs") || name.ends_with("/nist.rs");
    let mut seen = BTreeSet::new();
    for (name, text) in sources("pipeline").into_iter().chain(sources("stages")).filter(|(name, _)| !of_tests(name)) {
        let code = code(&text);
        for word in writes.iter().filter(|word| code.contains(**word)) {
            assert!(doors.contains(&name.as_str()), "{name} says {word}");
            seen.insert(name.clone());
        }
    }
    assert_eq!(seen.len(), doors.len(), "a door that is none any more: {seen:?}");
}

#[test]
fn a_library_is_named_in_its_own_room_only() {
    for (folder, word, rooms) in [
        ("stages", "polars", vec!["stages/table.rs"]),
        ("reports", "plotters", vec!["reports/figures/"]),
        ("stages", "serde_yaml", vec!["stages/setup/"]),
    ] {
        for (name, text) in sources(folder) {
            let named = code(&text).contains(word);
            assert!(!named || rooms.iter().any(|room| name.starts_with(room)), "{name} names {word}");
        }
    }
}

/// Printed values are rounded by their uncertainty in one place (JCGM 100:2008, 7.2.6). Drawing rounds coordinates, and
/// the line on the terminal counts in standard uncertainties.
#[test]
fn one_room_rounds_what_is_printed() {
    let may = |name: &str| {
        ["reports/text/numbers.rs", "reports/after_run.rs", "reports/fixture.rs"].contains(&name)
            || name.starts_with("reports/figures/")
            || name.ends_with("tests.rs")
    };
    let mut seen = 0;
    for (name, text) in sources("reports").iter().filter(|(name, _)| !may(name)) {
        for (at, _) in code(text).match_indices(":.") {
            let next = code(text)[at + 2..].chars().next();
            assert!(!next.is_some_and(|c| c.is_ascii_digit() || c == '*'), "{name} rounds by itself");
        }
        seen += 1;
    }
    assert!(seen > 40, "{seen}");
}

#[test]
fn stages_see_each_other_only_through_results_and_settings() {
    let stages = ["ingest", "clean", "reversal", "states", "fit", "uncertainty", "claims"];
    for stage in stages {
        for (name, text) in sources(&format!("stages/{stage}")) {
            // Tests may take a way round through other stages; the code hash leaves them out.
            let text = if name.ends_with("/tests.rs") { String::new() } else { code(&text) };
            for other in stages.into_iter().filter(|other| *other != stage) {
                let path = format!("crate::{other}::");
                for (at, _) in text.match_indices(&path) {
                    let rest = &text[at + path.len()..];
                    let fine = ["result", "params", "layout"].iter().any(|module| rest.starts_with(module));
                    assert!(fine, "{name} reaches into {other}: {}", rest.lines().next().unwrap_or(""));
                }
            }
            assert!(!text.contains("crate::setup"), "{name} sees the study file");
        }
    }
}

#[test]
fn reports_compute_nothing() {
    for (name, text) in sources("reports") {
        assert!(!code(&text).contains("::compute::"), "{name} calls a computation");
    }
}

fn tree(words: &[&str]) -> String {
    let output =
        Command::new(env!("CARGO")).current_dir(root()).args(["tree", "--locked"]).args(words).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// A matrix product that picks its kernel by the processor would give other bits on another machine.
#[test]
fn no_dispatching_matrix_product_is_linked() {
    let tree = tree(&["--edges", "normal", "--prefix", "none"]);
    assert!(tree.contains("nalgebra"), "the tree is the one we mean");
    assert!(!tree.contains("matrixmultiply"), "{tree}");
}

#[test]
fn licences_are_permissive() {
    let fine = ["MIT", "Apache-2.0", "BSD", "ISC", "Zlib", "Unicode-3.0", "BSL-1.0", "Unlicense", "CC0-1.0", "0BSD"];
    let tree = tree(&["--edges", "normal,build", "--prefix", "none", "--format", "{p}\t{l}"]);
    let lines: BTreeSet<&str> = tree.lines().filter(|line| !line.is_empty()).collect();
    for line in lines {
        let licence = line.split('\t').nth(1).unwrap_or("").trim_end_matches(" (*)");
        let sensitivity: Vec<&str> = licence.split(" OR ").flat_map(|part| part.split('/')).collect();
        let ok =
            sensitivity.iter().any(|choice| fine.iter().any(|f| choice.trim_matches(['(', ')', ' ']).starts_with(f)));
        assert!(ok, "{line}");
    }
}

#[test]
fn no_path_of_a_machine_is_in_the_sources() {
    for folder in ["pipeline", "stages", "reports", "tests"] {
        for (name, text) in sources(folder).iter().filter(|(name, _)| name != "tests/architecture.rs") {
            for part in ["/home/", "/root/", "/Users/", "C:\\Users"] {
                assert!(!text.contains(part), "{name} holds {part}");
            }
        }
    }
}

#[test]
fn the_top_level_is_the_one_that_was_agreed() {
    let rooms: BTreeSet<String> = fs::read_dir(root())
        .unwrap()
        .filter_map(|entry| {
            let entry = entry.unwrap();
            let name = entry.file_name().to_string_lossy().into_owned();
            (entry.path().is_dir() && !name.starts_with('.') && name != "target").then_some(name)
        })
        .collect();
    let wanted = ["demo-project", "pipeline", "reports", "stages", "tests"].map(str::to_owned);
    assert_eq!(rooms, BTreeSet::from(wanted));
    assert!(Path::new(&root().join("DEVELOPERS.md")).is_file());
}

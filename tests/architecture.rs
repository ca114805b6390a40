//! The rules that keep the house in order: arrows between crates, who may name what, and what is linked.

#[allow(dead_code)]
#[path = "../pipeline/code_hash.rs"]
mod code_hash;

use crate::support::root;
use code_hash::{Module, Sources};
use stages::stage_names::STAGES;
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

/// The code of a file, without comments and tests, with a blank between its tokens.
fn code(name: &str, text: &str) -> String {
    code_hash::tokens(text).unwrap_or_else(|e| panic!("{name}: {e}")).join(" ")
}

/// What stands between quotes in a file, without its tests.
fn texts(name: &str, text: &str) -> Vec<String> {
    let tokens = code_hash::tokens(text).unwrap_or_else(|e| panic!("{name}: {e}"));
    tokens.into_iter().filter(|token| token.starts_with('"')).collect()
}

/// The modules of our crates.
fn modules() -> Sources {
    let folders = ["pipeline", "stages", "reports"].map(|name| (name, root().join(name)));
    let folders = folders.each_ref().map(|(name, folder)| (*name, folder.as_path()));
    Sources::read(&folders, &root().join("Cargo.lock")).unwrap()
}

fn in_words(module: &Module) -> String {
    format!("{}::{}", module.0, module.1.join("::"))
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
    let words = ["viscosity", "rheo", "torque", "stress", "strain", "reversal", "suspension"];
    for (name, text) in sources("pipeline").into_iter().filter(|(name, _)| name != "pipeline/main.rs") {
        let said = code(&name, &text).to_lowercase();
        for word in words {
            assert!(!said.contains(word), "{name} says {word}");
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
        let code = code(&name, &text).replace(" :: ", "::").replace(". ", ".").replace(" (", "(");
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
            let named = code(&name, &text).split(' ').any(|token| token == word);
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
        for said in texts(name, text) {
            for (at, _) in said.match_indices(":.") {
                let next = said[at + 2..].chars().next();
                assert!(!next.is_some_and(|c| c.is_ascii_digit() || c == '*'), "{name} rounds by itself: {said}");
            }
        }
        seen += 1;
    }
    assert!(seen > 40, "{seen}");
}

/// Modules by which others may see a stage: what it hands on, its settings, and the numbers of its recipe.
const DOORS: [&str; 7] = ["result", "remark", "params", "layout", "rules", "recipe", "priors"];

/// The folder of a stage and the module in it that is reached; none for what is no stage.
fn stage_of(module: &Module) -> Option<(&str, Option<&str>)> {
    let stage = module.1.first().filter(|room| module.0 == "stages" && STAGES.contains(&room.as_str()))?;
    Some((stage, module.1.get(1).map(String::as_str)))
}

#[test]
fn every_folder_of_a_stage_is_in_the_one_list() {
    let with_settings = |name: &str| root().join("stages").join(name).join("params.rs").is_file();
    let folders: BTreeSet<String> = fs::read_dir(root().join("stages"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| with_settings(name))
        .collect();
    assert_eq!(folders, STAGES.map(str::to_owned).into());
}

#[test]
fn stages_see_each_other_only_through_results_and_settings() {
    let sources = modules();
    let mut seen = 0;
    for module in sources.modules() {
        // Tests may take a way round through other stages; no hash covers them.
        let Some((stage, _)) = stage_of(module).filter(|_| module.1.last().is_none_or(|m| m != "tests")) else {
            continue;
        };
        for used in sources.uses(module) {
            let in_words = format!("{} reaches {}", in_words(module), in_words(&used));
            assert!(used.1.first().is_none_or(|room| room != "setup" && room != "plan"), "{in_words}");
            if let Some((other, inside)) = stage_of(&used).filter(|(other, _)| *other != stage) {
                assert!(inside.is_some_and(|inside| DOORS.contains(&inside)), "{in_words} ({other})");
                seen += 1;
            }
        }
    }
    assert!(seen > 20, "{seen}");
}

/// Also where a computation is handed on under another name: the reach is that of modules, not of words.
#[test]
fn reports_compute_nothing() {
    let sources = modules();
    // The tasks of these two are planned with the tables that they compare.
    let planned = ["stages::claims", "stages::earlier_results"];
    for module in sources.modules().filter(|module| module.0 == "reports") {
        for used in sources.uses(module) {
            let door = stage_of(&used).is_none_or(|(_, inside)| inside.is_some_and(|inside| DOORS.contains(&inside)));
            let plans = module.1 == ["plan"] && planned.contains(&in_words(&used).as_str());
            assert!(door || plans, "{} reaches {}", in_words(module), in_words(&used));
        }
    }
}

/// Remarks are data: whoever decides by one matches on it, and nobody reads numbers or kinds out of its words.
#[test]
fn nobody_reads_remarks_by_their_words() {
    let calls =
        ["contains", "starts_with", "ends_with", "strip_prefix", "strip_suffix", "split_once", "find", "match_indices"];
    // The toys are tests; the typesetter says what it has to say in words only.
    let left_out = |name: &str| {
        let words_of_others = ["reports/document/typeset.rs", "reports/figures/viscosity.rs"];
        name.ends_with("tests.rs") || name.contains("/toy/") || words_of_others.contains(&name)
    };
    for folder in ["reports", "pipeline"] {
        for (name, text) in sources(folder).into_iter().filter(|(name, _)| !left_out(name)) {
            let tokens = code_hash::tokens(&text).unwrap();
            for window in tokens.windows(4) {
                let [dot, call, open, what] = window else { continue };
                let by_words = dot == "." && calls.contains(&call.as_str()) && open == "(" && what.starts_with('"');
                // A sentence has a blank between words; separators, paths and prefixes of names have none.
                let words = what.trim_matches('"').split(' ').filter(|w| w.chars().any(char::is_alphabetic)).count();
                assert!(!by_words || words < 2, "{name} looks for {what}");
            }
        }
    }
    for (name, text) in sources("reports").into_iter().filter(|(name, _)| !name.ends_with("tests.rs")) {
        let code = code(&name, &text);
        for word in ["remarks", "remark", "reason"] {
            for call in calls {
                for of in [format!("{word} . {call} ( \""), format!("\"{word}\" , row ) . {call} ( \"")] {
                    assert!(!code.contains(&of), "{name}: {of}");
                }
            }
        }
    }
}

/// Rooms that use each other: what is left of them, so that there come no others.
const CIRCLES: [&str; 3] =
    ["pipeline: command and store", "pipeline: rebuild and stage", "stages: reversal and states"];

/// Rooms inside a crate use each other one way.
#[test]
fn rooms_make_no_circles() {
    let sources = modules();
    let mut found = Vec::new();
    for krate in ["pipeline", "stages", "reports"] {
        let mut arrows: BTreeSet<(String, String)> = BTreeSet::new();
        for module in sources.modules().filter(|m| m.0 == krate && !m.1.is_empty()) {
            for used in
                sources.uses(module).into_iter().filter(|used| used.0 == krate && used.1.first() != module.1.first())
            {
                arrows.extend(used.1.first().map(|to| (module.1[0].clone(), to.clone())));
            }
        }
        let both = arrows.iter().filter(|(a, b)| arrows.contains(&(b.clone(), a.clone())) && a < b);
        found.extend(both.map(|(a, b)| format!("{krate}: {a} and {b}")));
    }
    assert_eq!(found, CIRCLES);
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

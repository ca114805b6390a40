//! A study is packed, received in a place that never saw it, and audited there; what was changed on the way, or claimed
//! wrongly, is found and named. The bag is held against programs that this project did not make.

use crate::support::{copy_folder, root, shearback};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use tempfile::TempDir;

/// A small study that was run and packed.
struct Packed {
    room: TempDir,
}

impl Packed {
    fn study(&self) -> PathBuf {
        self.room.path().join("study")
    }

    fn bag(&self) -> PathBuf {
        self.room.path().join("bag")
    }

    fn zip(&self) -> PathBuf {
        self.room.path().join("bag.zip")
    }
}

/// What a study says of itself. The ORCID is the one that its makers give as an example; it is nobody's.
const FRONT: &str = "authors: [{name: \"Muster, Ina\", affiliation: Invented institute, orcid: 0000-0002-1825-0097}]\n\
                     licence: CC-BY-4.0\nkeywords: [shear reversal]\nabstract: A record made by hand.\n";

/// Table of the study from before: one number that is right by construction of the test, one that is far off.
const OLD: &str = "sample;point;share\n";

fn packed() -> &'static Packed {
    static PACKED: OnceLock<Packed> = OnceLock::new();
    PACKED.get_or_init(|| {
        let packed = Packed { room: tempfile::tempdir().unwrap() };
        copy_folder(&root().join("tests/synthetic-record"), &packed.study());
        let file = packed.study().join("study.yaml");
        fs::write(&file, fs::read_to_string(&file).unwrap() + FRONT).unwrap();
        says(&["run", text(&packed.study())], 0);
        says(&["pack", text(&packed.study()), text(&packed.bag())], 0);
        says(&["pack", text(&packed.study()), text(&packed.zip())], 0);
        packed
    })
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Calls the program; gives all that it said.
#[track_caller]
fn says(words: &[&str], status: i32) -> String {
    let said = shearback(words);
    assert_eq!(said.status, status, "{words:?}\n{}\n{}", said.out, said.err);
    said.out + &said.err
}

fn received(room: &Path) -> PathBuf {
    let study = room.join("there");
    says(&["receive", text(&packed().zip()), text(&study)], 0);
    study
}

#[test]
fn what_was_received_gives_the_senders_bytes() {
    let room = tempfile::tempdir().unwrap();
    let study = received(room.path());
    let sheet = room.path().join("sheet.pdf");
    let said = says(&["audit", text(&study), "--sheet", text(&sheet)], 0);
    assert!(said.contains("everything holds") && said.contains("with the same bytes"), "{said}");
    assert!(fs::read(&sheet).unwrap().starts_with(b"%PDF-"));
    let json: serde_json::Value = serde_json::from_slice(&fs::read(room.path().join("sheet.json")).unwrap()).unwrap();
    let files = json["files"].as_array().unwrap();
    assert!(files.len() > 20 && files.iter().all(|file| file["outcome"] == "same bytes"));
    // And the study goes on from there: nothing that was sent is moved aside, the ledger gets its next line.
    says(&["run", text(&study)], 0);
    assert!(!study.join("edited").exists());
    assert!(says(&["audit", text(&study)], 0).contains("everything holds"));
}

#[test]
fn the_same_study_gives_the_same_zip_under_any_name() {
    let room = tempfile::tempdir().unwrap();
    let again = room.path().join("another-name.zip");
    says(&["pack", text(&packed().study()), text(&again)], 0);
    assert!(fs::read(again).unwrap() == fs::read(packed().zip()).unwrap());
}

/// First file by name below a folder, whose name ends so.
fn first(folder: &Path, ending: &str) -> PathBuf {
    let files = walkdir::WalkDir::new(folder).sort_by_file_name().into_iter().flatten();
    let found = files.into_iter().find(|f| f.file_type().is_file() && f.path().to_string_lossy().ends_with(ending));
    found.unwrap().into_path()
}

/// Turns one bit in the middle of a file round.
fn flip(path: &Path) {
    let mut bytes = fs::read(path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(path, bytes).unwrap();
}

/// A bag with one bit flipped in this file is refused, and the file is named.
#[track_caller]
fn a_changed_bit_is_named(folder: &str, ending: &str) {
    let room = tempfile::tempdir().unwrap();
    let bag = room.path().join("bag");
    copy_folder(&packed().bag(), &bag);
    let path = first(&bag.join(folder), ending);
    flip(&path);
    let there = room.path().join("there");
    let said = says(&["receive", text(&bag), text(&there)], 2);
    let name = path.strip_prefix(&bag).unwrap().to_string_lossy().into_owned();
    assert!(said.contains(&name) && said.contains("its content is not what was packed"), "{said}");
    assert!(!there.exists());
}

#[test]
fn a_changed_raw_export_in_a_bag_is_named() {
    a_changed_bit_is_named("data/raw", "");
}

#[test]
fn a_changed_table_in_a_bag_is_named() {
    a_changed_bit_is_named("data/results/tables", "states.parquet");
}

#[test]
fn a_changed_figure_in_a_bag_is_named() {
    a_changed_bit_is_named("data/results/figures", ".svg");
}

#[test]
fn a_changed_study_file_in_a_bag_is_named() {
    a_changed_bit_is_named("data", "study.yaml");
}

#[test]
fn a_changed_ledger_in_a_bag_is_named() {
    a_changed_bit_is_named("data/results", "ledger.jsonl");
}

#[test]
fn an_audit_names_what_was_changed_since() {
    let room = tempfile::tempdir().unwrap();
    let study = received(room.path());
    let states = study.join("results/tables/states.csv");
    let table = fs::read_to_string(&states).unwrap();
    let value = table.lines().nth(1).unwrap().split(',').find(|cell| cell.len() > 8 && cell.parse::<f64>().is_ok());
    fs::write(&states, table.replacen(value.unwrap(), "77.5", 1)).unwrap();
    let raw = first(&study.join("raw"), "");
    fs::write(&raw, fs::read_to_string(&raw).unwrap() + "\n").unwrap();
    let figure = first(&study.join("results/figures"), ".svg");
    fs::write(&figure, fs::read_to_string(&figure).unwrap() + "\n").unwrap();
    let file = study.join("study.yaml");
    fs::write(&file, fs::read_to_string(&file).unwrap() + "# a word more\n").unwrap();
    let ledger = study.join("results/ledger.jsonl");
    fs::write(&ledger, fs::read_to_string(&ledger).unwrap().replacen("Z\"", "Y\"", 1)).unwrap();
    let before = crate::support::contents(&study);
    let said = says(&["audit", text(&study)], 1);
    for words in [
        "results/tables/states.csv: it was changed since it was written",
        "it is not the raw export that the results were made from",
        ".svg: it was changed since it was written",
        "study.yaml: it is not the study file of run 1",
        "results/ledger.jsonl: it is not the ledger that the study keeps in .shearback: it was changed since",
    ] {
        assert!(said.contains(words), "{words}\n{said}");
    }
    assert!(crate::support::contents(&study) == before, "the audit changed the study");
}

/// What does not hold in an audit, by the file that is named.
fn named(study: &Path) -> Vec<String> {
    let said = shearback(&["audit", text(study), "--json"]);
    assert_eq!(said.status, 1, "{}\n{}", said.out, said.err);
    let found: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    let problems = found["problems"].as_array().unwrap();
    problems.iter().map(|problem| problem["what"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn an_audit_finds_a_flipped_bit_wherever_the_study_keeps_something() {
    let room = tempfile::tempdir().unwrap();
    let study = room.path().join("study");
    copy_folder(&packed().study(), &study);
    let state = fs::read(study.join(".shearback/state.json")).unwrap();
    let folders = [".shearback/outputs", ".shearback/bulky", ".shearback/records", ".shearback/runs"];
    let results = ["results/tables/points", "results/figures", "results/report", "results/variants", "results"];
    let there = |folder: &&str| study.join(folder).is_dir();
    let mut flipped: Vec<PathBuf> =
        folders.into_iter().chain(results).filter(there).map(|f| first(&study.join(f), "")).collect();
    flipped.extend(["results/report.pdf", "results/manifest.json"].map(|file| study.join(file)));
    flipped.sort();
    flipped.dedup();
    assert!(flipped.len() > 8, "{flipped:?}");
    flipped.iter().for_each(|path| flip(path));
    let found = named(&study);
    for path in flipped {
        let name = path.strip_prefix(&study).unwrap().to_string_lossy().into_owned();
        assert!(found.contains(&name), "{name} is not among {found:?}");
    }
    // The two that hold the rest together, by themselves.
    for name in [".shearback/state.json", ".shearback/ledger.jsonl"] {
        let path = study.join(name);
        let was = fs::read(&path).unwrap();
        flip(&path);
        assert!(named(&study).contains(&name.to_owned()), "{name}");
        fs::write(&path, was).unwrap();
    }
    assert!(fs::read(study.join(".shearback/state.json")).unwrap() == state);
}

#[test]
fn results_that_do_not_hold_are_packed_on_request_only_and_the_bag_says_so() {
    let room = tempfile::tempdir().unwrap();
    let study = received(room.path());
    let file = study.join("study.yaml");
    fs::write(&file, fs::read_to_string(&file).unwrap() + "\nprotocol: changed\n").unwrap();
    let bag = room.path().join("bag");
    assert!(says(&["pack", text(&study), text(&bag)], 1).contains("not up to date"));
    assert!(!bag.exists());
    says(&["pack", text(&study), text(&bag), "--as-is"], 0);
    for name in ["data/README.md", "data/ro-crate-metadata.json", "bag-info.txt"] {
        assert!(fs::read_to_string(bag.join(name)).unwrap().contains("not up to date"), "{name}");
    }
}

#[test]
fn raw_exports_can_be_kept_back_with_hashes_and_reason() {
    let room = tempfile::tempdir().unwrap();
    let bag = room.path().join("bag");
    says(&["pack", text(&packed().study()), text(&bag), "--without-raw", "--because", "measured under contract"], 0);
    assert!(!bag.join("data/raw").exists());
    let list = fs::read_to_string(bag.join("data/withheld.csv")).unwrap();
    let raw = walkdir::WalkDir::new(packed().study().join("raw")).into_iter().flatten();
    for path in raw.filter(|entry| entry.file_type().is_file()).map(walkdir::DirEntry::into_path) {
        assert!(list.contains(blake3::hash(&fs::read(path).unwrap()).to_hex().as_str()));
    }
    assert!(list.contains("measured under contract"));
    // Without them nothing can be computed again: what can be checked is, and the rest is said.
    let there = room.path().join("there");
    says(&["receive", text(&bag), text(&there)], 0);
    let said = says(&["audit", text(&there), "--sheet", text(&room.path().join("sheet.pdf"))], 1);
    let words = "raw exports: none of the 2 is here: the sender kept them back (measured under contract). Nothing could be \
                 computed again";
    assert!(
        said.contains(words) && said.contains("as the run wrote them, which could not be computed again"),
        "{said}"
    );
    assert_eq!(named(&there), ["raw exports"]);
    flip(&there.join("results/tables/states.parquet"));
    assert!(named(&there).contains(&"results/tables/states.parquet".to_owned()));
    // With them in their places it is as with any other study.
    copy_folder(&packed().bag().join("data/results"), &there.join("results"));
    copy_folder(&packed().study().join("raw"), &there.join("raw"));
    assert!(says(&["audit", text(&there)], 0).contains("everything holds"));
}

#[test]
fn a_wrong_claim_a_wrong_old_number_and_a_changed_setting_are_explained() {
    let room = tempfile::tempdir().unwrap();
    let study = received(room.path());
    let table = crate::support::table::read(&study.join("results/tables/states.csv"));
    let state = table.iter().find(|row| row.number("contact_share").is_some()).expect("a state with a value");
    let (sample, point) = (state.text("sample").to_owned(), state.text("set_point").to_owned());
    let (share, u) = (state.number("contact_share").unwrap(), state.number("u_contact_share").unwrap());
    let wrong = share - 10.0 * u;
    fs::create_dir(study.join("old")).unwrap();
    fs::write(study.join("old/thesis.csv"), format!("{OLD}{sample};{point};{:.4}\n", 100.0 * wrong)).unwrap();
    let file = study.join("study.yaml");
    let more = format!(
        "\nclaims:\n  - {{says: \"Contacts carry it\", table: states, where: {{sample: {sample:?}, set_point: {point}}}, \
         column: contact_share, value: {wrong}, within: 0.001}}\nearlier_results:\n  thesis: {{file: old/thesis.csv, \
         separator: \";\", table: states, rows: {{sample: {{column: sample}}, set_point: {{column: point}}}}, \
         numbers: {{contact_share: {{column: share, unit: \"%\"}}}}}}\n"
    );
    let said = fs::read_to_string(&file).unwrap();
    assert!(!said.contains("\nclaims:") && !said.contains("\nseed:"), "the test adds these keys itself");
    fs::write(&file, said + &more + "seed: 77\n").unwrap();
    let said = says(&["run", text(&study)], 1);
    assert!(said.contains("claim misses: \"Contacts carry it\""), "{said}");
    assert!(said.contains("earlier table thesis: 0 match, 1 differ"), "{said}");
    let said = says(&["audit", text(&study)], 1);
    assert!(said.contains("“Contacts carry it” does not hold: claimed"), "{said}");
    let said = says(&["compare", text(&packed().study()), text(&study)], 0);
    assert!(said.contains("setting seed: default -> 77"), "{said}");
}

/// Programs and packages of Python that check what we write; `SHEARBACK_PYTHON` names the interpreter that has them.
fn python(script: &str, arguments: &[&str]) -> Option<String> {
    let named = std::env::var("SHEARBACK_PYTHON").ok();
    let program = named.clone().unwrap_or_else(|| "python3".to_owned());
    let output = Command::new(program).arg("-c").arg(script).args(arguments).output();
    let said = match &output {
        Ok(output) => format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr)),
        Err(e) => e.to_string(),
    };
    match output {
        Ok(output) if output.status.success() => Some(said),
        // Where an interpreter is named, its packages must be there.
        _ if named.is_some() || !said.contains("ModuleNotFoundError") && !said.contains("os error 2") => {
            panic!("{said}")
        }
        _ => {
            println!("skipped: {}", said.lines().last().unwrap_or("no Python"));
            None
        }
    }
}

#[test]
fn the_reference_validator_takes_the_bag() {
    python("import bagit, sys; bagit.Bag(sys.argv[1]).validate()", &[text(&packed().bag())]);
}

#[test]
fn sha512sum_takes_the_manifests() {
    for (program, algorithm) in [("sha512sum", "sha512"), ("sha256sum", "sha256")] {
        for kind in ["manifest", "tagmanifest"] {
            let list = format!("{kind}-{algorithm}.txt");
            match Command::new(program).current_dir(packed().bag()).args(["-c", "--quiet", &list]).output() {
                Ok(output) => assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr)),
                Err(_) => println!("skipped: no {program}"),
            }
        }
    }
}

#[test]
fn the_citation_file_fits_its_schema() {
    let script = "import sys; from cffconvert import Citation; Citation(open(sys.argv[1]).read()).validate()";
    python(script, &[text(&packed().bag().join("data/CITATION.cff"))]);
}

#[test]
fn the_crate_validator_takes_the_crate() {
    if let Some(said) = python(include_str!("handing-on/crate.py"), &[text(&packed().bag().join("data"))]) {
        println!("{said}");
        assert!(said.contains("validated with the context of"), "{said}");
    }
}

#[test]
fn the_tables_open_elsewhere() {
    let script = "
import sys, pandas, polars
folder = sys.argv[1]
for name in ['runs', 'reversals', 'states', 'thickening']:
    a, b = pandas.read_parquet(f'{folder}/{name}.parquet'), polars.read_parquet(f'{folder}/{name}.parquet')
    c = pandas.read_csv(f'{folder}/{name}.csv')
    assert list(a.columns) == b.columns == list(c.columns) and len(a) == b.height == len(c) > 0, name
    for column in a.select_dtypes('float').columns:
        pandas.testing.assert_series_equal(a[column], c[column].astype(float), rtol=1e-14)
";
    python(script, &[text(&packed().bag().join("data/results/tables"))]);
}

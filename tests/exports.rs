//! Raw exports through the program: what is refused, with which words; what becomes of files that somebody changes while
//! they are read; entries of preambles in the tables.

use crate::support::table::{Row, read};
use crate::support::{Said, command, contents, json, shearback, small_study, typst};
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const STUDY: &str = "\
study: Exports of every kind
liquids:
  l: {viscosity: 1 Pa.s, density: 1000 kg/m3}
particles:
  p: {density: 1000 kg/m3, diameter: 1 um}
samples:
  A: {liquid: l, particles: p, volume_fraction: 0.5}
geometries:
  cone: {kind: cone-plate, radius: 20 mm, angle: 2 deg}
instruments:
  i: {inertia: 20 uN.m.s2, torque_floor: 10 nN.m}
layouts:
  t:
    columns:
      time: {name: t, unit: s}
      torque: {name: M, unit: uN.m}
      speed: {name: n, unit: rad/s}
raw:
  - {files: 'raw/*', layout: t, sample: A}
";

/// An export of a steady turn, 40 readings, below these lines.
fn export(preamble: &str) -> String {
    let rows = (0..40).map(|i| format!("{:.1};{};0.05\n", 0.1 * f64::from(i), 500 + i % 3));
    format!("{preamble}t;M;n\n{}", rows.collect::<String>())
}

/// A study with these exports.
fn study(raw: &[(&str, &[u8])]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("raw")).unwrap();
    fs::write(folder.path().join("study.yaml"), STUDY).unwrap();
    for (name, bytes) in raw {
        fs::write(folder.path().join("raw").join(name), bytes).unwrap();
    }
    folder
}

fn until_reversal(study: &Path) -> Said {
    shearback(&["run", study.to_str().unwrap(), "--last-stage", "reversal"])
}

fn runs(study: &Path) -> Vec<Row> {
    read(&study.join("results/tables/runs.csv"))
}

/// Each fails its own task with its name, what is wrong and what to do; the others go on.
#[test]
fn what_is_no_export_fails_alone_and_is_told_by_name() {
    let good = export("");
    let junk: Vec<u8> = (0..5000_u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 11) as u8).collect();
    let image = [b"\x89PNG\r\n\x1a\n".as_slice(), &junk].concat();
    let long = vec![b'7'; 10 << 20];
    let cells = good.replace("501", "overload");
    let study = study(&[
        ("empty.txt", b""),
        ("good.txt", good.as_bytes()),
        ("image.txt", &image),
        ("junk.txt", &junk),
        ("letter.txt", b"dear reader,\nnothing was measured today\n"),
        ("long.txt", &long),
        ("words.txt", cells.as_bytes()),
    ]);
    let (status, told) = json("run", study.path(), &["--last-stage", "reversal"]);
    assert_eq!(status, 1, "{told}");
    let outcome = |of: &str| {
        let tasks = told["tasks"].as_array().unwrap();
        let name = format!("ingest raw/{of}.txt");
        tasks.iter().find(|task| task["name"] == *name).unwrap()["outcome"].as_str().unwrap().to_owned()
    };
    assert_eq!(outcome("good"), "built");
    let said = until_reversal(study.path());
    assert_eq!(said.status, 1);
    for (name, place, what, help) in [
        ("empty", "", "the file is empty", "export the run again"),
        ("image", "", "this is a PNG image, not a text export", "export the run as text or CSV"),
        ("junk", "", "this is not text", "export the run as text or CSV"),
        ("letter", ":1", "no line holds any of the columns `t`, `n`, `M`", "check `columns`"),
        ("long", ":1", "this line has more than 1048576 bytes", "a line a reading"),
        (
            "words",
            ":3:5",
            "column `M` (torque): found `overload`, expected a number with decimal `.`",
            "refuse_unreadable",
        ),
    ] {
        assert_eq!(outcome(name), "failed", "{name}");
        let told = format!("error: ingest raw/{name}.txt: {what}");
        let at = format!("\n  at raw/{name}.txt{place}\n");
        assert!(said.err.contains(&told) && said.err.contains(&at), "{name}: {}", said.err);
        assert!(said.err.contains(help), "{name}: {}", said.err);
    }
    assert!(said.err.len() < 8000, "a line of 10 MB is not printed: {} bytes", said.err.len());
    assert!(!study.path().join("results").exists(), "nothing is laid out where a task failed");
}

/// What a pattern matches by its name, but is no file, is not opened: a pipe would wait for ever.
#[cfg(unix)]
#[test]
fn folders_links_and_pipes_are_no_exports() {
    let study = study(&[("good.txt", export("").as_bytes())]);
    let raw = study.path().join("raw");
    let outside = tempfile::NamedTempFile::new().unwrap();
    fs::create_dir(raw.join("folder.txt")).unwrap();
    std::os::unix::fs::symlink("nowhere.txt", raw.join("dangling.txt")).unwrap();
    assert!(std::process::Command::new("mkfifo").arg(raw.join("pipe.txt")).status().unwrap().success());
    let file = study.path().join("study.yaml");
    for (files, words) in [
        ("raw/folder.txt", "`raw/folder.txt` is a folder, no export"),
        ("raw/dangling.txt", "`raw/dangling.txt` is a link to nothing, no export"),
        ("raw/pipe.txt", "`raw/pipe.txt` is a pipe, socket or device, no export"),
        ("raw/{good,pipe}.txt", "`raw/pipe.txt` is a pipe, socket or device, no export"),
        ("raw/*", "`raw/pipe.txt` is a pipe, socket or device, no export"),
        ("raw/gone.txt", "no file matches `raw/gone.txt`"),
    ] {
        fs::write(&file, STUDY.replace("raw/*", files)).unwrap();
        let said = until_reversal(study.path());
        assert_eq!(said.status, 2, "{files}: {}", said.err);
        assert!(said.err.contains("study.yaml:19:") && said.err.contains(words), "{files}: {}", said.err);
    }
    std::os::unix::fs::symlink(outside.path(), raw.join("outside.txt")).unwrap();
    fs::write(&file, STUDY.replace("raw/*", "raw/outside.txt")).unwrap();
    let said = until_reversal(study.path());
    assert_eq!(said.status, 2, "{}", said.err);
    assert!(said.err.contains("`raw/outside.txt` is a link out of the study"), "{}", said.err);
}

#[test]
fn chosen_entries_of_the_preambles_are_columns_of_runs() {
    let first = "Bediener: \"Nobody, the 2nd\"\r\nGap, mm = 0,052\nTool = cone \"seven\"; 2 deg\n";
    let second = "bediener: someone\nTool = \n";
    let study = study(&[("1.txt", export(first).as_bytes()), ("2.txt", export(second).as_bytes())]);
    let keys = "layout: t, preamble: [Bediener, bediener, 'Gap, mm', Tool, 'Größe']";
    fs::write(study.path().join("study.yaml"), STUDY.replace("layout: t", keys)).unwrap();
    let said = until_reversal(study.path());
    assert_eq!(said.status, 0, "{}", said.err);
    let rows = runs(study.path());
    let column = |name: &str| [rows[0].text(name), rows[1].text(name)];
    assert_eq!(column("preamble_bediener"), ["Nobody, the 2nd", ""]);
    assert_eq!(column("preamble_bediener_2"), ["", "someone"]);
    assert_eq!(column("preamble_gap__mm"), ["0,052", ""]);
    assert_eq!(column("preamble_tool"), ["cone \"seven\"; 2 deg", ""]);
    assert_eq!(column("preamble_größe"), ["", ""]);
    // An entry that an export has not is told: the key may be mistyped.
    assert!(rows[0].text("remarks").contains("its preamble has no entry `Größe`"), "{}", rows[0].text("remarks"));
    assert!(rows[1].text("remarks").contains("its preamble has no entry `Gap, mm`"), "{}", rows[1].text("remarks"));
    let dictionary = read(&study.path().join("results/tables/dictionary.csv"));
    let meaning = |name: &str| {
        let row = dictionary.iter().find(|row| row.text("table") == "runs" && row.text("column") == name);
        row.unwrap_or_else(|| panic!("{name} is not in the dictionary")).text("meaning").to_owned()
    };
    assert!(meaning("preamble_gap__mm").contains("`Gap, mm`"));
    assert!(meaning("preamble_bediener_2").contains("`bediener`"));
}

/// A loading that the preamble is to tell, and does not, is an error of that export.
#[test]
fn a_name_that_the_preamble_lacks_is_told_with_its_export() {
    let study = study(&[("1.txt", export("Filling: 3\n").as_bytes()), ("2.txt", export("Date: today\n").as_bytes())]);
    let rule = "layout: t, loading: {preamble: Filling}";
    fs::write(study.path().join("study.yaml"), STUDY.replace("layout: t", rule)).unwrap();
    let said = until_reversal(study.path());
    assert_eq!(said.status, 1, "{}", said.out);
    let words = "raw/2.txt: the preamble has no entry `Filling` for the loading; it has Date";
    assert!(said.err.contains(words), "{}", said.err);
}

/// Runs a study; when everything has been read and the page is set, a script of the shell is run in its folder.
#[cfg(unix)]
fn run_while(study: &Path, script: &str) -> Said {
    use std::os::unix::fs::PermissionsExt;
    let (tool, real) = (tempfile::tempdir().unwrap(), typst());
    let instead = tool.path().join("typst");
    let (study, real) = (study.to_str().unwrap(), real.to_str().unwrap());
    let words = format!("#!/bin/sh\n[ \"$1\" = compile ] && (cd '{study}' && {script})\nexec '{real}' \"$@\"\n");
    fs::write(&instead, words).unwrap();
    fs::set_permissions(&instead, fs::Permissions::from_mode(0o755)).unwrap();
    command(&["run", study]).env("TYPST", &instead).output().unwrap().into()
}

/// An export and the study file are changed while the run is under way: results, ledger and audit speak of what was read.
#[cfg(unix)]
#[test]
fn what_changes_under_way_belongs_to_the_next_run() {
    let study = small_study();
    let (export, file) = (study.path().join("raw/S1/S1_L2.tsv"), study.path().join("study.yaml"));
    let (before, settings) = (fs::read(&export).unwrap(), fs::read(&file).unwrap());
    let said = run_while(
        study.path(),
        "sed -i '$d' raw/S1/S1_L2.tsv && sed -i 's/^stages:$/stages:\\n  clean: {spike: false}/' study.yaml",
    );
    assert_eq!(said.status, 0, "{}", said.err);
    assert_ne!((fs::read(&export).unwrap(), fs::read(&file).unwrap()), (before.clone(), settings.clone()));
    let results = contents(&study.path().join("results"));
    let rows = runs(study.path());
    let row = rows.iter().find(|row| row.text("run") == "raw/S1/S1_L2.tsv").unwrap();
    assert_eq!(row.text("blake3"), blake3::hash(&before).to_string());

    // Both are called out of date, and an audit holds the results against neither.
    let said = shearback(&["why", study.path().to_str().unwrap()]);
    assert!(
        said.out.contains("raw export raw/S1/S1_L2.tsv") && said.out.contains("stages.clean.spike"),
        "{}",
        said.out
    );
    let said = shearback(&["audit", study.path().to_str().unwrap()]);
    assert_eq!(said.status, 1, "{}", said.out);
    assert!(said.out.contains("study.yaml: "), "{}", said.out);
    assert!(said.out.contains("it is not the raw export that the results were made from"), "{}", said.out);

    // Put back, everything holds as it stands.
    fs::write(&export, before).unwrap();
    fs::write(&file, settings).unwrap();
    let said = shearback(&["audit", study.path().to_str().unwrap()]);
    assert_eq!(said.status, 0, "{}", said.out);
    assert_eq!(contents(&study.path().join("results")), results);
}

//! Runs that are sheets of a workbook, through everything that a run goes through: started from, run, packed, received,
//! audited, compared; and the same numbers as from text.

use crate::first_day::{fill, sheet};
use crate::support::made_workbook::workbook;
use crate::support::table::{Row, read};
use crate::support::{Said, copy_folder, hashes, json, shearback, small_study};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::OnceLock;
use tempfile::TempDir;

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[track_caller]
fn says(words: &[&str], status: i32) -> String {
    let Said { status: found, out, err } = shearback(words);
    assert_eq!(found, status, "{words:?}\n{out}\n{err}");
    out + &err
}

/// A workbook of three loadings as sheets beside notes; one cell of the first is 2 % higher where `changed`.
fn loadings(of: &Path, changed: bool) -> Vec<u8> {
    let loading = |number: usize| fs::read_to_string(of.join(format!("raw/S1/S1_L{number}.tsv"))).unwrap();
    let (mut first, second, third) = (loading(1), loading(2), loading(3));
    if changed {
        first = with_another_cell(&first);
    }
    workbook(&[("notes", "gap zeroed twice\nby\tnobody"), ("L1", &*first), ("filling 2", &*second), ("L3", &*third)])
}

/// The stress of the last reading before the first reversal, which its steady value is made of.
fn with_another_cell(sheet: &str) -> String {
    let mut lines: Vec<String> = sheet.lines().map(str::to_owned).collect();
    let last = lines.iter().rposition(|line| line.split('\t').nth(1) == Some("1")).unwrap();
    let mut cells: Vec<&str> = lines[last].split('\t').collect();
    let stress = format!("{:.6}", 1.02 * cells[4].parse::<f64>().unwrap());
    cells[4] = &stress;
    lines[last] = cells.join("\t");
    lines.join("\n")
}

/// A folder of exports: that workbook, and the control as text.
fn exports(of: &Path, to: &Path) {
    copy_folder(&of.join("raw/control"), &to.join("control"));
    fs::create_dir_all(to).unwrap();
    fs::write(to.join("S1.xlsx"), loadings(of, false)).unwrap();
}

/// An open study, and one started from sheets with the same numbers, which has been run once.
fn started() -> (&'static Path, &'static Path) {
    static STARTED: OnceLock<(TempDir, TempDir)> = OnceLock::new();
    let (own, room) = STARTED.get_or_init(|| {
        let (own, room) = (small_study(), tempfile::tempdir().unwrap());
        let (raw, study) = (room.path().join("raw"), room.path().join("study"));
        exports(own.path(), &raw);
        let said = says(&["new", text(&study), "--from", text(&raw)], 0);
        assert!(said.starts_with("2 exports copied and compared by hash, 4 runs, 2 layouts"), "{said}");
        fill(&study, &sheet(true));
        says(&["run", text(&study)], 0);
        (own, room)
    });
    (own.path(), room.path())
}

fn reversals(study: &Path) -> Vec<Row> {
    read(&study.join("results/tables/reversals.csv"))
}

#[test]
fn sheets_of_a_workbook_go_all_the_way() {
    let (own, room) = started();
    let elsewhere = tempfile::tempdir().unwrap();
    let inside = |name: &str| elsewhere.path().join(name);
    let study = inside("study");
    copy_folder(&room.join("study"), &study);
    let names: Vec<String> =
        read(&study.join("results/tables/runs.csv")).iter().map(|run| run.text("run").to_owned()).collect();
    let wanted = ["raw/S1.xlsx#L1", "raw/S1.xlsx#L3", "raw/S1.xlsx#filling 2", "raw/control/control_L1.tsv"];
    assert_eq!(names, wanted);

    // The same numbers as from text.
    says(&["run", text(own)], 0);
    let from_text = reversals(own);
    let from_sheets = reversals(&study);
    assert_eq!(from_sheets.len(), from_text.len());
    let pairs = [("raw/S1.xlsx#L1", "raw/S1/S1_L1.tsv"), ("raw/S1.xlsx#filling 2", "raw/S1/S1_L2.tsv")];
    for (sheet, file) in pairs {
        let of = |rows: &[Row], run: &str| -> Vec<[String; 4]> {
            let rows = rows.iter().filter(|row| row.text("run") == run);
            rows.map(|r| ["row", "step", "contact_share", "u_contact_share"].map(|c| r.text(c).to_owned())).collect()
        };
        assert_eq!(of(&from_sheets, sheet), of(&from_text, file));
    }

    // Handed on, and still what it was.
    let (bag, there) = (inside("bag.zip"), inside("there"));
    says(&["pack", text(&study), text(&bag)], 0);
    says(&["receive", text(&bag), text(&there)], 0);
    assert_eq!(fs::read(there.join("raw/S1.xlsx")).unwrap(), fs::read(study.join("raw/S1.xlsx")).unwrap());
    let said = says(&["audit", text(&there)], 0);
    assert!(said.contains("everything holds"), "{said}");
    says(&["compare", text(&study), text(&there)], 0);
}

fn named(tasks: &Value, key: &str, is: &str) -> BTreeSet<String> {
    let tasks = tasks["tasks"].as_array().unwrap().iter().filter(|task| task[key] == is);
    tasks.map(|task| task["name"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn one_changed_cell_is_followed_to_the_numbers() {
    let (own, room) = started();
    let elsewhere = tempfile::tempdir().unwrap();
    let study = elsewhere.path().join("study");
    copy_folder(&room.join("study"), &study);
    says(&["run", text(&study)], 0);
    let before = elsewhere.path().join("before");
    copy_folder(&study, &before);
    let book = study.join("raw/S1.xlsx");
    fs::write(&book, loadings(own, true)).unwrap();

    // Until it is run again the results are not those of the workbook.
    let said = says(&["audit", text(&study)], 1);
    assert!(said.contains("raw/S1.xlsx: it is not the raw export that the results were made from"), "{said}");

    // Every sheet is read again, because the file is another; what was read differs in one.
    let (_, why) = json("why", &study, &[]);
    let sheets = ["L1", "L3", "filling%202"].map(|sheet| format!("ingest raw/S1.xlsx%23{sheet}"));
    assert_eq!(named(&why, "condition", "out of date"), sheets.clone().into());
    let reason = why["tasks"].as_array().unwrap().iter().find(|task| task["name"] == *sheets[0]).unwrap();
    assert_eq!(reason["reasons"][0]["what"], "raw/S1.xlsx", "{reason}");
    let undecided = named(&why, "condition", "undecided");
    let (status, run) = json("run", &study, &[]);
    assert_eq!(status, 0, "{run}");
    let built = named(&run, "outcome", "built");
    assert!(sheets.iter().all(|name| built.contains(name)));
    assert!(built.iter().all(|name| sheets.contains(name) || undecided.contains(name)), "{built:?}");
    let of = |stage: &str| -> Vec<&str> { built.iter().filter_map(|name| name.strip_prefix(stage)).collect() };
    assert_eq!(
        (of("clean "), of("reversal: read ")),
        (vec!["raw/S1.xlsx%23L1"], vec!["raw/S1.xlsx%23L1"]),
        "{built:?}"
    );
    // Figures of the control are drawn again, for they show the states as well; the control itself is not read again.
    assert!(!built.iter().any(|name| name.starts_with("reversal: control")), "{built:?}");
    says(&["audit", text(&study)], 0);

    // The reversal behind that cell has moved, and no reading of another sheet.
    let (old, new) = (reversals(&before), reversals(&study));
    let moved: BTreeSet<&str> = old
        .iter()
        .zip(&new)
        .filter(|(old, new)| old.text("viscosity_before_pa_s") != new.text("viscosity_before_pa_s"))
        .map(|(old, _)| old.text("run"))
        .collect();
    assert_eq!(moved, ["raw/S1.xlsx#L1"].into());
    let points = |study: &Path| hashes(&study.join("results/tables/points"));
    let differ = points(&study).into_iter().filter(|(name, hash)| points(&before).get(name) != Some(hash)).count();
    assert_eq!(differ, 1);
    let said = says(&["compare", text(&before), text(&study)], 0);
    assert!(said.contains("raw/S1.xlsx"), "{said}");
    let said = says(&["compare", text(&study), "--run", "1"], 0);
    assert!(said.contains("raw/S1.xlsx"), "{said}");
}

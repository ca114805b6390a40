//! Runs that are sheets of a workbook, through everything that a run goes through: started from, run, packed, received,
//! audited, compared; and the same numbers as from text.

use crate::first_day::{fill, sheet};
use crate::support::made_workbook::workbook;
use crate::support::table::{Row, read};
use crate::support::{Said, copy_folder, json, shearback, small_study};
use std::fs;
use std::path::Path;

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

#[track_caller]
fn says(words: &[&str], status: i32) -> String {
    let Said { status: found, out, err } = shearback(words);
    assert_eq!(found, status, "{words:?}\n{out}\n{err}");
    out + &err
}

/// A folder of exports: three loadings as sheets of one workbook beside notes, and the control as text.
fn exports(of: &Path, to: &Path) {
    copy_folder(&of.join("raw/control"), &to.join("control"));
    let loading = |number: usize| fs::read_to_string(of.join(format!("raw/S1/S1_L{number}.tsv"))).unwrap();
    let (first, second, third) = (loading(1), loading(2), loading(3));
    let sheets = [("notes", "gap zeroed twice\nby\tnobody"), ("L1", &*first), ("filling 2", &*second), ("L3", &*third)];
    fs::create_dir_all(to).unwrap();
    fs::write(to.join("S1.xlsx"), workbook(&sheets)).unwrap();
}

fn reversals(study: &Path) -> Vec<Row> {
    read(&study.join("results/tables/reversals.csv"))
}

#[test]
fn sheets_of_a_workbook_go_all_the_way() {
    let (own, room) = (small_study(), tempfile::tempdir().unwrap());
    let inside = |name: &str| room.path().join(name);
    let (raw, study) = (inside("raw"), inside("study"));
    exports(own.path(), &raw);
    let said = says(&["new", text(&study), "--from", text(&raw)], 0);
    assert!(said.starts_with("2 exports copied and compared by hash, 4 runs, 2 layouts"), "{said}");
    fill(&study, &sheet(true));
    says(&["run", text(&study)], 0);
    let names: Vec<String> =
        read(&study.join("results/tables/runs.csv")).iter().map(|run| run.text("run").to_owned()).collect();
    let wanted = ["raw/S1.xlsx#L1", "raw/S1.xlsx#L3", "raw/S1.xlsx#filling 2", "raw/control/control_L1.tsv"];
    assert_eq!(names, wanted);

    // The same numbers as from text.
    says(&["run", text(own.path())], 0);
    let from_text = reversals(own.path());
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

    // A changed cell: the workbook is named, and what moved is blamed on it.
    let third = fs::read_to_string(own.path().join("raw/S1/S1_L3.tsv")).unwrap();
    fs::write(own.path().join("raw/S1/S1_L3.tsv"), third.replace("\t-127.", "\t-117.")).unwrap();
    exports(own.path(), &raw);
    fs::copy(raw.join("S1.xlsx"), there.join("raw/S1.xlsx")).unwrap();
    let (_, why) = json("why", &there, &[]);
    let ingest = why["tasks"].as_array().unwrap().iter().find(|t| t["name"] == "ingest raw/S1.xlsx#L3").unwrap();
    assert_eq!(ingest["condition"], "out of date", "{ingest}");
    assert!(ingest.to_string().contains("raw/S1.xlsx"), "{ingest}");
    let said = says(&["audit", text(&there)], 1);
    assert!(said.contains("raw/S1.xlsx"), "{said}");
    says(&["run", text(&there)], 0);
    let said = says(&["compare", text(&study), text(&there)], 0);
    assert!(said.contains("raw/S1.xlsx"), "{said}");
}

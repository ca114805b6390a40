//! The first day with the program: look at exports, start a study from a folder of them, fill in what only a person
//! knows, run it. Exports are those of the open studies and of the demo; what a proposal reads is held against what
//! the studies' own files read.

use crate::support::table::{Row, read};
use crate::support::{Said, contents, copy_folder, hashes, open_study, root, shearback, small_study};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// An open study whose exports of one sample and of the control lie apart, as a laboratory's folder would.
struct Laboratory {
    study: tempfile::TempDir,
    folder: tempfile::TempDir,
}

impl Laboratory {
    /// One sample of the sheet study, and its control.
    fn small() -> Self {
        let (study, folder) = (small_study(), tempfile::tempdir().unwrap());
        for sample in ["S1", "control"] {
            let raw = study.path().join("raw").join(sample);
            copy_folder(&raw, &folder.path().join("exports of may").join(sample));
        }
        Self { study, folder }
    }

    fn exports(&self) -> PathBuf {
        self.folder.path().join("exports of may")
    }

    fn inside(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn new_from(study: &Path, raw: &Path) -> Said {
    shearback(&["new", text(study), "--from", text(raw)])
}

/// Puts values in the place of `TODO`s, each behind the words before it; none must be left.
pub fn fill(study: &Path, values: &[(&str, &str)]) {
    let file = study.join("study.yaml");
    let mut words = fs::read_to_string(&file).unwrap();
    for (before, value) in values {
        let at = words.find(&format!("{before}TODO")).unwrap_or_else(|| panic!("no TODO behind {before}\n{words}"));
        words.replace_range(at + before.len()..at + before.len() + "TODO".len(), value);
    }
    let left: Vec<&str> = words.lines().filter(|l| !l.starts_with('#') && l.contains("TODO")).collect();
    assert!(left.is_empty(), "{left:?}");
    fs::write(file, words).unwrap();
}

/// What the sheet study's own file states.
pub fn sheet(control: bool) -> Vec<(&'static str, &'static str)> {
    let mut values = vec![("study: ", "The first day"), ("name: ", "Nobody")];
    values.extend([("carrier: {viscosity: ", "554.3766"), ("mPa.s, density: ", "1100")]);
    if control {
        values.extend([("control-liquid: {viscosity: ", "22099.76"), ("mPa.s, density: ", "960")]);
    }
    values.extend([("solid: {density: ", "1100"), ("diameter: ", "5"), ("volume_fraction: ", "0.5004 ± 0.002")]);
    values.extend([("radius: ", "20.00(1)"), ("angle: ", "1.000(5)"), ("truncation: ", "24")]);
    values.extend([("inertia: ", "11.00"), ("torque_floor: ", "100"), ("torque_ceiling: ", "200")]);
    values.push(("torque_calibration: ", "0.5"));
    values
}

#[test]
fn peek_shows_how_an_export_is_read() {
    let study = open_study("sheet-study");
    let export = study.path().join("raw/S1/S1_L1.tsv");
    let before = contents(study.path());
    let said = shearback(&["peek", text(&export)]);
    assert_eq!((said.status, said.err.as_str()), (0, ""), "{}", said.out);
    for wanted in [
        "encoding   UTF-8",
        "`tab` between fields, decimal `.`, comments `#`",
        "preamble   sample = S1",
        "header     line 7; units in line 8",
        "column     time         t_abs in min",
        "not used   no, t_leg, eta, N1",
        "steps      15, by column `leg`",
        "rows       2016 in the file, 2016 read, 0 refused",
        // Line 9 of the export: 5.300000e-5 min, 0.364257 Pa.
        "9    1     0.00318  0.364257",
        "stress: {name: tau, unit: Pa}",
        "torque_includes_inertia: true     # the export says `inertia correction = off`",
    ] {
        assert!(said.out.contains(wanted), "`{wanted}` is not in\n{}", said.out);
    }
    assert_eq!(contents(study.path()), before, "peek writes nothing");
}

/// What `peek` prints for pasting is a layout: the study's own one in its place reads the same readings.
#[test]
fn the_layout_of_peek_can_be_pasted() {
    let study = small_study();
    let said = shearback(&["peek", text(&study.path().join("raw/S1/S1_L1.tsv"))]);
    let pasted = said.out.split("layouts:\n").nth(1).unwrap_or_else(|| panic!("{}", said.out));
    let file = study.path().join("study.yaml");
    let own = fs::read_to_string(&file).unwrap();
    let until = ["run", text(study.path()), "--last-stage", "reversal"];
    assert_eq!(shearback(&until).status, 0);
    let points = |study: &Path| hashes(&study.join("results/tables/points"));
    let before = points(study.path());
    assert_eq!(before.len(), 4);
    let (head, rest) = own.split_once("layouts:\n").unwrap();
    let rest = rest[rest.find("\nraw:").unwrap()..].replace("layout: sheet", "layout: tsv");
    fs::write(&file, format!("{head}layouts:\n{pasted}{rest}")).unwrap();
    let said = shearback(&until);
    assert_eq!(said.status, 0, "{}", said.err);
    assert_eq!(points(study.path()), before);
}

#[test]
fn from_a_folder_of_exports_to_a_report() {
    let laboratory = Laboratory::small();
    let study = laboratory.inside("a study");
    let untouched = hashes(&laboratory.exports());
    let said = new_from(&study, &laboratory.exports());
    assert_eq!((said.status, said.err.as_str()), (0, ""));
    assert!(said.out.contains("4 exports copied and compared by hash, 4 runs, 1 layouts"), "{}", said.out);
    assert!(said.out.contains("S1      0.0691 1/s  2          2          2"), "{}", said.out);
    // The last words are the next command, as it can be typed.
    assert!(said.out.trim_end().ends_with(&format!("`shearback run '{}'`", text(&study))), "{}", said.out);
    assert_eq!(hashes(&study.join("raw")), untouched, "copies are what they are copies of");
    assert_eq!(hashes(&laboratory.exports()), untouched);

    // Not filled in: all that is left at once, and nothing is begun.
    let unfinished = shearback(&["run", text(&study)]);
    assert_eq!((unfinished.status, unfinished.out.as_str()), (2, ""));
    let told = unfinished.err.lines().filter(|line| line.contains("is still to be filled in")).count();
    assert!(said.out.contains(&format!("study.yaml has {told} TODOs")), "{told}: {}\n{}", said.out, unfinished.err);
    assert_eq!(unfinished.err.matches("study.yaml:").count(), told, "each has its line: {}", unfinished.err);
    assert!(unfinished.err.contains("`instruments.rheometer.inertia`"), "{}", unfinished.err);
    assert!(!study.join(".shearback").exists() && !study.join("results").exists());

    // Filled in: the report, with the numbers of the study's own file.
    fill(&study, &sheet(true));
    let said = shearback(&["run", text(&study)]);
    assert_eq!(said.status, 0, "{}\n{}", said.out, said.err);
    assert!(study.join("results/report.pdf").exists());
    every_row_is_accounted_for(&study);
    assert_eq!(shearback(&["run", text(laboratory.study.path())]).status, 0);
    let (mine, own) = (reversals(&study), reversals(laboratory.study.path()));
    assert_eq!(mine.len(), own.len());
    for (mine, own) in mine.iter().zip(&own) {
        for column in ["run", "step", "set_point", "contact_share", "u_contact_share", "viscosity_before_pa_s", "grade"]
        {
            assert_eq!(mine.text(column), own.text(column), "{column} of {}", own.text("reversal"));
        }
    }
}

/// Rows of each export = kept + what is counted under one reason each, to the last row.
fn every_row_is_accounted_for(study: &Path) {
    let exclusions = read(&study.join("results/tables/exclusions.csv"));
    for run in read(&study.join("results/tables/runs.csv")) {
        let own = exclusions.iter().filter(|row| row.text("run") == run.text("run"));
        let counted: f64 = own.map(|row| row.number("counted").unwrap()).sum();
        assert_eq!(run.number("rows").unwrap(), run.number("kept").unwrap() + counted, "{}", run.text("run"));
    }
}

fn reversals(study: &Path) -> Vec<Row> {
    read(&study.join("results/tables/reversals.csv"))
}

#[test]
fn the_folder_of_the_exports_becomes_the_study() {
    let laboratory = Laboratory::small();
    let study = laboratory.exports();
    let raw = hashes(&study);
    let said = shearback(&["new", text(&study), "--in-place"]);
    assert_eq!((said.status, said.err.as_str()), (0, ""));
    assert!(said.out.contains("4 exports left in place, 4 runs, 1 layouts"), "{}", said.out);
    fill(&study, &sheet(true));
    let until = ["run", text(&study), "--last-stage", "reversal"];
    let said = shearback(&until);
    assert_eq!(said.status, 0, "{}", said.err);
    assert!(!said.out.contains("no reversal"), "it was not asked for any: {}", said.out);
    assert_eq!(read(&study.join("results/tables/runs.csv")).len(), 4);
    let after = hashes(&study);
    assert!(raw.iter().all(|(path, hash)| after.get(path) == Some(hash)), "an export was changed");
    // Its own files and results are no exports: nothing more is found, and a second start is refused.
    assert!(shearback(&until).out.contains("0 built"));
    let again = shearback(&["new", text(&study), "--in-place"]);
    assert_eq!(again.status, 2);
    assert!(again.err.contains("there is a study here already"), "{}", again.err);
}

#[test]
fn the_exports_of_the_demo_give_two_layouts_cones_and_rheometers() {
    let folder = tempfile::tempdir().unwrap();
    let (study, raw) = (folder.path().join("study"), root().join("demo-project/raw"));
    let said = new_from(&study, &raw);
    assert_eq!((said.status, said.err.as_str()), (0, ""));
    assert_eq!(hashes(&study.join("raw")), hashes(&raw));
    let words = fs::read_to_string(study.join("study.yaml")).unwrap();
    assert!(words.contains("# The exports say: Messkegel = 50 mm"), "{words}");
    for entry in [
        "sample: CB50, geometry: geometry-1, instrument: rheometer-tsv, loading: {preamble: filling}",
        "sample: B52, geometry: geometry-2, instrument: rheometer-csv, loading: {preamble: Füllung}",
    ] {
        assert!(words.contains(entry), "{words}");
    }
    let mut values = vec![("study: ", "Bridge"), ("name: ", "Nobody")];
    values.extend([("carrier: {viscosity: ", "1620"), ("mPa.s, density: ", "872")]);
    values.extend([("control-liquid: {viscosity: ", "40300"), ("mPa.s, density: ", "971")]);
    values.extend([("solid: {density: ", "2470"), ("diameter: ", "5.2")]);
    values.extend(["0.46", "0.49", "0.52", "0.503"].map(|phi| ("volume_fraction: ", phi)));
    for (radius, angle, truncation) in [("20.00", "1.500", "55"), ("25.00", "2.000", "60")] {
        values.extend([("radius: ", radius), ("angle: ", angle), ("truncation: ", truncation)]);
    }
    for inertia in ["95.0", "27.2"] {
        values.extend([("inertia: ", inertia), ("torque_floor: ", "500"), ("torque_ceiling: ", "120")]);
        values.push(("torque_calibration: ", "0.5"));
    }
    fill(&study, &values);
    let said = shearback(&["run", text(&study), "--last-stage", "clean"]);
    assert_eq!(said.status, 0, "{}", said.err);
}

#[test]
fn what_is_there_is_never_overwritten() {
    let laboratory = Laboratory::small();
    let study = laboratory.inside("study");
    // An old copy stands in the way of one export.
    let old = study.join("raw/S1/S1_L2.tsv");
    fs::create_dir_all(old.parent().unwrap()).unwrap();
    fs::write(&old, "old").unwrap();
    let said = new_from(&study, &laboratory.exports());
    assert_eq!(said.status, 2);
    assert!(said.err.contains("S1_L2.tsv") && said.err.contains("nothing is overwritten"), "{}", said.err);
    assert_eq!(fs::read_to_string(&old).unwrap(), "old");
    assert!(!study.join("study.yaml").exists());
}

#[test]
fn a_bad_folder_of_exports_is_refused_and_nothing_is_written() {
    let laboratory = Laboratory::small();
    let empty = laboratory.inside("empty");
    fs::create_dir(&empty).unwrap();
    let letters = laboratory.inside("letters");
    fs::create_dir(&letters).unwrap();
    fs::write(letters.join("dear.txt"), "dear reader,\nnothing was measured today\n").unwrap();
    let (exports, study) = (laboratory.exports(), laboratory.inside("study"));
    let gone = laboratory.inside("gone");
    let within = exports.join("study");
    for (study, raw, wanted) in [
        (&study, &gone, "there is nothing here"),
        (&study, &empty, "no export was found"),
        (&study, &letters, "this does not look like an export of readings"),
        (&within, &exports, "the study and the exports lie in one another"),
        (&laboratory.folder.path().to_owned(), &exports, "the study and the exports lie in one another"),
    ] {
        let said = new_from(study, raw);
        assert_eq!(said.status, 2, "{wanted}: {}", said.out);
        assert!(said.err.contains(wanted), "{wanted}: {}", said.err);
        assert!(!study.join("study.yaml").exists() && !study.join("raw").exists(), "{wanted}");
    }
    let said = shearback(&["new", text(&study), "--from", text(&exports), "--in-place"]);
    assert_eq!(said.status, 2, "{}", said.out);
    assert!(!study.exists());
}

/// A folder as it is: odd names, a copy, letters, pictures, links and pipes beside the exports.
#[cfg(unix)]
#[test]
fn an_untidy_folder_gives_a_study_of_its_exports() {
    let laboratory = Laboratory::small();
    let raw = laboratory.inside("untidy");
    fs::create_dir(&raw).unwrap();
    let export = |name: &str| fs::read(laboratory.exports().join("S1").join(name)).unwrap();
    for (name, from) in [("a [1].tsv", "S1_L1.tsv"), ("it's {b}.tsv", "S1_L2.tsv"), ("Ünï*?.tsv", "S1_L3.tsv")] {
        fs::write(raw.join(name), export(from)).unwrap();
    }
    fs::write(raw.join("copy of a.tsv"), export("S1_L1.tsv")).unwrap();
    fs::write(raw.join("notes.tsv"), "gap was zeroed twice\n").unwrap();
    fs::write(raw.join("picture.png"), [b"\x89PNG\r\n\x1a\n".as_slice(), &[7; 500]].concat()).unwrap();
    fs::write(raw.join("nothing.tsv"), "").unwrap();
    std::os::unix::fs::symlink("nowhere", raw.join("link.tsv")).unwrap();
    assert!(std::process::Command::new("mkfifo").arg(raw.join("pipe.tsv")).status().unwrap().success());
    let study = laboratory.inside("study");
    let said = new_from(&study, &raw);
    assert_eq!(said.status, 0, "{}", said.err);
    assert!(said.out.starts_with("4 exports copied"), "{}", said.out);
    assert!(said.out.contains("`raw/copy of a.tsv` holds the same bytes as `raw/a [1].tsv`"), "{}", said.out);
    for name in ["notes.tsv", "picture.png", "nothing.tsv", "link.tsv", "pipe.tsv"] {
        assert!(said.err.contains(text(&raw.join(name))), "{name} is not told where it is: {}", said.err);
    }
    let copied: BTreeSet<String> = hashes(&study.join("raw")).into_keys().collect();
    assert_eq!(copied, ["a [1].tsv", "copy of a.tsv", "it's {b}.tsv", "Ünï*?.tsv"].map(str::to_owned).into());
    fill(&study, &sheet(false));
    let said = shearback(&["run", text(&study), "--last-stage", "reversal"]);
    assert_eq!(said.status, 0, "{}", said.err);
    let rows: BTreeMap<String, f64> = read(&study.join("results/tables/runs.csv"))
        .iter()
        .map(|row| (row.text("run").to_owned(), row.number("rows").unwrap()))
        .collect();
    assert_eq!(rows.len(), 4);
    assert_eq!(rows["raw/a [1].tsv"], 2016.0);
}

#[test]
fn an_empty_study_is_a_frame_to_fill() {
    let folder = tempfile::tempdir().unwrap();
    let study = folder.path().join("frame");
    let said = shearback(&["new", text(&study)]);
    assert_eq!(said.status, 0, "{}", said.err);
    let unfinished = shearback(&["run", text(&study)]);
    assert_eq!(unfinished.status, 2);
    assert!(unfinished.err.contains("`raw[1].files` is still to be filled in"), "{}", unfinished.err);
}

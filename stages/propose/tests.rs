//! What is proposed for exports that this project did not make reads them as their own study files do.

use super::names::Named;
use super::proposal::propose;
use super::study;
use super::survey::Survey;
use crate::ingest::compute::read;
use crate::ingest::corpus;
use crate::ingest::params::Params;
use crate::setup::{self, Study};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use walkdir::WalkDir;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// A copy of a study with its exports unpacked.
fn unpacked(from: &Path) -> tempfile::TempDir {
    let to = tempfile::tempdir().unwrap();
    for entry in WalkDir::new(from).into_iter().filter_entry(|e| e.depth() != 1 || e.file_name() != "results") {
        let entry = entry.unwrap();
        if !entry.file_type().is_file() {
            continue;
        }
        let mut bytes = fs::read(entry.path()).unwrap();
        let mut path = to.path().join(entry.path().strip_prefix(from).unwrap());
        if path.extension().is_some_and(|e| e == "gz") {
            let packed = std::mem::take(&mut bytes);
            flate2::read::GzDecoder::new(&*packed).read_to_end(&mut bytes).unwrap();
            path.set_extension("");
        }
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    to
}

fn load(folder: &Path) -> Study {
    setup::load(folder, &BTreeMap::new()).unwrap_or_else(|problems| {
        let all: Vec<String> = problems.iter().map(|p| format!("{p}\n{:?}", p.place)).collect();
        panic!("{}", all.join("\n"))
    })
}

/// The study file proposed for the exports of a folder, with every TODO filled in.
fn proposed(folder: &Path) -> (String, Survey, Named) {
    let mut survey = Survey::default();
    let mut files: Vec<String> = WalkDir::new(folder.join("raw"))
        .into_iter()
        .map(Result::unwrap)
        .filter(|e| e.file_type().is_file())
        .map(|e| e.path().strip_prefix(folder).unwrap().to_str().unwrap().replace('\\', "/"))
        .collect();
    files.sort();
    for file in &files {
        survey.add(file, &fs::read(folder.join(file)).unwrap(), |_, _| {});
    }
    assert!(survey.refused.is_empty(), "{:?}", survey.refused);
    let named = survey.named(&files);
    let text = study::text(&survey, &named);
    (text, survey, named)
}

fn filled(text: &str) -> String {
    text.replace("study: TODO", "study: title").replace("name: TODO", "name: nobody").replace("TODO", "0.5")
}

/// Reads every export of a study by its own study file and by the proposed one.
fn check(from: &Path) -> (Study, Study, String) {
    let folder = unpacked(from);
    let own = fs::read_to_string(folder.path().join("study.yaml")).unwrap();
    // Claims are about tables, which this crate does not know.
    let own = own.split("\nclaims:").next().unwrap();
    fs::write(folder.path().join("study.yaml"), own).unwrap();
    let own = load(folder.path());
    let (text, survey, named) = proposed(folder.path());
    fs::write(folder.path().join("study.yaml"), filled(&text)).unwrap();
    let found = load(folder.path());
    assert_eq!(found.runs.len(), own.runs.len());
    for (mine, theirs) in found.runs.iter().zip(&own.runs) {
        assert_eq!(mine.path, theirs.path);
        let bytes = fs::read(folder.path().join(&theirs.file)).unwrap();
        let by = |study: &Study, layout: &str| read(&bytes, None, &study.layouts[layout], &Params::default()).unwrap();
        let ((mine_read, mine_head), (read, head)) = (by(&found, &mine.layout), by(&own, &theirs.layout));
        assert_eq!((mine_head.rows, mine_head.refused), (head.rows, head.refused), "{}", theirs.path);
        // The proposal may map more columns; what the study maps must be the same to the last bit.
        let (all, wanted) = (mine_read.to_table(), read.to_table());
        for (name, values) in wanted.columns() {
            assert_eq!(all.column(name), Some(values), "{}: {name}", theirs.path);
        }
        let includes = |study: &Study, layout: &str| study.layouts[layout].torque_includes_inertia;
        assert_eq!(includes(&found, &mine.layout), includes(&own, &theirs.layout));
    }
    (own, found, survey.design(&named).in_columns())
}

fn loadings_agree(own: &Study, found: &Study) {
    for (mine, theirs) in found.runs.iter().zip(&own.runs) {
        assert_eq!(own.samples[&theirs.sample].control, found.samples[&mine.sample].control, "{}", theirs.path);
        if !own.samples[&theirs.sample].control {
            assert_eq!(mine.sample, theirs.sample, "{}", theirs.path);
        }
    }
}

#[test]
fn the_ledger_study_reads_right_from_its_proposal() {
    let (own, found, design) = check(&root().join("tests/open-studies/ledger-study"));
    loadings_agree(&own, &found);
    assert!(design.lines().count() > 10, "{design}");
}

#[test]
fn the_sheet_study_reads_right_from_its_proposal() {
    let (own, found, design) = check(&root().join("tests/open-studies/sheet-study"));
    loadings_agree(&own, &found);
    assert!(design.contains("1/s"), "{design}");
}

#[test]
fn the_mixed_study_reads_right_from_its_proposal() {
    let (own, found, _) = check(&root().join("tests/open-studies/mixed-study"));
    loadings_agree(&own, &found);
}

#[test]
fn the_demo_reads_right_from_its_proposal() {
    let (own, found, _) = check(&root().join("demo-project"));
    assert_eq!(found.layouts.len(), own.layouts.len());
    loadings_agree(&own, &found);
}

#[test]
fn an_unfinished_study_tells_all_that_is_left_at_once() {
    let folder = unpacked(&root().join("tests/open-studies/sheet-study"));
    let (text, ..) = proposed(folder.path());
    fs::write(folder.path().join("study.yaml"), &text).unwrap();
    let problems = setup::load(folder.path(), &BTreeMap::new()).unwrap_err();
    let values =
        text.lines().filter(|line| !line.starts_with('#')).map(|line| line.matches("TODO").count()).sum::<usize>();
    assert_eq!(problems.len(), values, "{problems:?}");
    assert!(problems.iter().all(|p| p.place.as_ref().is_some_and(|place| place.line.is_some())));
    assert!(problems.iter().any(|p| p.to_string().contains("`liquids.carrier.viscosity` is still to be filled in")));
}

/// Every key that is a comment in a fresh study file is one that may be written there.
#[test]
fn settings_in_comments_are_real() {
    let folder = unpacked(&root().join("tests/open-studies/sheet-study"));
    let (text, ..) = proposed(folder.path());
    let (before, stages) = filled(&text).split_once("stages:\n").map(|(a, b)| (a.to_owned(), b.to_owned())).unwrap();
    let stages = stages.split("\n\n").next().unwrap().replace("\n    # ", "\n    ");
    fs::write(folder.path().join("study.yaml"), format!("{before}stages:\n{stages}\n")).unwrap();
    assert_eq!(load(folder.path()).stages, setup::stages::Stages::default());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: corpus::cases(), failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever a file holds, `peek` has a proposal or a reason; and what it proposes for a study can be loaded but for
    /// its TODOs.
    #[test]
    fn damaged_exports_get_a_proposal_or_a_reason(which in 0..7usize, how in corpus::damages()) {
        let bytes = corpus::damaged(corpus::whole().swap_remove(which), &how);
        let mut survey = Survey::default();
        survey.add("raw/A_L1.txt", &bytes, |_, _| {});
        prop_assert!(survey.exports.is_empty() != survey.refused.is_empty());
        if let Err(problems) = propose(&bytes) {
            prop_assert!(problems.iter().all(|problem| problem.message.len() < 2000));
            return Ok(());
        }
        let text = study::text(&survey, &survey.named(&["raw/A_L1.txt".to_owned()]));
        let found = setup::typed(&text);
        prop_assert!(found.is_ok(), "{:?}\n{}", found, text);
    }
}

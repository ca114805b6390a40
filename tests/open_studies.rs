//! The three open studies, which this project did not make, against their truth: raw exports to PDF.

use crate::support::table::{Row, read};
use crate::support::{open_study, shearback};
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::OnceLock;
use tempfile::TempDir;

struct Study {
    folder: TempDir,
    said: String,
}

impl Study {
    fn run(name: &str) -> Self {
        let folder = open_study(name);
        let said = shearback(&["run", folder.path().to_str().unwrap()]);
        assert_eq!(said.status, 0, "{}\n{}", said.out, said.err);
        Self { folder, said: said.out }
    }

    fn table(&self, name: &str) -> Vec<Row> {
        read(&self.folder.path().join("results/tables").join(format!("{name}.csv")))
    }

    fn truth(&self, name: &str) -> Vec<Row> {
        read(&self.folder.path().join(name))
    }
}

fn ledger() -> &'static Study {
    static STUDY: OnceLock<Study> = OnceLock::new();
    STUDY.get_or_init(|| Study::run("ledger-study"))
}

fn sheet() -> &'static Study {
    static STUDY: OnceLock<Study> = OnceLock::new();
    STUDY.get_or_init(|| Study::run("sheet-study"))
}

fn mixed() -> &'static Study {
    static STUDY: OnceLock<Study> = OnceLock::new();
    STUDY.get_or_init(|| Study::run("mixed-study"))
}

/// Truth and what was found for it, joined by run and step.
fn pairs(study: &Study) -> Vec<(Row, Row)> {
    let mut found: Vec<Option<Row>> = study.table("reversals").into_iter().map(Some).collect();
    let mut take = |run: &str, step: &str| {
        let at = found
            .iter()
            .position(|row| row.as_ref().is_some_and(|row| row.text("run") == run && row.text("step") == step));
        at.and_then(|at| found[at].take()).unwrap_or_else(|| panic!("no reversal in {run} at step {step}"))
    };
    let pairs: Vec<_> = study
        .truth("truth.csv")
        .into_iter()
        .map(|truth| {
            let row = take(truth.text("run"), truth.text("step"));
            (truth, row)
        })
        .collect();
    let left: Vec<String> =
        found.iter().flatten().filter(|row| !row.yes("control")).map(|row| row.text("reversal").to_owned()).collect();
    assert!(left.is_empty(), "reversals that are none: {left:?}");
    pairs
}

/// At least this part of the intervals must hold, and the mean error stay below this: what the project promises
/// for these studies.
const HOLD: f64 = 0.85;
const MEAN_ERROR: f64 = 0.015;

fn check_reversals(study: &Study) {
    let resolved: Vec<(f64, bool)> = pairs(study)
        .iter()
        .filter(|(_, found)| found.yes("resolved"))
        .map(|(truth, found)| {
            assert!(found.number("dead_strain").unwrap() <= 0.05, "resolved from too late");
            let truth = truth.number("contact_share").unwrap();
            let (low, high) = (found.number("contact_share_low"), found.number("contact_share_high"));
            let holds = low.unwrap() <= truth && truth <= high.unwrap();
            (found.number("contact_share").unwrap() - truth, holds)
        })
        .collect();
    let n = resolved.len() as f64;
    let mean = resolved.iter().map(|(error, _)| error).sum::<f64>() / n;
    let hold = resolved.iter().filter(|(_, holds)| *holds).count() as f64 / n;
    println!("{n} resolved, mean error {mean:+.4}, {:.0} % of the intervals hold", 100.0 * hold);
    assert!(n >= 12.0, "too few to say anything: {n}");
    assert!(mean.abs() < MEAN_ERROR, "mean error {mean}");
    assert!(hold >= HOLD, "only {hold} of the intervals hold");
}

/// States with a value that miss the population value, by sample: those of one sample share their fillings, so that
/// their misses come in groups. The perfect reader misses states of `perfect` samples, one more is allowed.
fn check_states(study: &Study, perfect: usize) {
    let found = study.table("states");
    let (mut with_value, mut missed, mut samples) = (0, Vec::new(), BTreeSet::new());
    for truth in study.truth("truth_states.csv") {
        let rate = truth.number("rate_per_s").unwrap();
        let state = found
            .iter()
            .filter(|state| state.text("sample") == truth.text("sample"))
            .find(|state| state.number("rate_per_s").is_some_and(|r| (r / rate).ln().abs() < 0.1));
        // One state of `mixed-study` has three readings behind the transient: it has no steady stretch, and no state.
        let Some(state) = state.filter(|state| state.number("contact_share").is_some()) else { continue };
        with_value += 1;
        let share = truth.number("contact_share").unwrap();
        let (low, high) = (state.number("contact_share_low").unwrap(), state.number("contact_share_high").unwrap());
        if share < low || share > high {
            samples.insert(truth.text("sample").to_owned());
            missed.push(format!("{} {}: {share} not in {low}..{high}", truth.text("sample"), state.text("set_point")));
        }
    }
    println!("{with_value} states with a value, missed: {missed:?}");
    assert!(with_value >= 3, "too few states with a value: {with_value}");
    assert!(samples.len() <= perfect + 1, "{missed:?}");
}

#[test]
fn ledger_study_holds_to_its_truth() {
    check_reversals(ledger());
    check_states(ledger(), 0);
}

#[test]
fn sheet_study_holds_to_its_truth() {
    check_reversals(sheet());
    check_states(sheet(), 2);
}

#[test]
fn mixed_study_holds_to_its_truth() {
    check_reversals(mixed());
    check_states(mixed(), 1);
}

/// The drive of this instrument needs so much strain at the higher rates that nothing can be read there.
#[test]
fn what_the_drive_hides_is_not_resolved() {
    for (truth, found) in pairs(ledger()) {
        if truth.number("rate_per_s").unwrap() > 3.0 {
            assert!(!found.yes("resolved"), "{} is called resolved", found.text("reversal"));
            assert_eq!(found.number("contact_share"), None);
            assert_eq!(found.number("contact_share_high"), None);
        }
    }
}

#[test]
fn verdicts_of_the_mixed_study_are_the_true_ones() {
    let verdicts: Vec<(String, String)> = mixed()
        .table("thickening")
        .iter()
        .map(|row| (row.text("sample").to_owned(), row.text("verdict").to_owned()))
        .collect();
    let wanted = [
        ("S1", "contacts dominate"),
        ("S2", "not decided"),
        ("S3", "hydrodynamics dominate"),
        ("S4", "no thickening to explain"),
    ];
    assert_eq!(verdicts, wanted.map(|(sample, verdict)| (sample.to_owned(), verdict.to_owned())));
    for (_, verdict) in wanted {
        assert!(mixed().said.contains(verdict), "the end of `run` does not say: {verdict}\n{}", mixed().said);
    }
}

#[test]
fn every_reading_is_accounted_for() {
    for study in [ledger(), sheet()] {
        let runs = study.table("runs");
        let exclusions = study.table("exclusions");
        for run in &runs {
            let path = study.folder.path().join(run.text("run"));
            assert_eq!(run.text("blake3"), blake3::hash(&std::fs::read(path).unwrap()).to_hex().as_str());
            let lost = exclusions.iter().filter(|row| row.text("run") == run.text("run"));
            for row in lost {
                assert!(row.number("points").unwrap() <= run.number("rows").unwrap());
            }
        }
        assert_eq!(runs.len(), 10);
    }
}

/// A control is a Newtonian liquid: no drop at reversal (common practice).
#[test]
fn controls_show_no_drop() {
    for study in [ledger(), sheet(), mixed()] {
        let controls: Vec<Row> = study.table("reversals").into_iter().filter(|row| row.yes("control")).collect();
        assert!(!controls.is_empty());
        for row in controls.iter().filter(|row| row.yes("resolved")) {
            let (share, u) = (row.number("contact_share").unwrap(), row.number("u_contact_share").unwrap());
            assert!(share.abs() < (3.0 * u).max(0.02), "{}: {share} ± {u}", row.text("reversal"));
        }
    }
}

#[test]
fn the_report_says_what_the_tables_say() {
    let pdf: PathBuf = mixed().folder.path().join("results/report.pdf");
    let Ok(output) = std::process::Command::new("pdftotext").args(["-layout"]).arg(&pdf).arg("-").output() else {
        println!("skipped: pdftotext is not there");
        return;
    };
    let text = String::from_utf8_lossy(&output.stdout);
    for row in mixed().table("thickening") {
        assert!(text.contains(row.text("verdict")), "the report does not say: {}", row.text("verdict"));
    }
}

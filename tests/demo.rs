//! The demo study: its raw exports are what the generator makes, and the results hold to the truth that went in.

use crate::generator::read::{Reversal, demo_project, reversals, states, world};
use crate::support::table::{Row, read};
use crate::support::{copy_folder, shearback};
use std::path::PathBuf;
use std::sync::OnceLock;
use tempfile::TempDir;

fn results() -> PathBuf {
    static FOLDER: OnceLock<TempDir> = OnceLock::new();
    let folder = FOLDER.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        copy_folder(&demo_project().join("raw"), &folder.path().join("raw"));
        std::fs::copy(demo_project().join("study.yaml"), folder.path().join("study.yaml")).unwrap();
        let said = shearback(&["run", folder.path().to_str().unwrap()]);
        assert_eq!(said.status, 0, "{}\n{}", said.out, said.err);
        assert!(said.out.contains("claims: 4 of 4 hold"), "{}", said.out);
        folder
    });
    folder.path().join("results")
}

fn table(name: &str) -> Vec<Row> {
    read(&results().join("tables").join(format!("{name}.csv")))
}

fn found(rows: &[Row], truth: &Reversal) -> usize {
    let fits = |row: &Row| row.text("run") == truth.run && row.text("step") == truth.step.to_string();
    rows.iter().position(fits).unwrap_or_else(|| panic!("no reversal in {} at step {}", truth.run, truth.step))
}

/// How a column of `reversals` holds to the true contact shares.
struct Held {
    resolved: f64,
    mean_error: f64,
    holding: f64,
}

/// The resolved reversals of a column, with the half-widths of the headline's intervals about it.
fn held(column: &str) -> Held {
    let rows = table("reversals");
    let truths = reversals();
    assert_eq!(rows.len(), truths.len(), "every reversal, and nothing else");
    let (mut errors, mut holding) = (Vec::new(), 0);
    for truth in &truths {
        let row = &rows[found(&rows, truth)];
        let (true, Some(value)) = (row.yes("resolved"), row.number(column)) else { continue };
        let headline = row.number("contact_share").unwrap();
        let (low, high) = (row.number("contact_share_low").unwrap(), row.number("contact_share_high").unwrap());
        let error = value - truth.contact_share;
        errors.push(error);
        holding += usize::from(low - headline + error <= 0.0 && 0.0 <= high - headline + error);
    }
    let n = errors.len() as f64;
    let held = Held { resolved: n, mean_error: errors.iter().sum::<f64>() / n, holding: holding as f64 / n };
    println!("{column}: {n} resolved, mean error {:+.4}, {:.3} hold", held.mean_error, held.holding);
    held
}

impl Held {
    /// Of some two hundred intervals at 95 % at least nine in ten must hold (a binomial with 0.95 gives fewer once in a
    /// thousand), and the mean error must be far below the uncertainty of a single one.
    fn is_true(&self) -> bool {
        self.resolved > 150.0 && self.mean_error.abs() < 0.01 && self.holding >= 0.9
    }
}

#[test]
fn reversals_hold_to_the_truth_that_went_in() {
    assert!(held("contact_share").is_true());
}

/// The check is no formality: the two other measurands that go by the same name, wrong on purpose for this truth, fail.
#[test]
fn a_wrong_estimator_does_not_hold_to_the_truth() {
    assert!(!held("contact_share_minimum").is_true());
    assert!(!held("contact_share_plateau").is_true());
}

#[test]
fn states_hold_to_the_truth_that_went_in() {
    let rows = table("states");
    let (mut with_value, mut missed) = (0, Vec::new());
    for truth in states() {
        let row = rows.iter().filter(|row| row.text("sample") == truth.sample).find(|row| {
            let (number, unit) = row.text("set_point").split_once(' ').unwrap();
            let ratio = number.parse::<f64>().unwrap() / truth.set_point;
            unit == truth.unit && (0.95..1.05).contains(&ratio)
        });
        let row = row.unwrap_or_else(|| panic!("no state of {} at {}", truth.sample, truth.set_point));
        if row.number("contact_share").is_some() {
            with_value += 1;
            let (low, high) = (row.number("contact_share_low").unwrap(), row.number("contact_share_high").unwrap());
            if truth.contact_share < low || truth.contact_share > high {
                missed.push(format!("{} {}", truth.sample, truth.set_point));
            }
        }
    }
    // States of a sample share their fillings, so that misses come in groups: a perfect reader misses one of 32.
    assert!(with_value >= 26 && missed.len() <= 3, "{with_value} with a value, missed {missed:?}");
}

/// Every flaw that was built in has its name in the tables.
#[test]
fn each_flaw_is_named() {
    let rows = table("reversals");
    for truth in reversals() {
        let row = &rows[found(&rows, &truth)];
        let (remarks, grade) = (row.text("remarks"), row.text("grade"));
        match truth.flaw.as_str() {
            "" => continue,
            "set aside" => assert!(remarks.contains("under-filled") && grade == "F", "{remarks}"),
            "aborted" => assert!(remarks.contains("aborted at strain 0.15") && grade == "F", "{remarks}"),
            "below the torque floor" => assert_eq!(grade, "F", "{remarks}"),
            "never steady" => assert!(remarks.contains("not steady") && !row.yes("steady"), "{remarks}"),
            "hidden by the drive" => assert!(!row.yes("resolved"), "{remarks}"),
            other => panic!("a flaw without a check: {other}"),
        }
    }
    let reasons: Vec<String> = table("exclusions").iter().map(|row| row.text("reason").to_owned()).collect();
    for reason in ["spike", "missing", "below-torque-floor", "set-aside", "instrument-inertia"] {
        assert!(reasons.iter().any(|r| r == reason), "{reason} is not among {reasons:?}");
    }
}

#[test]
fn verdicts_are_the_true_ones() {
    let verdicts: Vec<(String, String)> =
        table("thickening").iter().map(|row| (row.text("sample").to_owned(), row.text("verdict").to_owned())).collect();
    let wanted = [
        ("B46", "contacts dominate"),
        ("B49", "contacts dominate"),
        ("B52", "contacts dominate"),
        ("CB50", "no thickening to explain"),
    ];
    assert_eq!(verdicts, wanted.map(|(sample, verdict)| (sample.to_owned(), verdict.to_owned())));
}

/// The law of the bare beads, from the solid fractions and viscosities that the study believes; u holds both. The
/// coated beads have one solid fraction, which identifies nothing.
#[test]
fn the_fitted_law_is_the_true_one_and_one_solid_fraction_gives_words() {
    let fits = table("fits");
    let wyart_cates = |scope: &str| {
        let rows = fits.iter().filter(|row| row.text("model") == "wyart-cates" && row.text("scope") == scope);
        rows.collect::<Vec<_>>()
    };
    for (name, of_world) in [("phi_0", "phi_0"), ("phi_m", "phi_m"), ("sigma_star", "sigma_star_pa"), ("beta", "beta")]
    {
        let row = *wyart_cates("bare beads").iter().find(|row| row.text("parameter") == name).unwrap();
        let (value, u) = (row.number("value").unwrap(), row.number("u_value").unwrap());
        let truth = world("bare beads", of_world);
        assert!((value - truth).abs() < 3.0 * u, "{name}: {value} ± {u}, in truth {truth}");
    }
    for row in wyart_cates("coated beads").iter().filter(|row| row.text("parameter") != "alpha") {
        assert!(row.number("value").is_none() && row.text("remarks").contains("not identified"));
    }
}

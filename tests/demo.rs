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

/// Of some two hundred intervals at 95 % at least nine in ten must hold (a binomial with 0.95 gives fewer once in a
/// thousand), and the mean error must be far below the uncertainty of a single one.
#[test]
fn reversals_hold_to_the_truth_that_went_in() {
    let rows = table("reversals");
    let truths = reversals();
    assert_eq!(rows.len(), truths.len(), "every reversal, and nothing else");
    let (mut errors, mut held) = (Vec::new(), 0);
    for truth in &truths {
        let row = &rows[found(&rows, truth)];
        if row.yes("resolved") {
            errors.push(row.number("contact_share").unwrap() - truth.contact_share);
            let ends = [row.number("contact_share_low").unwrap(), row.number("contact_share_high").unwrap()];
            held += usize::from(ends[0] <= truth.contact_share && truth.contact_share <= ends[1]);
        }
    }
    let n = errors.len() as f64;
    let (mean, hold) = (errors.iter().sum::<f64>() / n, held as f64 / n);
    println!("{n} resolved, mean error {mean:+.4}, {hold:.3} of the intervals hold");
    assert!(n > 150.0 && mean.abs() < 0.01 && hold >= 0.9, "{n} {mean} {hold}");
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
        ("C50", "no thickening to explain"),
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

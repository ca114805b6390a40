//! Rebuilds: nothing when nothing changed, what changed and what follows when something did, the same bytes
//! whatever the surroundings.

use crate::support::{contents, copy_folder, json, shearback, small_study};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::sync::OnceLock;
use tempfile::TempDir;

/// A small study that has been run once, copied for each test with its store.
fn built() -> TempDir {
    static BUILT: OnceLock<TempDir> = OnceLock::new();
    let built = BUILT.get_or_init(|| {
        let study = small_study();
        let said = shearback(&["run", study.path().to_str().unwrap()]);
        assert_eq!(said.status, 0, "{}", said.err);
        study
    });
    let copy = tempfile::tempdir().unwrap();
    copy_folder(built.path(), copy.path());
    // The copy has other time stamps and inodes: one run lets the engine look at them once.
    let (status, _) = json("run", copy.path(), &[]);
    assert_eq!(status, 0);
    copy
}

fn names(tasks: &Value, outcome: &str) -> Vec<String> {
    let tasks = tasks["tasks"].as_array().unwrap();
    let of = |task: &&Value| task["outcome"] == outcome;
    tasks.iter().filter(of).map(|task| task["name"].as_str().unwrap().to_owned()).collect()
}

fn condition(tasks: &Value, condition: &str) -> Vec<String> {
    let tasks = tasks["tasks"].as_array().unwrap();
    let of = |task: &&Value| task["condition"] == condition;
    tasks.iter().filter(of).map(|task| task["name"].as_str().unwrap().to_owned()).collect()
}

/// What `why` says beforehand, then the run; the promise of the first to the second is checked.
fn why_then_run(study: &Path) -> (Value, Value) {
    let (_, why) = json("why", study, &[]);
    let (status, run) = json("run", study, &[]);
    assert_eq!(status, 0, "{run}");
    let built = names(&run, "built");
    for name in condition(&why, "out of date") {
        assert!(built.contains(&name), "{name} was called out of date and not built");
    }
    for name in condition(&why, "up to date").iter().chain(&condition(&why, "in store")) {
        assert!(!built.contains(name), "{name} was built against what `why` said");
    }
    (why, run)
}

#[test]
fn a_second_run_does_nothing_and_says_so() {
    let study = built();
    let before = contents(&study.path().join("results"));
    let (status, run) = json("run", study.path(), &[]);
    assert_eq!((status, run["built"].as_u64()), (0, Some(0)), "{run}");
    assert_eq!(run["reused"].as_u64().unwrap() as usize, run["tasks"].as_array().unwrap().len());
    assert_eq!(contents(&study.path().join("results")), before);
    let (_, why) = json("why", study.path(), &[]);
    assert_eq!(condition(&why, "up to date").len(), why["tasks"].as_array().unwrap().len());
}

#[test]
fn a_touched_time_stamp_or_a_comment_builds_nothing() {
    let study = built();
    let raw = study.path().join("raw/S1/S1_L1.tsv");
    fs::File::options().append(true).open(&raw).unwrap().set_modified(std::time::SystemTime::now()).unwrap();
    let file = study.path().join("study.yaml");
    fs::write(&file, format!("# a remark\n{}", fs::read_to_string(&file).unwrap())).unwrap();
    let (_, run) = why_then_run(study.path());
    assert_eq!(run["built"], 0, "{run}");
}

#[test]
fn a_changed_export_builds_its_chain() {
    let study = built();
    let raw = study.path().join("raw/S1/S1_L2.tsv");
    let text = fs::read_to_string(&raw).unwrap();
    let shorter: Vec<&str> = text.lines().collect();
    fs::write(&raw, shorter[..shorter.len() - 40].join("\n") + "\n").unwrap();
    let (why, run) = why_then_run(study.path());
    assert!(condition(&why, "out of date").contains(&"ingest raw/S1/S1_L2.tsv".to_owned()), "{why}");
    let built = names(&run, "built");
    assert!(built.iter().any(|name| name == "clean raw/S1/S1_L2.tsv"), "{built:?}");
    assert!(!built.iter().any(|name| name.contains("S1_L1") || name.contains("S1_L3")), "{built:?}");
}

#[test]
fn a_changed_byte_that_changes_no_reading_stops_early() {
    let study = built();
    let raw = study.path().join("raw/S1/S1_L2.tsv");
    let text = fs::read_to_string(&raw).unwrap();
    fs::write(&raw, text.replacen("# inertia correction = off", "# inertia correction = none", 1)).unwrap();
    let (_, run) = why_then_run(study.path());
    let built = names(&run, "built");
    assert!(built.contains(&"ingest raw/S1/S1_L2.tsv".to_owned()));
    assert!(!built.contains(&"clean raw/S1/S1_L2.tsv".to_owned()), "the readings did not change: {built:?}");
}

#[test]
fn a_setting_builds_its_stage_and_what_follows_and_can_be_put_back() {
    let study = built();
    let before = contents(&study.path().join("results"));
    let file = study.path().join("study.yaml");
    let text = fs::read_to_string(&file).unwrap();
    let changed = text.replace("stages:\n", "stages:\n  clean: {spike: {threshold: 6}}\n");
    assert_ne!(changed, text);
    fs::write(&file, &changed).unwrap();
    let said = shearback(&["why", study.path().to_str().unwrap()]);
    assert!(said.out.contains("stages.clean.spike.threshold"), "{}", said.out);
    assert!(said.out.contains("study.yaml:"), "{}", said.out);
    let (_, run) = why_then_run(study.path());
    let built = names(&run, "built");
    assert!(built.iter().any(|name| name.starts_with("clean ")), "{built:?}");
    assert!(!built.iter().any(|name| name.starts_with("ingest ")), "{built:?}");
    fs::write(&file, text).unwrap();
    let (_, run) = why_then_run(study.path());
    assert_eq!(run["built"], 0, "everything was at hand: {run}");
    assert_eq!(contents(&study.path().join("results")), before);
}

#[test]
fn damaged_or_deleted_results_are_put_right() {
    let study = built();
    let results = study.path().join("results");
    let before = contents(&results);
    fs::remove_dir_all(&results).unwrap();
    assert_eq!(json("run", study.path(), &[]).0, 0);
    assert_eq!(contents(&results), before, "deleted");
    let table = results.join("tables/states.csv");
    let mut bytes = fs::read(&table).unwrap();
    bytes[40] ^= 1;
    fs::write(&table, bytes).unwrap();
    let said = shearback(&["run", study.path().to_str().unwrap()]);
    assert_eq!(said.status, 0, "{}", said.err);
    assert_eq!(contents(&results), before, "a flipped bit");
    let moved = walkdir::WalkDir::new(study.path().join("edited"));
    assert!(moved.into_iter().any(|e| e.unwrap().path().ends_with("tables/states.csv")), "the edited file is kept");
}

#[test]
fn a_damaged_object_that_is_used_is_made_anew() {
    let study = built();
    let results = study.path().join("results");
    let before = contents(&results);
    fs::remove_dir_all(&results).unwrap();
    for entry in walkdir::WalkDir::new(study.path().join(".shearback/outputs")) {
        let path = entry.unwrap().into_path();
        if path.is_file() {
            let mut bytes = fs::read(&path).unwrap();
            let middle = bytes.len() / 2;
            bytes[middle] ^= 4;
            fs::write(&path, bytes).unwrap();
        }
    }
    let said = shearback(&["run", study.path().to_str().unwrap()]);
    assert_eq!(said.status, 0, "{}", said.err);
    assert_eq!(contents(&results), before);
}

#[test]
fn same_bytes_whatever_the_surroundings() {
    let reference = built();
    let wanted = contents(&reference.path().join("results"));
    let program = env!("CARGO_BIN_EXE_shearback");
    let abroad = [("LC_ALL", "de_DE.UTF-8"), ("TZ", "Asia/Kathmandu")];
    let no_dispatch = [("GLIBC_TUNABLES", "glibc.cpu.hwcaps=-AVX2,-FMA,-AVX512F,-AVX2_Usable,-FMA_Usable")];
    type Surroundings<'a> = (&'a str, &'a str, &'a [(&'a str, &'a str)]);
    let mut surroundings: Vec<Surroundings<'_>> =
        vec![(program, "1", &[]), (program, "16", &abroad), (program, "2", &no_dispatch)];
    // Another build of the program, in the other profile or by another compiler.
    let other = std::env::var("SHEARBACK_OTHER").ok();
    surroundings.extend(other.as_deref().map(|other| (other, "2", &[][..])));
    for (program, jobs, variables) in surroundings {
        let what = format!("{program}, {jobs} threads, {variables:?}");
        let study = small_study();
        let elsewhere = study.path().join("a folder, wíth another näme");
        copy_folder(study.path(), &elsewhere);
        let mut run = std::process::Command::new(program);
        run.args(["run", elsewhere.to_str().unwrap(), "--jobs", jobs]).envs(variables.iter().copied());
        let run = run.output().unwrap();
        assert!(run.status.success(), "{what}: {}", String::from_utf8_lossy(&run.stderr));
        let got = contents(&elsewhere.join("results"));
        let different: Vec<&String> =
            wanted.iter().zip(&got).filter(|(a, b)| a != b).map(|((name, _), _)| name).collect();
        assert!(wanted.len() == got.len() && different.is_empty(), "{what}: {different:?} differ");
    }
}

#[test]
fn the_store_tells_its_size_and_frees_what_the_results_do_not_need() {
    let study = built();
    // One reading less: the readings of that run as they were are needed no more.
    let export = study.path().join("raw/S1/S1_L1.tsv");
    let text = fs::read_to_string(&export).unwrap();
    fs::write(&export, &text[..=text.trim_end().rfind('\n').unwrap()]).unwrap();
    let (status, run) = json("run", study.path(), &[]);
    assert_eq!(status, 0, "{run}");
    let results = contents(&study.path().join("results"));
    let on_disk = |folder: &str| -> u64 {
        contents(&study.path().join(folder)).iter().map(|(_, bytes)| bytes.len() as u64).sum()
    };
    let (_, before) = json("space", study.path(), &[]);
    assert_eq!(before["readings"], on_disk(".shearback/bulky"));
    let (status, after) = json("space", study.path(), &["--free"]);
    assert_eq!(status, 0, "{after}");
    let freed = after["freed"].as_u64().unwrap();
    assert!(freed > 0 && after["readings"].as_u64() < before["readings"].as_u64(), "{before} {after}");
    fs::remove_dir_all(study.path().join("results")).unwrap();
    let (status, run) = json("run", study.path(), &[]);
    assert_eq!((status, run["built"].as_u64()), (0, Some(0)), "nothing needed went: {run}");
    assert_eq!(contents(&study.path().join("results")), results);
}

#[test]
fn until_a_stage_takes_later_results_away() {
    let study = built();
    let (status, run) = json("run", study.path(), &["--last-stage", "clean"]);
    assert_eq!(status, 0, "{run}");
    assert!(!study.path().join("results/report.pdf").exists());
    let (status, run) = json("run", study.path(), &[]);
    assert_eq!((status, run["built"].as_u64()), (0, Some(0)), "{run}");
    assert!(study.path().join("results/report.pdf").exists());
}

#[test]
fn a_variant_has_tasks_of_its_own_only_for_what_it_changes() {
    let study = small_study();
    let file = study.path().join("study.yaml");
    let variants = "variants:\n  strict: {clean: {spike: {threshold: 6}}}\n  unfitted: {fit: {skip: true}}\n";
    fs::write(&file, fs::read_to_string(&file).unwrap() + variants).unwrap();
    let plan = reports::study::plan_of(study.path(), None).unwrap();
    let own = |variant: &str, stage: &str| {
        let tasks = plan.tasks.iter().filter(|task| task.variant.as_deref() == Some(variant) && task.stage == stage);
        tasks.map(|task| task.of.as_str()).collect::<Vec<_>>()
    };
    let exports = plan.tasks.iter().filter(|task| task.stage == "ingest").count();
    assert!(exports > 1 && own("strict", "ingest").is_empty());
    for stage in ["clean", "reversal: read", "reversal: grade"] {
        assert_eq!(own("strict", stage).len(), exports, "{stage}");
    }
    let of_fits = ["fits", "models", "candidate_models", "flow_states"];
    assert_eq!((own("unfitted", "fit"), own("unfitted", "table")), (vec!["study"], of_fits.to_vec()));
    let of_unfitted = plan.tasks.iter().filter(|task| task.variant.as_deref() == Some("unfitted"));
    assert_eq!(of_unfitted.count(), 5, "all but the fit and its tables is that of the main line");
}

//! How time and memory grow with the size of exports: `cargo bench --bench size -- [small] [one | many]`.
//!
//! `one` is an export of two million readings, `many` are ten thousand small ones; each is read, cleaned and searched
//! for reversals by the program in a process of its own, and read by polars' CSV reader in another. Exports are made
//! here. What was measured stands in `stages/BENCHMARKS.md`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs, unreachable_pub)]

#[path = "support/peak.rs"]
mod peak;

use peak::measured;
use polars_io::SerReader;
use polars_io::csv::read::{CsvParseOptions, CsvReadOptions};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn main() {
    let typed: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with("--")).collect();
    if let [word, folder] = &typed[..]
        && word == "polars"
    {
        return polars(Path::new(folder));
    }
    let has = |word: &str| typed.iter().any(|typed| typed == word);
    let part = if has("small") { 10 } else { 1 };
    let all = !has("one") && !has("many");
    println!("| what | readings | MB | s | µs a reading | peak MB | peak over file |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    if all || has("one") {
        one(2_000_000 / part);
    }
    if all || has("many") {
        many(10_000 / part);
    }
}

fn one(readings: usize) {
    let study = study();
    fs::write(raw(study.path(), 1), export(readings, 20, 1)).unwrap();
    let megabytes = size(study.path());
    for stage in ["ingest", "clean", "reversal"] {
        let what = format!("one export, `--last-stage {stage}`, what is before it at hand");
        told(&what, readings, megabytes, program(study.path(), stage));
    }
    fs::remove_dir_all(study.path().join(".shearback")).unwrap();
    told("one export, `--last-stage reversal`, from nothing", readings, megabytes, program(study.path(), "reversal"));
    told("polars' CSV reader, same file", readings, megabytes, by_polars(study.path()));
}

fn many(exports: usize) {
    let study = study();
    let readings = 400;
    for number in 0..exports {
        fs::write(raw(study.path(), number), export(readings, 2, number as u64 + 1)).unwrap();
    }
    let megabytes = size(study.path());
    for stage in ["ingest", "clean", "reversal"] {
        let what = format!("{exports} exports, `--last-stage {stage}`, what is before it at hand");
        told(&what, exports * readings, megabytes, program(study.path(), stage));
    }
    // Files are trusted by their times when these are older than two seconds.
    std::thread::sleep(std::time::Duration::from_secs(3));
    told("the same again, nothing to do", exports * readings, megabytes, program(study.path(), "reversal"));
    let files = by_polars(study.path());
    told("polars' CSV reader, same files one by one", exports * readings, megabytes, files);
}

fn told(what: &str, readings: usize, megabytes: f64, (seconds, peak, good): (f64, f64, bool)) {
    assert!(good, "{what} failed");
    let each = seconds / readings as f64 * 1e6;
    println!(
        "| {what} | {readings} | {megabytes:.0} | {seconds:.2} | {each:.2} | {peak:.0} | {:.2} |",
        peak / megabytes
    );
}

fn program(study: &Path, stage: &str) -> (f64, f64, bool) {
    measured(Command::new(env!("CARGO_BIN_EXE_shearback")).arg("run").arg(study).args([
        "--last-stage",
        stage,
        "--jobs",
        "1",
    ]))
}

/// This program once more, which then is polars.
fn by_polars(study: &Path) -> (f64, f64, bool) {
    let here = std::env::current_exe().unwrap();
    measured(Command::new(here).arg("polars").arg(study.join("raw/A")))
}

fn polars(folder: &Path) {
    let mut files: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    for file in files {
        let options = CsvReadOptions::default().with_parse_options(CsvParseOptions::default().with_separator(b'\t'));
        let options = options.with_skip_rows_after_header(1).with_n_threads(Some(1));
        let frame = options.try_into_reader_with_file_path(Some(file)).unwrap().finish().unwrap();
        assert!(frame.width() == 8 && frame.height() > 0);
    }
}

fn raw(study: &Path, number: usize) -> PathBuf {
    study.join(format!("raw/A/A_L{number}.tsv"))
}

/// Megabytes of all exports.
fn size(study: &Path) -> f64 {
    let sizes = fs::read_dir(study.join("raw/A")).unwrap().map(|entry| entry.unwrap().metadata().unwrap().len());
    sizes.sum::<u64>() as f64 / 1e6
}

fn study() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir_all(folder.path().join("raw/A")).unwrap();
    let text = r"study: Size
liquids: {oil: {viscosity: 1 Pa.s, density: 1000 kg/m3}}
particles: {beads: {density: 1000 kg/m3, diameter: 5 um}}
samples: {A: {liquid: oil, particles: beads, volume_fraction: 0.5}}
geometries: {cone: {kind: cone-plate, radius: 20 mm, angle: 1 deg, truncation: 60 um}}
instruments: {bench: {inertia: 11 uN.m.s2, compliance: 0 rad/(N.m)}}
layouts:
  sheet:
    separator: tab
    columns:
      step: {name: leg}
      time: {name: t, unit: s}
      torque: {name: M, unit: uN.m}
      angle: {name: phi, unit: mrad}
      speed: {name: n, unit: mrad/s}
      normal_force: {name: F, unit: N}
      temperature: {name: T, unit: Cel}
raw:
  - {files: raw/A/*.tsv, sample: A, loading: {path: '_L(\d+)'}}
";
    fs::write(folder.path().join("study.yaml"), text).unwrap();
    folder
}

/// An export of so many legs that turn round at once; the torque falls by half at each turn and comes back over strain one.
fn export(readings: usize, legs: usize, seed: u64) -> String {
    let mut text = String::with_capacity(readings * 70);
    text.push_str("no\tleg\tt\tM\tphi\tn\tF\tT\n\t\ts\tuN.m\tmrad\tmrad/s\tN\tdegC\n");
    let (speed, mut angle, mut noise) = (2.0_f64, 0.0_f64, seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    let each = readings / legs;
    // Strain seven in each leg, whatever the number of readings: 2 mrad/s over 1 degree are 0.1146 1/s.
    let interval = 61.0 / each as f64;
    for number in 0..readings {
        let (leg, within) = (number / each, number % each);
        let sense = if leg.is_multiple_of(2) { 1.0 } else { -1.0 };
        let strain = 0.1146 * interval * within as f64;
        noise ^= noise << 13;
        noise ^= noise >> 7;
        noise ^= noise << 17;
        let scatter = ((noise >> 11) as f64 / (1u64 << 53) as f64 - 0.5) * 0.01;
        angle += sense * speed * interval;
        let fallen = if leg == 0 { 0.0 } else { 0.5 * libm::exp(-strain) };
        let torque = sense * 19.2 * (1.0 - fallen + scatter);
        let time = (number + 1) as f64 * interval;
        let temperature = 25.0 + scatter;
        let _ = writeln!(
            text,
            "{}\t{}\t{time:.6}\t{torque:.6}\t{angle:.6}\t{:.6}\t{:.4}\t{temperature:.2}",
            number + 1,
            leg + 1,
            sense * speed,
            0.1 * scatter
        );
    }
    text
}

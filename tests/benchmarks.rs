//! Benchmarks of the whole program that anyone can run: `cargo bench --bench engine -- [small] [NAME…]`.
//!
//! Each prints a ratio within one run, both sides in turn on the same machine, because times alone say little elsewhere.
//! Results with machine and date stand in `pipeline/BENCHMARKS.md`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, missing_docs)]

use std::fmt::Write as _;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

/// Rounds of which the median is taken.
const ROUNDS: usize = 7;

/// What is asked for: everything at full size, or at a tenth.
struct Size {
    tenth: usize,
}

impl Size {
    fn of(&self, full: usize) -> usize {
        full / self.tenth
    }
}

type Benchmark = (&'static str, fn(&Size));

const BENCHMARKS: [Benchmark; 5] =
    [("start", start), ("hashing", hashing), ("growth", growth), ("nothing", nothing_to_do), ("one", one_of_many)];

fn main() {
    let typed: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with("--")).collect();
    let size = Size { tenth: if typed.iter().any(|word| word == "small") { 10 } else { 1 } };
    let named: Vec<&Benchmark> = BENCHMARKS.iter().filter(|(name, _)| typed.iter().any(|word| word == name)).collect();
    let all = named.is_empty();
    println!("| benchmark | ours | beside | ratio |\n| --- | --- | --- | --- |");
    for (_, run) in BENCHMARKS.iter().filter(|one| all || named.iter().any(|n| n.0 == one.0)) {
        run(&size);
    }
}

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_shearback"))
}

/// Wall time of a command in seconds; none if it cannot be started or fails.
fn seconds(command: &mut Command) -> Option<f64> {
    let begin = Instant::now();
    let status = command.stdout(Stdio::null()).stderr(Stdio::null()).status().ok()?;
    status.success().then(|| begin.elapsed().as_secs_f64())
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

/// Medians of two commands that are called in turn; the first round warms the caches and does not count.
fn in_turn(mut ours: impl FnMut() -> Option<f64>, mut theirs: impl FnMut() -> Option<f64>) -> Option<(f64, f64)> {
    let (mut a, mut b) = (Vec::new(), Vec::new());
    for round in 0..=ROUNDS {
        let (one, two) = (ours()?, theirs()?);
        if round > 0 {
            a.push(one);
            b.push(two);
        }
    }
    Some((median(a), median(b)))
}

fn row(what: &str, beside: &str, measured: Option<(f64, f64)>) {
    match measured {
        Some((a, b)) => println!("| {what} | {:.1} ms | {beside} {:.1} ms | {:.2} |", a * 1e3, b * 1e3, a / b),
        None => println!("| {what} | not measured: a command was not found or failed | {beside} | |"),
    }
}

fn start(_: &Size) {
    let ours = || seconds(program().arg("--help"));
    row(
        "start of the program (`--help`)",
        "`git --version`",
        in_turn(ours, || seconds(Command::new("git").arg("--version"))),
    );
}

fn hashing(size: &Size) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("large");
    let bytes: Vec<u8> =
        (0..size.of(1_000_000_000) as u64 / 8).flat_map(|i| i.wrapping_mul(0x9e37_79b9).to_le_bytes()).collect();
    fs::write(&path, bytes).unwrap();
    let ours = || {
        let begin = Instant::now();
        pipeline::store::digest::Digest::of_file(&path).ok()?;
        Some(begin.elapsed().as_secs_f64())
    };
    let measured = in_turn(ours, || seconds(Command::new("b3sum").arg(&path)));
    row("hashing a file of 1 GB (0.1 GB if small)", "`b3sum`", measured);
}

/// Head and readings of a real-looking export: its last three steps, of which the last begins with a reversal.
fn export() -> (String, String) {
    let packed = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/open-studies/sheet-study/raw/S1/S1_L1.tsv.gz");
    let mut text = String::new();
    flate2::read::GzDecoder::new(fs::File::open(packed).unwrap()).read_to_string(&mut text).unwrap();
    // Six remarks, names, units; then the readings.
    let body = text.match_indices('\n').nth(7).unwrap().0 + 1;
    let step = |line: &str| line.split('\t').nth(1).and_then(|step| step.parse::<u32>().ok()).unwrap();
    let readings: Vec<&str> = text[body..].split_inclusive('\n').collect();
    let last = step(readings.last().unwrap());
    let kept = readings.iter().copied().filter(|line| step(line) + 3 > last).collect();
    (text[..body].to_owned(), kept)
}

fn study_file() -> String {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/open-studies/sheet-study/study.yaml");
    let text = fs::read_to_string(file).unwrap();
    let keep =
        |line: &&str| !["S2:", "S3:", "raw/S2/", "raw/S3/", "raw/control/"].iter().any(|part| line.contains(part));
    text.lines().filter(keep).collect::<Vec<_>>().join("\n") + "\n"
}

/// A study of so many exports of 242 readings and one reversal each.
fn campaign(exports: usize) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("study.yaml"), study_file()).unwrap();
    fs::create_dir_all(folder.path().join("raw/S1")).unwrap();
    let (head, body) = export();
    for number in 0..exports {
        // Another temperature in each, so that none is the copy of another.
        let own = body.replace("\t25.0", &format!("\t25.0{number}"));
        fs::write(raw(folder.path(), number), format!("# copy = {number}\n{head}{own}")).unwrap();
    }
    folder
}

fn raw(study: &Path, number: usize) -> PathBuf {
    study.join(format!("raw/S1/S1_L{number}.tsv"))
}

fn run(study: &Path, until: &str) -> Option<f64> {
    seconds(program().arg("run").arg(study).args(["--last-stage", until]))
}

fn git(study: &Path, words: &[&str]) -> Option<f64> {
    seconds(Command::new("git").arg("-C").arg(study).args(["-c", "user.name=a", "-c", "user.email=a@b"]).args(words))
}

fn nothing_to_do(size: &Size) {
    let exports = size.of(10_000);
    let study = campaign(exports);
    run(study.path(), "clean").unwrap();
    fs::write(study.path().join(".gitignore"), ".shearback/\n").unwrap();
    git(study.path(), &["init", "-q"]).unwrap();
    git(study.path(), &["add", "."]).unwrap();
    git(study.path(), &["commit", "-qm", "all"]).unwrap();
    // Times must be older than two seconds before anybody trusts them.
    std::thread::sleep(std::time::Duration::from_secs(3));
    let measured = in_turn(|| run(study.path(), "clean"), || git(study.path(), &["status"]));
    row(&format!("nothing to do, {exports} exports, `--last-stage clean`"), "`git status`", measured);
    let look = in_turn(|| seconds(program().arg("why").arg(study.path())), || git(study.path(), &["status"]));
    row(&format!("`why`, {exports} exports"), "`git status`", look);
}

fn one_of_many(size: &Size) {
    let exports = size.of(1_000);
    let study = campaign(exports);
    let everything = run(study.path(), "reversal").unwrap();
    std::thread::sleep(std::time::Duration::from_secs(3));
    run(study.path(), "reversal").unwrap();
    let times = (0..ROUNDS).map(|round| {
        let path = raw(study.path(), round);
        let text = fs::read_to_string(&path).unwrap();
        // The last digit of the last reading but some.
        let at = text.len() - 600 - 90 * round;
        let at = text[..at].rfind(|c: char| c.is_ascii_digit()).unwrap();
        fs::write(
            &path,
            format!("{}{}{}", &text[..at], if &text[at..=at] == "1" { "2" } else { "1" }, &text[at + 1..]),
        )
        .unwrap();
        run(study.path(), "reversal").unwrap()
    });
    let one = median(times.collect());
    row(&format!("one export of {exports} changed, `--last-stage reversal`"), "everything", Some((one, everything)));
}

/// Time and peak memory of reading one export that grows.
fn growth(size: &Size) {
    let (head, body) = export();
    let rows: Vec<&str> = body.split_inclusive('\n').collect();
    let mut per_reading = Vec::new();
    for readings in [100_000, 1_000_000, size.of(10_000_000).max(2_000_000)] {
        let study = campaign(0);
        let mut text = String::with_capacity(readings * 90);
        text.push_str(&head);
        // One step that goes on: number and time count up, the rest repeats.
        for number in 0..readings {
            let cells: Vec<&str> = rows[number % 100].split('\t').collect();
            let minutes = number as f64 * 5.3e-5;
            let _ = write!(text, "{}\t1\t{minutes:.6}\t{:.4}\t{}", number + 1, minutes * 60.0, cells[4..].join("\t"));
        }
        fs::write(study.path().join("raw/S1/S1_L1.tsv"), &text).unwrap();
        let megabytes = text.len() as f64 / 1e6;
        drop(text);
        let (time, peak) =
            measured(program().arg("run").arg(study.path()).args(["--last-stage", "ingest", "--jobs", "1"]));
        println!(
            "| reading an export of {readings} readings ({megabytes:.0} MB) | {time:.2} s | peak memory {peak:.0} MB | {:.1} times the file |",
            peak / megabytes
        );
        per_reading.push(time / readings as f64);
    }
    println!(
        "| growth of the time a reading, 10⁵ → the largest | {:.2} µs | {:.2} µs | {:.2} |",
        per_reading[2] * 1e6,
        per_reading[0] * 1e6,
        per_reading[2] / per_reading[0]
    );
}

/// Wall time in seconds and peak memory in megabytes; the latter where the system tells it.
fn measured(command: &mut Command) -> (f64, f64) {
    let begin = Instant::now();
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let mut peak = 0.0_f64;
    while child.try_wait().unwrap().is_none() {
        let status = fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
        let kilobytes =
            status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().split(' ').next()?.parse().ok());
        peak = peak.max(kilobytes.unwrap_or(0.0) / 1e3);
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    (begin.elapsed().as_secs_f64(), peak)
}

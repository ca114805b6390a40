//! Folders of their own, the real program, and the open studies.

#[path = "../../stages/ingest/made_workbook.rs"]
pub mod made_workbook;
pub mod remembered;
pub mod table;

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The checkout.
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The typesetter: where the variable says, else where `cargo demo` puts it.
pub fn typst() -> PathBuf {
    let named = std::env::var_os("TYPST").map(PathBuf::from);
    named.unwrap_or_else(|| root().join(".tools/bin/typst"))
}

/// A copy of an open study with its raw exports unpacked.
pub fn open_study(name: &str) -> tempfile::TempDir {
    let from = root().join("tests/open-studies").join(name);
    let to = tempfile::Builder::new().prefix(name).tempdir().unwrap();
    for entry in walkdir::WalkDir::new(&from) {
        let entry = entry.unwrap();
        if entry.file_type().is_file() {
            let relative = entry.path().strip_prefix(&from).unwrap();
            copy(entry.path(), &to.path().join(relative));
        }
    }
    to
}

/// One sample of an open study and its control: small, and everything is in it.
pub fn small_study() -> tempfile::TempDir {
    let folder = open_study("sheet-study");
    let file = folder.path().join("study.yaml");
    let text = fs::read_to_string(&file).unwrap();
    let keep = |line: &&str| !["S2:", "S3:", "raw/S2/", "raw/S3/"].iter().any(|part| line.contains(part));
    fs::write(&file, text.lines().filter(keep).collect::<Vec<_>>().join("\n") + "\n").unwrap();
    folder
}

/// How many times a random test is to be done: as the variable says, or so often that it takes some seconds.
pub fn times(variable: &str, ordinary: u64) -> u64 {
    std::env::var(variable).ok().map_or(ordinary, |text| text.parse().expect("the variable holds a whole number"))
}

/// Small, fixed and good enough to pick cases (xorshift; Marsaglia 2003, doi:10.18637/jss.v008.i14).
pub struct Dice(u64);

impl Dice {
    /// Dice of their own for each number, so that one case can be thrown again without those before it.
    pub fn number(number: u64) -> Self {
        let mut dice = Self((number + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15));
        for _ in 0..4 {
            dice.roll(2);
        }
        dice
    }

    /// A number below `sides`.
    pub fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from((self.0 >> 11) % sides as u64).unwrap()
    }

    /// One of them.
    pub fn pick<T: Clone>(&mut self, items: &[T]) -> T {
        items[self.roll(items.len())].clone()
    }
}

/// Relative paths and hashes of all files below `folder`, but for the ledger.
pub fn hashes(folder: &Path) -> std::collections::BTreeMap<String, String> {
    contents(folder).into_iter().map(|(path, bytes)| (path, blake3::hash(&bytes).to_string())).collect()
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to.parent().unwrap()).unwrap();
    if from.extension().is_some_and(|e| e == "gz") {
        let mut bytes = Vec::new();
        flate2::read::GzDecoder::new(fs::File::open(from).unwrap()).read_to_end(&mut bytes).unwrap();
        fs::write(to.with_extension(""), bytes).unwrap();
    } else {
        fs::copy(from, to).unwrap();
    }
}

/// A copy of a folder.
pub fn copy_folder(from: &Path, to: &Path) {
    for entry in walkdir::WalkDir::new(from) {
        let entry = entry.unwrap();
        if entry.file_type().is_file() {
            copy(entry.path(), &to.join(entry.path().strip_prefix(from).unwrap()));
        }
    }
}

/// The program with `words`, in a plain environment.
pub fn command(words: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_shearback"));
    command.args(words).env("NO_COLOR", "1");
    command
}

/// What came out of a call.
pub struct Said {
    /// Exit status.
    pub status: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl From<Output> for Said {
    fn from(output: Output) -> Self {
        Self {
            status: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

/// Calls the program.
pub fn shearback(words: &[&str]) -> Said {
    command(words).output().unwrap().into()
}

/// Calls the program on a study and reads the JSON that it prints.
pub fn json(word: &str, study: &Path, more: &[&str]) -> (i32, serde_json::Value) {
    let words: Vec<&str> = [word, study.to_str().unwrap(), "--json"].into_iter().chain(more.iter().copied()).collect();
    let said = shearback(&words);
    let value = serde_json::from_str(&said.out).unwrap_or_else(|e| panic!("{e}\n{}\n{}", said.out, said.err));
    (said.status, value)
}

/// Relative paths and contents of all files below `folder`, sorted, but for the ledger.
pub fn contents(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut out = Vec::new();
    for entry in walkdir::WalkDir::new(folder) {
        let entry = entry.unwrap();
        let name = entry.path().strip_prefix(folder).unwrap().to_string_lossy().replace('\\', "/");
        if entry.file_type().is_file() && name != "ledger.jsonl" {
            out.push((name, fs::read(entry.path()).unwrap()));
        }
    }
    out.sort();
    out
}

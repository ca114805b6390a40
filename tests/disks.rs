//! Disks and rights as they are in life: full, read-only, taken away half way, another file system, another user.
//!
//! Some of it needs to mount or to become another user. Where that is not allowed, the test says so and ends.

use crate::support::{Said, contents, copy_folder, json, shearback, small_study, typst};
use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;
use tempfile::TempDir;

type Contents = Vec<(String, Vec<u8>)>;

fn run(study: &Path) -> Said {
    shearback(&["run", study.to_str().unwrap()])
}

/// What a run in ordinary surroundings gives.
fn wanted() -> &'static Contents {
    static WANTED: OnceLock<Contents> = OnceLock::new();
    WANTED.get_or_init(|| {
        let study = small_study();
        assert_eq!(run(study.path()).status, 0);
        contents(&study.path().join("results"))
    })
}

/// A file system in memory; it goes when this is dropped.
struct Mounted {
    folder: TempDir,
}

impl Mounted {
    fn new(options: &str) -> Option<Self> {
        let mounted = Self { folder: tempfile::tempdir().unwrap() };
        let done = mount(&["-t", "tmpfs", "-o", options, "tmpfs"], mounted.folder.path());
        if !done {
            println!("skipped: nothing can be mounted here");
        }
        done.then_some(mounted)
    }

    fn again(&self, options: &str) {
        assert!(mount(&["-o", &format!("remount,{options}")], self.folder.path()), "remount {options}");
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.folder.path()).stderr(Stdio::null()).status();
    }
}

fn mount(words: &[&str], at: &Path) -> bool {
    Command::new("mount").args(words).arg(at).stderr(Stdio::null()).status().is_ok_and(|status| status.success())
}

#[test]
fn a_full_disk_is_told_and_more_room_is_all_that_it_needs() {
    let study = small_study();
    // Room for the exports and more and more of what comes of them.
    let used: u64 = contents(study.path()).iter().map(|(_, bytes)| bytes.len() as u64).sum();
    for room in [20_000, 200_000, 1_000_000, 2_000_000] {
        let Some(disk) = Mounted::new(&format!("size={}", used + 100_000 + room)) else { return };
        copy_folder(study.path(), disk.path());
        let raw = contents(&disk.path().join("raw"));
        let said = run(disk.path());
        assert_eq!(said.status, 3, "{room}: {}\n{}", said.out, said.err);
        assert!(said.err.contains("free some space and run again"), "{room}: {}", said.err);
        assert_eq!(contents(&disk.path().join("raw")), raw, "{room}");
        disk.again("size=200m");
        let said = run(disk.path());
        assert_eq!(said.status, 0, "{room}: {}", said.err);
        assert_eq!(contents(&disk.path().join("results")), *wanted(), "{room}");
    }
}

#[test]
fn a_study_on_a_read_only_disk_can_be_looked_at_and_is_not_run() {
    let Some(disk) = Mounted::new("size=200m") else { return };
    copy_folder(small_study().path(), disk.path());
    assert_eq!(run(disk.path()).status, 0);
    disk.again("ro");
    let said = run(disk.path());
    assert_eq!(said.status, 3, "{}", said.err);
    assert!(said.err.contains("read-only") && said.err.contains("copy the study"), "{}", said.err);
    let (status, why) = json("why", disk.path(), &[]);
    assert_eq!(status, 0);
    assert!(why["tasks"].as_array().unwrap().iter().all(|task| task["condition"] == "up to date"));
    assert_eq!(shearback(&["space", disk.path().to_str().unwrap()]).status, 0);
    assert_eq!(contents(&disk.path().join("results")), *wanted());
}

#[test]
fn results_and_store_may_lie_on_other_file_systems() {
    let Some(disk) = Mounted::new("size=200m") else { return };
    let Some(store) = Mounted::new("size=200m") else { return };
    let study = small_study();
    fs::create_dir(study.path().join("results")).unwrap();
    assert!(mount(&["--bind", disk.path().to_str().unwrap()], &study.path().join("results")));
    std::os::unix::fs::symlink(store.path(), study.path().join(".shearback")).unwrap();
    let device = |path: PathBuf| fs::metadata(path).unwrap().dev();
    assert_ne!(device(study.path().join("results")), device(study.path().join(".shearback")));
    let (first, edited) = (run(study.path()), study.path().join("results/tables/states.csv"));
    let results = contents(&study.path().join("results"));
    fs::write(&edited, "mine").unwrap();
    let second = run(study.path());
    let again = contents(&study.path().join("results"));
    let unmounted = Command::new("umount").arg(study.path().join("results")).status().unwrap();
    assert!(unmounted.success());
    assert_eq!((first.status, second.status), (0, 0), "{}{}", first.err, second.err);
    assert_eq!(results, *wanted());
    assert_eq!(again, *wanted());
    assert_eq!(fs::read_to_string(study.path().join("edited/1/tables/states.csv")).unwrap(), "mine");
}

/// The program and its typesetter where every user can start them; what belongs to root is often closed to others.
fn tools() -> &'static Path {
    static TOOLS: OnceLock<TempDir> = OnceLock::new();
    let folder = TOOLS.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        allow(folder.path(), 0o755);
        fs::copy(env!("CARGO_BIN_EXE_shearback"), folder.path().join("shearback")).unwrap();
        let typst = typst();
        if typst.exists() {
            fs::copy(typst, folder.path().join("typst")).unwrap();
        }
        folder
    });
    folder.path()
}

/// Numbers of a user and group without rights of their own.
const NOBODY: [&str; 5] = ["--reuid", "65534", "--regid", "65534", "--clear-groups"];

/// A command for the program as somebody without rights of his own, where we are root; else as we are.
fn somebody(words: &[&str]) -> Command {
    let program = tools().join("shearback");
    let mut command = Command::new(&program);
    if is_root() {
        command = Command::new("setpriv");
        command.args(NOBODY).arg(&program);
    }
    command.args(words).env("NO_COLOR", "1").env_remove("TYPST");
    command
}

fn is_root() -> bool {
    fs::metadata("/proc/self").unwrap().uid() == 0
}

/// A command on this study as somebody who owns it but, where we are root, not the exports.
fn as_somebody(study: &Path, words: &[&str]) -> Option<Command> {
    if is_root() {
        let probe = somebody(&["--version"]).stdout(Stdio::null()).stderr(Stdio::null()).status();
        if !probe.is_ok_and(|status| status.success()) {
            println!("skipped: no other user can start the program here");
            return None;
        }
        let own = |owner: &str, path: &Path| Command::new("chown").args(["-R", owner]).arg(path).status();
        assert!(own("65534:65534", study).unwrap().success() && own("0:0", &study.join("raw")).unwrap().success());
    }
    let mut command = somebody(words);
    command.arg(study);
    Some(command)
}

fn allow(path: &Path, mode: u32) {
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

fn raw_files(study: &Path) -> Vec<PathBuf> {
    let entries = walkdir::WalkDir::new(study.join("raw")).into_iter().map(|entry| entry.unwrap().into_path());
    entries.collect()
}

/// Everything that the system tells of a file but when it was last read.
fn told(path: &Path) -> (u64, i64, i64, i64, i64, u64, u32) {
    let m = fs::metadata(path).unwrap();
    (m.ino(), m.mtime(), m.mtime_nsec(), m.ctime(), m.ctime_nsec(), m.size(), m.mode())
}

#[test]
fn raw_exports_are_only_ever_read_and_another_user_gets_the_same_bytes() {
    let study = small_study();
    allow(study.path(), 0o755);
    for path in raw_files(study.path()) {
        allow(&path, if path.is_dir() { 0o555 } else { 0o444 });
    }
    let Some(mut command) = as_somebody(study.path(), &["run"]) else { return };
    let before: Vec<_> = raw_files(study.path()).iter().map(|path| told(path)).collect();
    // To open one for writing would be refused, and a refused export fails its task.
    let said: Said = command.output().unwrap().into();
    assert_eq!(said.status, 0, "{}", said.err);
    for word in ["why", "audit", "settings"] {
        let said: Said = somebody(&[word]).arg(study.path()).output().unwrap().into();
        assert_eq!(said.status, 0, "{word}: {}", said.err);
    }
    let after: Vec<_> = raw_files(study.path()).iter().map(|path| told(path)).collect();
    assert_eq!(before, after);
    assert_eq!(contents(&study.path().join("results")), *wanted());
    raw_files(study.path()).iter().filter(|path| path.is_dir()).for_each(|path| allow(path, 0o755));
}

#[test]
fn a_right_that_is_taken_away_half_way_is_told() {
    let study = small_study();
    allow(study.path(), 0o755);
    let Some(mut command) = as_somebody(study.path(), &["run", "--jobs", "1"]) else { return };
    let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let home = study.path().join(".shearback");
    while !home.join("records").exists() {
        std::thread::sleep(std::time::Duration::from_millis(1));
    }
    allow(&home.join("tmp"), 0o555);
    let said: Said = child.wait_with_output().unwrap().into();
    assert_eq!(said.status, 3, "{}{}", said.out, said.err);
    assert!(said.err.contains("check who owns it and its permissions, then run again"), "{}", said.err);
    assert!(!study.path().join("results").exists());
    allow(&home.join("tmp"), 0o755);
    let said: Said = as_somebody(study.path(), &["run"]).unwrap().output().unwrap().into();
    assert_eq!(said.status, 0, "{}", said.err);
    assert_eq!(contents(&study.path().join("results")), *wanted());
}

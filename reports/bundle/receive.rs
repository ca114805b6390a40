//! `shearback receive`: checks a packed dataset, every hash and its description, and lays it out as a study. Nothing in
//! it is executed, and nothing stands under the final name before all of it is checked.

use super::hashes::{Hashes, copy};
use super::origin::{Origin, refused};
use super::tags::{ALGORITHMS, DECLARATION, DECLARED, INFO, hash_by, read_info, read_manifest};
use super::{ABOUT, CRATE, PAYLOAD, RECEIVED, WITHHELD, names, rocrate};
use crate::study;
use crate::text::numbers;
use clap::{Arg, ArgMatches, value_parser};
use pipeline::command::{Answer, Command, Exit, Failure};
use pipeline::diagnostic::{Diagnostic, Place};
use pipeline::graph::Graph;
use pipeline::progress::Progress;
use pipeline::results::manifest::Manifest;
use pipeline::store::files::{Files, LEDGER, MANIFEST};
use pipeline::store::ledger::chain;
use stages::setup::STUDY_FILE;
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{BufWriter, Cursor, Read, Write};
use std::path::{Path, PathBuf};

/// Longest tag file or description that is read, bytes (empirical: a manifest of 200 000 files has some 40 MB).
const LONGEST_TEXT: u64 = 64 << 20;
/// Most that a bag may hold where nothing else is asked for, GiB.
const LARGEST: &str = "100";

/// The command.
pub struct ReceiveCommand;

impl Command for ReceiveCommand {
    fn typed(&self) -> clap::Command {
        let path = |name: &'static str, value: &'static str, help: &'static str| {
            Arg::new(name).value_name(value).required(true).value_parser(value_parser!(PathBuf)).help(help)
        };
        clap::Command::new("receive")
            .about("Check a packed dataset and unpack it as a study, ready to run; nothing in it is executed")
            .arg(path("bag", "BAG", "The bag: a folder or a zip file"))
            .arg(path("dir", "DIR", "The folder for the study: new or empty"))
            .arg(
                Arg::new("largest")
                    .long("largest")
                    .value_name("GIB")
                    .default_value(LARGEST)
                    .value_parser(value_parser!(u64).range(1..=1_000_000))
                    .help("Refuse a bag larger than this"),
            )
    }

    fn perform(&self, typed: &ArgMatches) -> Result<Answer, Failure> {
        let path = |name: &str| typed.get_one::<PathBuf>(name).cloned().unwrap_or_default();
        let (bag, dir) = (path("bag"), path("dir"));
        let largest = typed.get_one::<u64>("largest").copied().unwrap_or(1) << 30;
        let (files, remarks) = receive(&bag, &dir, largest)?;
        let (at, files) = (dir.display(), numbers::count(files as u64, "file"));
        let text = format!(
            "received {files}, every hash checked: {at}\nwhere it came from is stated in {at}/{RECEIVED}\n\
             next: `shearback audit {at}` computes everything again and compares\n"
        );
        let exit = if remarks.is_empty() { Exit::Good } else { Exit::Unmet };
        Ok(Answer { text, remarks, exit })
    }
}

/// Checks a bag and lays it out; gives the number of its files, and what does not hold in the study itself.
///
/// # Errors
/// Everything that is refused, by name; then nothing is laid out.
pub fn receive(bag: &Path, dir: &Path, largest: u64) -> Result<(usize, Vec<Diagnostic>), Failure> {
    vacant(dir)?;
    let mut origin = Origin::open(bag, largest)?;
    let listed = Listed::read(&mut origin).map_err(Failure::input)?;
    let parent = dir.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let scratch = tempfile::Builder::new().prefix(".receive-").tempdir_in(parent);
    let scratch = scratch.map_err(|e| Failure::io("create a folder in", parent, &e))?;
    let payload = lay_out(&mut origin, &listed, scratch.path())?;
    described(scratch.path(), &payload).map_err(Failure::input)?;
    let remarks = accept(scratch.path(), &payload)?;
    if dir.is_dir() {
        fs::remove_dir(dir).map_err(|e| Failure::io("replace", dir, &e))?;
    }
    let path = scratch.keep();
    fs::rename(&path, dir).map_err(|e| {
        // What was laid out is of no use under this name.
        let _ = fs::remove_dir_all(&path);
        Failure::io("create", dir, &e)
    })?;
    open_to_all(dir);
    Ok((payload.len(), remarks))
}

/// A temporary folder is private; a study has the rights that any new folder has.
fn open_to_all(dir: &Path) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The study is there all the same if the system does not let us.
        let _ = fs::set_permissions(dir, fs::Permissions::from_mode(0o755));
    }
    #[cfg(not(unix))]
    let _ = dir;
}

fn vacant(dir: &Path) -> Result<(), Failure> {
    let empty = || fs::read_dir(dir).is_ok_and(|mut entries| entries.next().is_none());
    if fs::symlink_metadata(dir).is_err() || (dir.is_dir() && !dir.is_symlink() && empty()) {
        return Ok(());
    }
    let message = format!("{} is there already and is no empty folder", dir.display());
    Err(Failure::input(vec![Diagnostic::new(message).help("choose another name: nothing is laid over a study")]))
}

/// What the bag's manifests list: hash by path, per algorithm.
struct Listed(BTreeMap<&'static str, BTreeMap<String, String>>);

impl Listed {
    /// Reads declaration and manifests, and checks them against the files that are there.
    fn read(origin: &mut Origin) -> Result<Self, Vec<Diagnostic>> {
        if !origin.files.contains_key(DECLARATION) {
            return Err(vec![
                refused(DECLARATION, "it is not there, so this is no bag")
                    .help("give a folder or zip that `shearback pack` made"),
            ]);
        }
        let declared = origin.text(DECLARATION, LONGEST_TEXT).map_err(|d| vec![d])?;
        if declared.replace("\r\n", "\n").trim_end() != DECLARED.trim_end() {
            return Err(vec![refused(DECLARATION, "it does not declare a bag of version 1.0 in UTF-8")]);
        }
        let mut problems = Vec::new();
        let listed = manifests(origin, "manifest", &mut problems);
        let tagged = manifests(origin, "tagmanifest", &mut problems);
        if listed.is_empty() {
            problems.push(refused("manifest-sha512.txt", "the bag has no manifest with SHA-256 or SHA-512"));
        }
        check_tags(origin, &tagged, &mut problems);
        check_lists(origin, &listed, &mut problems);
        check_count(origin, &mut problems);
        if problems.is_empty() { Ok(Self(listed)) } else { Err(problems) }
    }
}

type Manifests = BTreeMap<&'static str, BTreeMap<String, String>>;

fn manifests(origin: &mut Origin, kind: &str, problems: &mut Vec<Diagnostic>) -> Manifests {
    let mut read = Manifests::new();
    for algorithm in ALGORITHMS {
        let name = format!("{kind}-{algorithm}.txt");
        if !origin.files.contains_key(&name) {
            continue;
        }
        match origin
            .text(&name, LONGEST_TEXT)
            .and_then(|text| read_manifest(algorithm, &text).map_err(|why| refused(&name, why)))
        {
            Ok(list) => drop(read.insert(algorithm, list)),
            Err(problem) => problems.push(problem),
        }
    }
    read
}

/// Every file beside the payload must be one that a bag of ours has, and have the hash that is listed.
fn check_tags(origin: &mut Origin, tagged: &Manifests, problems: &mut Vec<Diagnostic>) {
    let names: Vec<String> = origin.files.keys().filter(|path| !path.starts_with(PAYLOAD)).cloned().collect();
    let own = |name: &str| ALGORITHMS.iter().any(|algorithm| name == format!("tagmanifest-{algorithm}.txt"));
    let known = |name: &str| {
        let manifest = ALGORITHMS.iter().any(|algorithm| name == format!("manifest-{algorithm}.txt"));
        manifest || own(name) || name == DECLARATION || name == INFO
    };
    if tagged.is_empty() {
        problems.push(refused("tagmanifest-sha512.txt", "the bag has none, so its manifests cannot be trusted"));
    }
    for name in &names {
        if name == "fetch.txt" {
            problems.push(refused(name, "it asks to fetch files from elsewhere"));
        } else if !known(name) {
            problems.push(refused(name, "it is no part of the payload, and no file that a bag of ours has"));
        } else if !own(name) {
            let text = origin.text(name, LONGEST_TEXT);
            let hashes = text.as_ref().map(|text| Hashes::of(text.as_bytes()));
            match hashes {
                Ok(hashes) => problems.extend(unlike(name, &hashes, tagged)),
                Err(problem) => problems.push(problem.clone()),
            }
        }
    }
    let listed: BTreeSet<&String> = tagged.values().flat_map(BTreeMap::keys).collect();
    problems.extend(
        listed.into_iter().filter(|path| !names.contains(path)).map(|path| refused(path, "it is listed and not there")),
    );
}

/// What a file's hashes differ from.
fn unlike(path: &str, hashes: &Hashes, lists: &Manifests) -> Option<Diagnostic> {
    for (algorithm, list) in lists {
        match list.get(path) {
            None => return Some(refused(path, format!("no {algorithm} manifest lists it"))),
            Some(listed) if listed != hash_by(algorithm, hashes) => {
                let why =
                    format!("its content is not what was packed: its {algorithm} hash differs from the listed one");
                return Some(refused(path, why).help("it was changed or damaged on its way: ask for it again"));
            }
            Some(_) => {}
        }
    }
    None
}

/// Payload and manifests must name the same files.
fn check_lists(origin: &Origin, listed: &Manifests, problems: &mut Vec<Diagnostic>) {
    let there: BTreeSet<&String> = origin.files.keys().filter(|path| path.starts_with(PAYLOAD)).collect();
    for (algorithm, list) in listed {
        for path in list.keys() {
            if let Err(why) = names::check(path) {
                problems.push(refused(path, format!("manifest-{algorithm}.txt lists it, and {why}")));
            } else if !path.starts_with(PAYLOAD) {
                problems
                    .push(refused(path, format!("manifest-{algorithm}.txt lists it, and it is not in the payload")));
            } else if !there.contains(path) {
                problems.push(refused(path, format!("manifest-{algorithm}.txt lists it, and it is not there")));
            }
        }
        let unlisted = there.iter().filter(|path| !list.contains_key(**path));
        problems.extend(
            unlisted.map(|path| refused(path, format!("it is there, and manifest-{algorithm}.txt does not list it"))),
        );
    }
    if !there.iter().any(|path| **path == format!("{PAYLOAD}{STUDY_FILE}")) {
        problems.push(refused(&format!("{PAYLOAD}{STUDY_FILE}"), "it is not there, so this is no packed study"));
    }
}

/// Number and bytes of the payload, as the bag says (RFC 8493, 2.2.2).
fn check_count(origin: &mut Origin, problems: &mut Vec<Diagnostic>) {
    if !origin.files.contains_key(INFO) {
        return;
    }
    let Ok(text) = origin.text(INFO, LONGEST_TEXT) else { return };
    let Some(said) = read_info(&text, "Payload-Oxum") else { return };
    let sizes: Vec<u64> =
        origin.files.iter().filter(|(path, _)| path.starts_with(PAYLOAD)).map(|(_, size)| *size).collect();
    let is = format!("{}.{}", sizes.iter().sum::<u64>(), sizes.len());
    if said != is {
        problems.push(refused(INFO, format!("it says that the payload has {said} bytes and files, and it has {is}")));
    }
}

/// Where a file of the payload stands in the study.
fn place(path: &str) -> String {
    if ABOUT.contains(&path) { format!("{RECEIVED}/{path}") } else { path.to_owned() }
}

/// Lays the payload out below `to`, each file hashed on its way; gives what was laid out, by path in the payload.
fn lay_out(origin: &mut Origin, listed: &Listed, to: &Path) -> Result<BTreeMap<String, Hashes>, Failure> {
    let paths: Vec<(String, u64)> = origin.files.iter().map(|(path, size)| (path.clone(), *size)).collect();
    let (mut payload, mut problems, mut seen) = (BTreeMap::new(), Vec::new(), names::Seen::default());
    let progress = Progress::counting("files");
    progress.begin(paths.len());
    for (path, size) in paths {
        progress.at(&path);
        let inside = path.strip_prefix(PAYLOAD);
        let target = inside.map_or_else(|| format!("{RECEIVED}/{path}"), place);
        if let Err(why) = seen.enter(&target).and_then(|()| own_rooms(inside)) {
            problems.push(refused(&path, why));
            continue;
        }
        match write(origin, &path, size, &target.split('/').fold(to.to_path_buf(), |at, part| at.join(part)))? {
            Ok(hashes) => {
                if let Some(inside) = inside {
                    problems.extend(unlike(&path, &hashes, &listed.0));
                    payload.insert(inside.to_owned(), hashes);
                }
            }
            Err(why) => problems.push(refused(&path, why)),
        }
        progress.step();
    }
    progress.end();
    if problems.is_empty() { Ok(payload) } else { Err(Failure::input(problems)) }
}

/// What shearback keeps for itself must not come from elsewhere.
fn own_rooms(inside: Option<&str>) -> Result<(), String> {
    let top = inside.and_then(|path| path.split_once('/')).map_or("", |(top, _)| top).to_lowercase();
    if top == RECEIVED || top == "edited" {
        Err(format!("`{top}` is a folder that a study keeps for itself"))
    } else {
        Ok(())
    }
}

/// Writes one file. The inner error is a reason to refuse it.
fn write(origin: &mut Origin, path: &str, size: u64, to: &Path) -> Result<Result<Hashes, String>, Failure> {
    let mut reader = match origin.read(path) {
        Ok(reader) => reader,
        Err(e) => return Ok(Err(format!("it cannot be read: {e}"))),
    };
    let mut head = Vec::new();
    if let Err(e) = reader.by_ref().take(512).read_to_end(&mut head) {
        return Ok(Err(format!("it cannot be read: {e}")));
    }
    if let Some(what) = nested(path, &head) {
        return Ok(Err(format!("it is {what}: an archive in the archive")));
    }
    to.parent().map_or(Ok(()), fs::create_dir_all).map_err(|e| Failure::io("write", to, &e))?;
    let file = File::create_new(to).map_err(|e| Failure::io("write", to, &e))?;
    let mut file = BufWriter::new(file);
    let copied = copy(&mut Cursor::new(head).chain(reader), &mut file, size);
    file.flush().map_err(|e| Failure::io("write", to, &e))?;
    Ok(match copied {
        Ok(hashes) if hashes.size != size => Err(format!("it has {} bytes, and its entry says {size}", hashes.size)),
        Ok(hashes) => Ok(hashes),
        Err(e) => Err(format!("it cannot be read: {e}")),
    })
}

/// Archives by their first bytes. Workbooks are zips, and exports.
fn nested(path: &str, head: &[u8]) -> Option<&'static str> {
    let ending = path.rsplit('.').next().unwrap_or_default().to_ascii_lowercase();
    let workbook = matches!(ending.as_str(), "xlsx" | "xlsm" | "xlsb" | "ods");
    let kinds: [(&[u8], &str); 7] = [
        (b"PK\x03\x04", "a zip archive"),
        (b"PK\x05\x06", "a zip archive"),
        (b"\x1f\x8b", "a gzip archive"),
        (b"BZh", "a bzip2 archive"),
        (b"\xfd7zXZ\x00", "an xz archive"),
        (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
        (b"Rar!\x1a\x07", "a rar archive"),
    ];
    let found = kinds.into_iter().find(|(magic, _)| head.starts_with(magic)).map(|(_, what)| what);
    let tar = || (head.get(257..262) == Some(b"ustar")).then_some("a tar archive");
    found.filter(|what| !(workbook && *what == "a zip archive")).or_else(tar)
}

/// The crate must describe just the files that are there.
fn described(at: &Path, payload: &BTreeMap<String, Hashes>) -> Result<(), Vec<Diagnostic>> {
    let path = format!("{PAYLOAD}{CRATE}");
    let too_long = payload.get(CRATE).is_some_and(|hashes| hashes.size > LONGEST_TEXT);
    let text = fs::read(at.join(RECEIVED).join(CRATE));
    match text {
        _ if too_long => Err(vec![refused(&path, "it is larger than any description of a study")]),
        Err(_) => Err(vec![refused(&path, "the dataset has no description of itself")]),
        Ok(text) => {
            rocrate::check(&text, payload).map_err(|why| why.into_iter().map(|why| refused(&path, why)).collect())
        }
    }
}

/// The study as laid out: its results must be those of its manifest, its ledger whole. What does not hold is told; the
/// ledger becomes that of the study, so that its runs go on from it.
fn accept(at: &Path, payload: &BTreeMap<String, Hashes>) -> Result<Vec<Diagnostic>, Failure> {
    let files = Files::new(at);
    let told =
        |path: &str, what: String| Diagnostic::new(what).at(Place::file(path)).help("`shearback audit` tells more");
    let mut remarks = Vec::new();
    let manifest = fs::read(files.result(MANIFEST)).ok().and_then(|bytes| Manifest::parse(&bytes)).unwrap_or_default();
    for entry in &manifest.files {
        let path = format!("results/{}", entry.path);
        match payload.get(&path) {
            None => remarks.push(told(&path, "the results list this file, and it was not packed".to_owned())),
            Some(hashes) if hashes.blake3 != entry.blake3 => {
                remarks.push(told(&path, "it is not as the run wrote it that its ledger names".to_owned()));
            }
            Some(_) => {}
        }
    }
    let ledger = fs::read_to_string(files.result(LEDGER)).unwrap_or_default();
    match chain(&ledger, "results/ledger.jsonl") {
        Ok(_) => {
            let path = files.ledger();
            let written = fs::create_dir_all(files.home()).and_then(|()| fs::write(&path, &ledger));
            written.map_err(|e| Failure::io("write", &path, &e))?;
        }
        Err(broken) => remarks.push(broken),
    }
    remarks.extend(readable(at, payload));
    Ok(remarks)
}

/// Whether the study file is one of ours, and what was packed and is no part of the study.
fn readable(at: &Path, payload: &BTreeMap<String, Hashes>) -> Vec<Diagnostic> {
    if payload.contains_key(WITHHELD) {
        return vec![];
    }
    let plan = match study::plan_of(at, None) {
        Ok(plan) => plan,
        Err(failure) => return failure.diagnostics,
    };
    let Ok(graph) = Graph::new(&plan) else { return vec![] };
    let raw = graph.raw();
    let part =
        |path: &str| path == STUDY_FILE || path.starts_with("results/") || ABOUT.contains(&path) || raw.contains(path);
    let others = payload.keys().filter(|path| !part(path));
    others
        .map(|path| {
            Diagnostic::new("it was packed, and is no part of the study")
                .at(Place::file(path))
                .help("look at it before you use it")
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic)]
#[path = "hostile_tests.rs"]
mod tests;

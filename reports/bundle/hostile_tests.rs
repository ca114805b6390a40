//! Bags that mean harm or are damaged: each is refused, the file is named, and nothing is laid out.

use super::*;
use crate::bundle::hashes::hex;
use crate::bundle::{rocrate, tags};
use serde_json::json;
use sha2::{Digest as _, Sha256};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

const LIMIT: u64 = 1 << 30;

/// Files of a bag, in memory.
type Files = BTreeMap<String, Vec<u8>>;

/// A whole bag of a small study with these files more in its payload.
fn bag(more: &[(&str, &[u8])]) -> Files {
    let mut payload: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    payload.insert("study.yaml".into(), b"study: A\n".to_vec());
    payload.insert("raw/a.txt".into(), b"1 2 3\n".to_vec());
    payload.insert("results/manifest.json".into(), b"{\"changing\":false,\"files\":[]}\n".to_vec());
    payload.insert("results/ledger.jsonl".into(), Vec::new());
    payload.extend(more.iter().map(|(path, bytes)| ((*path).to_owned(), bytes.to_vec())));
    let hashes = payload.iter().map(|(path, bytes)| (path.clone(), Hashes::of(bytes))).collect();
    payload.insert(CRATE.into(), crate_of(&hashes));
    let mut files = payload.into_iter().map(|(path, bytes)| (format!("{PAYLOAD}{path}"), bytes)).collect();
    seal(&mut files);
    files
}

/// A crate that just describes the files.
fn crate_of(files: &BTreeMap<String, Hashes>) -> Vec<u8> {
    let file = |(path, h): (&String, &Hashes)| json!({"@id": rocrate::address(path), "@type": "File", "sha256": h.sha256, "contentSize": h.size.to_string()});
    let parts: Vec<_> = files.keys().map(|path| json!({"@id": rocrate::address(path)})).collect();
    let mut graph = vec![
        json!({"@id": CRATE, "@type": "CreativeWork", "conformsTo": {"@id": "https://w3id.org/ro/crate/1.2"}}),
        json!({"@id": "./", "@type": "Dataset", "hasPart": parts}),
    ];
    graph.extend(files.iter().map(file));
    json!({"@graph": graph}).to_string().into_bytes()
}

/// Writes the tag files anew, as a sender who means harm would.
fn seal(files: &mut Files) {
    files.retain(|path, _| path.starts_with(PAYLOAD));
    let hashes =
        |files: &Files| files.iter().map(|(path, bytes)| (path.clone(), Hashes::of(bytes))).collect::<BTreeMap<_, _>>();
    let (payload, bytes) = (hashes(files), files.values().map(|b| b.len() as u64).sum::<u64>());
    let mut tagged = Files::from([(DECLARATION.to_owned(), DECLARED.into())]);
    tagged.insert(INFO.into(), tags::info(&[("Payload-Oxum", format!("{bytes}.{}", files.len()))]).into_bytes());
    for name in ALGORITHMS {
        tagged.insert(format!("manifest-{name}.txt"), tags::manifest(name, &payload).into_bytes());
    }
    for name in ALGORITHMS {
        files.insert(format!("tagmanifest-{name}.txt"), tags::manifest(name, &hashes(&tagged)).into_bytes());
    }
    files.extend(tagged);
}

/// With the tag manifests written anew over whatever the other tag files are.
fn reseal_tags(files: &mut Files) {
    let tagged = files.iter().filter(|(path, _)| !path.starts_with(PAYLOAD) && !path.starts_with("tagmanifest"));
    let tagged: BTreeMap<_, _> = tagged.map(|(path, bytes)| (path.clone(), Hashes::of(bytes))).collect();
    for name in ALGORITHMS {
        files.insert(format!("tagmanifest-{name}.txt"), tags::manifest(name, &tagged).into_bytes());
    }
}

fn zipped(files: &Files) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (path, bytes) in files {
        writer.start_file(format!("bag/{path}"), SimpleFileOptions::default()).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

fn folder_of(files: &Files) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (path, bytes) in files {
        let path = folder.path().join(path);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    folder
}

/// Receives a bag; nothing may be left anywhere if it is refused.
fn try_to_receive(bag: &Path, limit: u64) -> Result<Vec<Diagnostic>, Vec<Diagnostic>> {
    let room = tempfile::tempdir().unwrap();
    let dir = room.path().join("inner").join("study");
    fs::create_dir(room.path().join("inner")).unwrap();
    match receive(bag, &dir, limit) {
        Ok((_, remarks)) => Ok(remarks),
        Err(failure) => {
            let left: Vec<_> = walkdir::WalkDir::new(room.path()).min_depth(1).into_iter().flatten().collect();
            assert_eq!(left.len(), 1, "something was laid out: {left:?}");
            assert_eq!(failure.exit, Exit::Input);
            Err(failure.diagnostics)
        }
    }
}

fn receive_zip(bytes: &[u8]) -> Result<Vec<Diagnostic>, Vec<Diagnostic>> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bag.zip");
    fs::write(&path, bytes).unwrap();
    try_to_receive(&path, LIMIT)
}

fn receive_files(files: &Files) -> Result<Vec<Diagnostic>, Vec<Diagnostic>> {
    try_to_receive(folder_of(files).path(), LIMIT)
}

/// The bag is refused as folder and as zip, and a message has these words and this file.
#[track_caller]
fn is_refused(files: &Files, file: &str, words: &str) {
    for result in [receive_files(files), receive_zip(&zipped(files))] {
        names_it(result, file, words);
    }
}

#[track_caller]
fn names_it(result: Result<Vec<Diagnostic>, Vec<Diagnostic>>, file: &str, words: &str) {
    let Err(told) = result else { panic!("it was taken") };
    let fits = |d: &Diagnostic| d.message.contains(words) && d.place.as_ref().is_some_and(|p| p.file.contains(file));
    assert!(told.iter().any(fits), "{told:#?}");
}

#[test]
fn a_sound_bag_is_taken() {
    assert!(receive_files(&bag(&[])).is_ok());
    assert!(receive_zip(&zipped(&bag(&[]))).is_ok());
}

#[test]
fn a_path_that_leads_upwards_is_refused() {
    names_it(receive_zip(&zipped(&bag(&[("../../evil.txt", b"x")]))), "../../evil.txt", "leads upwards");
}

#[test]
fn a_manifest_that_leads_upwards_is_refused() {
    let mut files = bag(&[]);
    for name in ALGORITHMS {
        let list = files.get_mut(&format!("manifest-{name}.txt")).unwrap();
        let hash = hash_by(name, &Hashes::of(b"x")).to_owned();
        list.extend(format!("{hash}  data/../../etc/passwd\n").bytes());
    }
    reseal_tags(&mut files);
    is_refused(&files, "data/../../etc/passwd", "leads upwards");
}

#[test]
fn absolute_paths_are_refused() {
    for name in ["/etc/cron.d/evil", "C:/Windows/evil.txt", "\\\\host\\share\\evil"] {
        let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
        writer.start_file(name, SimpleFileOptions::default()).unwrap();
        names_it(receive_zip(&writer.finish().unwrap().into_inner()), "evil", "absolute");
    }
}

#[test]
fn backslashes_are_refused() {
    names_it(receive_zip(&zipped(&bag(&[("raw\\..\\..\\evil.txt", b"x")]))), "evil.txt", "`\\`");
}

#[test]
fn a_link_in_a_zip_is_refused() {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    writer.add_symlink("bag/data/raw", "/etc", SimpleFileOptions::default()).unwrap();
    names_it(receive_zip(&writer.finish().unwrap().into_inner()), "bag/data/raw", "it is a link");
}

#[cfg(unix)]
#[test]
fn links_in_a_folder_are_refused() {
    let folder = folder_of(&bag(&[]));
    std::os::unix::fs::symlink("/etc/passwd", folder.path().join("data/raw/link.txt")).unwrap();
    names_it(try_to_receive(folder.path(), LIMIT), "data/raw/link.txt", "it is a link");
    let folder = folder_of(&bag(&[]));
    std::os::unix::fs::symlink("/etc", folder.path().join("data/all")).unwrap();
    names_it(try_to_receive(folder.path(), LIMIT), "data/all", "it is a link");
}

#[cfg(unix)]
#[test]
fn sockets_are_refused() {
    let folder = folder_of(&bag(&[]));
    let _socket = std::os::unix::net::UnixListener::bind(folder.path().join("data/s")).unwrap();
    names_it(try_to_receive(folder.path(), LIMIT), "data/s", "neither a file nor a folder");
}

#[test]
fn names_that_differ_in_case_only_are_refused() {
    is_refused(&bag(&[("raw/A.txt", b"x")]), "data/raw/", "only in case");
}

#[test]
fn an_entry_that_is_there_twice_is_refused() {
    let bytes = zipped(&bag(&[("raw/b.txt", b"1 2 3\n")]));
    let twice = replaced(&bytes, b"raw/b.txt", b"raw/a.txt");
    names_it(receive_zip(&twice), "bag.zip", "two entries of one name");
}

fn replaced(bytes: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for at in 0..out.len() - from.len() {
        if out[at..].starts_with(from) {
            out[at..at + from.len()].copy_from_slice(to);
        }
    }
    out
}

#[test]
fn two_lists_that_differ_are_refused() {
    let mut bytes = zipped(&bag(&[]));
    let last = bytes.windows(9).rposition(|w| w == b"raw/a.txt").unwrap();
    bytes[last + 4] = b'z';
    assert!(receive_zip(&bytes).unwrap_err()[0].message.starts_with("refused"));
}

#[test]
fn a_file_that_is_a_folder_too_is_refused() {
    names_it(receive_zip(&zipped(&bag(&[("raw/a.txt/b", b"x")]))), "data/raw/a.txt", "file and a folder");
}

#[test]
fn a_bag_above_the_limit_is_refused() {
    let folder = folder_of(&bag(&[("raw/big.txt", &[b'1'; 5000])]));
    let told = try_to_receive(folder.path(), 4000).unwrap_err();
    assert!(told[0].message.contains("more than the limit of 4000"), "{told:?}");
}

#[test]
fn a_file_that_swells_beyond_reason_is_refused() {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
    writer.start_file("bag/data/raw/a.txt", options).unwrap();
    for _ in 0..20 {
        writer.write_all(&vec![0; 1 << 20]).unwrap();
    }
    names_it(receive_zip(&writer.finish().unwrap().into_inner()), "raw/a.txt", "would swell");
}

#[test]
fn an_entry_that_says_a_wrong_size_is_refused() {
    let mut files = bag(&[]);
    files.insert("data/raw/a.txt".into(), vec![b'7'; 4321]);
    seal(&mut files);
    let bytes = replaced(&zipped(&files), &4321_u32.to_le_bytes(), &4000_u32.to_le_bytes());
    assert!(receive_zip(&bytes).unwrap_err().iter().any(|d| d.message.starts_with("refused")));
}

#[test]
fn archives_in_the_archive_are_refused() {
    let mut tar = vec![0; 600];
    tar[257..262].copy_from_slice(b"ustar");
    let zip = zipped(&bag(&[]));
    for (name, bytes) in [("raw/n.zip", &*zip), ("raw/n.txt", &zip), ("raw/n.tar", &tar), ("raw/n.gz", b"\x1f\x8b\x08")]
    {
        is_refused(&bag(&[(name, bytes)]), name, "archive in the archive");
    }
}

#[test]
fn a_workbook_is_an_export_and_no_nested_archive() {
    assert!(receive_files(&bag(&[("raw/n.xlsx", b"PK\x03\x04rest")])).is_ok());
}

#[test]
fn names_that_another_system_cannot_hold_are_refused() {
    for name in ["raw/CON.txt", "raw/a:b.txt", "raw/a?.txt", "raw/end.", "raw/aux", "raw/a\tb"] {
        names_it(receive_zip(&zipped(&bag(&[(name, b"x")]))), name, "refused");
    }
}

#[test]
fn names_that_turn_the_text_round_are_refused() {
    is_refused(&bag(&[("raw/txt\u{202e}exe.a", b"x")]), "exe.a", "turns the text round");
}

#[test]
fn what_is_hidden_is_refused() {
    is_refused(&bag(&[(".shearback/state.json", b"{}")]), ".shearback/state.json", "hidden");
    is_refused(&bag(&[(".git/hooks/post-checkout", b"#!/bin/sh")]), ".git/hooks", "hidden");
}

#[test]
fn rooms_of_our_own_are_refused() {
    is_refused(&bag(&[("received/README.md", b"x")]), "data/received/README.md", "keeps for itself");
}

#[test]
fn a_changed_byte_is_found_and_named_wherever_it_is() {
    let more: [(&str, &[u8]); 2] = [("results/tables/states.csv", b"a,b\n1,2\n"), ("results/figures/f.svg", b"<svg/>")];
    let paths = [
        "raw/a.txt",
        "results/tables/states.csv",
        "results/figures/f.svg",
        "study.yaml",
        "results/manifest.json",
        CRATE,
    ];
    for path in paths.map(|path| format!("{PAYLOAD}{path}")) {
        let mut files = bag(&more);
        let bytes = files.get_mut(&path).unwrap();
        bytes[0] ^= 1;
        is_refused(&files, &path, "not what was packed");
    }
}

#[test]
fn a_changed_tag_file_is_found_and_named() {
    for (name, from, to) in [(INFO, "Payload", "payload"), ("manifest-sha256.txt", "data/raw/a.txt", "data/raw/b.txt")]
    {
        let mut files = bag(&[]);
        let text = String::from_utf8(files[name].clone()).unwrap().replace(from, to);
        files.insert(name.into(), text.into_bytes());
        is_refused(&files, name, "not what was packed");
    }
}

#[test]
fn a_missing_and_an_unlisted_file_are_named() {
    let mut files = bag(&[]);
    files.remove("data/raw/a.txt");
    is_refused(&files, "data/raw/a.txt", "not there");
    let mut files = bag(&[]);
    files.insert("data/raw/new.txt".into(), b"x".to_vec());
    is_refused(&files, "data/raw/new.txt", "does not list it");
}

#[test]
fn a_request_to_fetch_is_refused() {
    let mut files = bag(&[]);
    files.insert("fetch.txt".into(), b"http://localhost/x - data/raw/x\n".to_vec());
    reseal_tags(&mut files);
    is_refused(&files, "fetch.txt", "fetch files from elsewhere");
}

#[test]
fn an_unknown_tag_file_is_refused() {
    let mut files = bag(&[]);
    files.insert("run-me.sh".into(), b"#!/bin/sh\n".to_vec());
    reseal_tags(&mut files);
    is_refused(&files, "run-me.sh", "no file that a bag of ours has");
}

#[test]
fn a_bag_of_another_version_or_without_a_declaration_is_refused() {
    let mut files = bag(&[]);
    files.insert(DECLARATION.into(), b"BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n".to_vec());
    reseal_tags(&mut files);
    is_refused(&files, DECLARATION, "version 1.0");
    files.remove(DECLARATION);
    is_refused(&files, DECLARATION, "no bag");
}

#[test]
fn a_bag_without_manifests_or_tag_manifests_is_refused() {
    let mut files = bag(&[]);
    files.retain(|name, _| !name.starts_with("tagmanifest"));
    is_refused(&files, "tagmanifest", "cannot be trusted");
    files.retain(|name, _| !name.starts_with("manifest"));
    is_refused(&files, "manifest", "no manifest");
}

#[test]
fn a_broken_or_doubled_manifest_line_is_refused() {
    for line in ["zz  data/raw/a.txt\n".to_owned(), format!("{}  data/raw/a.txt\n", hex(&Sha256::digest(b"1 2 3\n")))] {
        let mut files = bag(&[]);
        files.get_mut("manifest-sha256.txt").unwrap().extend(line.bytes());
        reseal_tags(&mut files);
        is_refused(&files, "manifest-sha256.txt", "line ");
    }
}

#[test]
fn a_wrong_count_is_refused() {
    let mut files = bag(&[]);
    files.insert(INFO.into(), b"Payload-Oxum: 1.1\n".to_vec());
    reseal_tags(&mut files);
    is_refused(&files, INFO, "1.1");
}

#[test]
fn a_crate_that_is_missing_or_describes_other_files_is_refused() {
    let mut files = bag(&[]);
    files.remove(&format!("{PAYLOAD}{CRATE}"));
    seal(&mut files);
    is_refused(&files, CRATE, "no description");
    let mut files = bag(&[]);
    files.insert("data/raw/a.txt".into(), b"9 9 9\n".to_vec());
    seal(&mut files);
    is_refused(&files, CRATE, "another hash than described");
}

#[test]
fn something_before_or_beside_the_bag_is_refused() {
    let mut bytes = b"#!/bin/sh\nrm -rf /\n".to_vec();
    bytes.extend(zipped(&bag(&[])));
    assert!(receive_zip(&bytes).unwrap_err()[0].message.starts_with("refused"));
    let mut writer = ZipWriter::new_append(Cursor::new(zipped(&bag(&[])))).unwrap();
    writer.start_file("other/x.txt", SimpleFileOptions::default()).unwrap();
    names_it(receive_zip(&writer.finish().unwrap().into_inner()), "other/x.txt", "beside the one folder");
}

#[test]
fn what_is_no_bag_at_all_is_refused() {
    assert!(receive_zip(b"no zip").unwrap_err()[0].message.contains("no zip archive"));
    assert!(receive_zip(&zipped(&bag(&[]))[..200]).unwrap_err()[0].message.contains("no zip archive"));
    assert!(try_to_receive(tempfile::tempdir().unwrap().path(), LIMIT).is_err());
}

#[test]
fn nothing_is_laid_over_a_folder_that_holds_something() {
    let (bag, there) = (folder_of(&bag(&[])), tempfile::tempdir().unwrap());
    fs::write(there.path().join("mine.txt"), "x").unwrap();
    let failure = receive(bag.path(), there.path(), LIMIT).unwrap_err();
    assert!(failure.diagnostics[0].message.contains("no empty folder"));
    assert_eq!(fs::read(there.path().join("mine.txt")).unwrap(), b"x");
}

#[test]
fn results_that_are_not_those_of_their_run_are_told() {
    let manifest = format!(
        "{{\"changing\":false,\"files\":[{{\"path\":\"tables/states.csv\",\"size\":1,\"blake3\":\"{}\"}}]}}",
        "0".repeat(64)
    );
    let files = bag(&[("results/tables/states.csv", b"x"), ("results/manifest.json", manifest.as_bytes())]);
    let remarks = receive_files(&files).unwrap();
    assert!(
        remarks.iter().any(|d| d.place.as_ref().is_some_and(|p| p.file == "results/tables/states.csv")),
        "{remarks:?}"
    );
}

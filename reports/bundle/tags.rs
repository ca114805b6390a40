//! The text files of a bag (RFC 8493): its declaration, its manifests, what is said about it. Written and read here.

use super::hashes::Hashes;
use std::collections::BTreeMap;

/// Name of the declaration.
pub const DECLARATION: &str = "bagit.txt";
/// What it says (RFC 8493, 2.1.1).
pub const DECLARED: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";
/// Name of the file about the bag.
pub const INFO: &str = "bag-info.txt";
/// The algorithms of our manifests: both are in every bag.
pub const ALGORITHMS: [&str; 2] = ["sha256", "sha512"];

/// The hash by this algorithm.
pub fn hash_by<'a>(algorithm: &str, hashes: &'a Hashes) -> &'a str {
    if algorithm == "sha256" { &hashes.sha256 } else { &hashes.sha512 }
}

/// A manifest: a line per file, sorted by path; line ends and `%` in paths are written as RFC 8493, 2.1.3 asks.
pub fn manifest(algorithm: &str, files: &BTreeMap<String, Hashes>) -> String {
    let encoded = |path: &str| path.replace('%', "%25").replace('\n', "%0A").replace('\r', "%0D");
    files.iter().map(|(path, hashes)| format!("{}  {}\n", hash_by(algorithm, hashes), encoded(path))).collect()
}

/// Reads a manifest: hash by path.
///
/// # Errors
/// The line that is none, or a path that stands twice.
pub fn read_manifest(algorithm: &str, text: &str) -> Result<BTreeMap<String, String>, String> {
    let digits = if algorithm == "sha256" { 64 } else { 128 };
    let mut files = BTreeMap::new();
    for (at, line) in text.lines().enumerate() {
        let problem = |what: &str| format!("line {}: {what}", at + 1);
        let (hash, path) = line.split_once([' ', '\t']).ok_or_else(|| problem("no hash and path"))?;
        let hash = hash.to_ascii_lowercase();
        if hash.len() != digits || !hash.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(problem(&format!("no hash of {digits} hex digits")));
        }
        let path = path.trim_start_matches([' ', '\t', '*']);
        let path = path
            .replace("%0A", "\n")
            .replace("%0a", "\n")
            .replace("%0D", "\r")
            .replace("%0d", "\r")
            .replace("%25", "%");
        if files.insert(path.clone(), hash).is_some() {
            return Err(problem(&format!("{path} stands twice")));
        }
    }
    Ok(files)
}

/// The file about the bag: labels and values, long ones on lines that begin with a blank (RFC 8493, 2.2.2).
pub fn info(entries: &[(&str, String)]) -> String {
    let value = |text: &str| text.lines().map(str::trim).filter(|l| !l.is_empty()).collect::<Vec<_>>().join("\n  ");
    entries.iter().map(|(label, text)| format!("{label}: {}\n", value(text))).collect()
}

/// A value of the file about the bag.
pub fn read_info<'a>(text: &'a str, label: &str) -> Option<&'a str> {
    text.lines().find_map(|line| line.strip_prefix(label)?.strip_prefix(':')).map(str::trim)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_manifest_is_read_back() {
        let files: BTreeMap<_, _> =
            ["data/a 100%.txt", "data/b\nc"].map(|path| (path.to_owned(), Hashes::of(path.as_bytes()))).into();
        for algorithm in ALGORITHMS {
            let text = manifest(algorithm, &files);
            assert_eq!(text.lines().count(), 2);
            let back = read_manifest(algorithm, &text).unwrap();
            assert!(files.iter().all(|(path, hashes)| back[path] == hash_by(algorithm, hashes)));
        }
    }

    #[test]
    fn a_broken_manifest_is_refused_with_its_line() {
        let hash = Hashes::of(b"").sha256;
        for text in ["abc  data/a", "data/a", &format!("{hash}  data/a\n{hash}  data/a")] {
            assert!(read_manifest("sha256", text).unwrap_err().starts_with("line "), "{text}");
        }
    }

    #[test]
    fn long_values_go_on_with_a_blank() {
        let text = info(&[("External-Description", "one\ntwo".to_owned()), ("Payload-Oxum", "10.2".to_owned())]);
        assert_eq!(text, "External-Description: one\n  two\nPayload-Oxum: 10.2\n");
        assert_eq!(read_info(&text, "Payload-Oxum"), Some("10.2"));
    }
}

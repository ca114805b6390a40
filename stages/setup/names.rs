//! Names that the study file refers by, and names that go into tasks and folders.

use crate::near_miss::nearest;
use crate::setup::source::Problems;
use crate::setup::yaml::listed;
use std::collections::BTreeMap;

/// The subject of a task for a path: ASCII, distinct for distinct paths.
///
/// What RFC 3986 (3.3) does not allow in a path as it stands is percent-encoded, `%` itself included.
pub fn subject(path: &str) -> String {
    let mut subject = String::new();
    for byte in path.bytes() {
        let plain = byte.is_ascii_alphanumeric() || b"-._~!$&'()*+,;=:@/".contains(&byte);
        if plain { subject.push(char::from(byte)) } else { subject.push_str(&format!("%{byte:02X}")) }
    }
    subject
}

/// The file of a run, whose name has the sheet behind `#` where the file is a workbook. Other names may hold a `#` too.
pub fn file_of(run: &str) -> &str {
    let workbook = |file: &&str| [".xlsx", ".xlsm"].iter().any(|ending| file.to_lowercase().ends_with(ending));
    run.match_indices('#').map(|(at, _)| &run[..at]).find(workbook).unwrap_or(run)
}

/// Looks up the `name` that stands at `path` among the `kind`s there are.
pub(super) fn refer<'m, T>(
    problems: &mut Problems<'_>,
    path: &str,
    kind: &str,
    name: &str,
    known: &'m BTreeMap<String, T>,
) -> Option<&'m T> {
    let found = known.get(name);
    if found.is_none() {
        problems.add(path, format!("there is no {kind} `{name}`"), Some(offer(name, kind, known)));
    }
    found
}

fn offer<T>(name: &str, kind: &str, known: &BTreeMap<String, T>) -> String {
    let names = || known.keys().map(String::as_str);
    match nearest(name, names()) {
        Some(near) => format!("did you mean `{near}`?"),
        None if known.is_empty() => format!("the study defines no {kind}"),
        None => format!("there are {}", listed(names())),
    }
}

/// The name that stands under `key` of the raw entry at `path`, or the only one there is.
pub(super) fn named_or_only<T>(
    problems: &mut Problems<'_>,
    path: &str,
    kind: &str,
    name: Option<&String>,
    known: &BTreeMap<String, T>,
) -> Option<String> {
    if let Some(name) = name {
        return refer(problems, &format!("{path}.{kind}"), kind, name, known).map(|_| name.clone());
    }
    let mut names = known.keys();
    match (names.next(), names.next()) {
        (Some(only), None) => Some(only.clone()),
        (None, _) => {
            let help = format!("add `{kind}` here, and what it means above");
            problems.add(path, format!("`{kind}` is missing, and the study defines none"), Some(help));
            None
        }
        _ => {
            let help = format!("add `{kind}: …`, one of {}", listed(known.keys().map(String::as_str)));
            problems.add(path, format!("`{kind}` is missing, and the study has more than one"), Some(help));
            None
        }
    }
}

/// Whether a name can be that of a folder on every system, and part of a task's name.
pub(super) fn is_plain(name: &str) -> bool {
    !name.is_empty() && name.len() <= 64 && name.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn subjects_are_ascii_and_distinct() {
        assert_eq!(subject("raw/A54/L2.txt"), "raw/A54/L2.txt");
        assert_eq!(subject("raw/é b[1].txt"), "raw/%C3%A9%20b%5B1%5D.txt");
        assert_ne!(subject("raw/%20"), subject("raw/ "));
    }

    #[test]
    fn a_sheet_lies_in_its_workbook() {
        assert_eq!(file_of("raw/S1.xlsx#filling #2"), "raw/S1.xlsx");
        assert_eq!(file_of("raw/a#1.XLSX#L1"), "raw/a#1.XLSX");
        assert_eq!(file_of("raw/a#1.txt"), "raw/a#1.txt");
    }

    #[test]
    fn plain_names_are_folders_everywhere() {
        assert!(is_plain("strict_2-a"));
        for name in ["", "a b", "é", "a/b", "..", "a.b"] {
            assert!(!is_plain(name), "{name}");
        }
    }
}

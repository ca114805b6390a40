//! What differs between two study files, key by key as typed, and between two sets of raw exports; and how one change
//! is put into the first. It computes no results.

use serde::Serialize;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// Keys that are about the report and move no number of the analysis.
const WORDS: [&str; 11] = [
    "study",
    "authors",
    "licence",
    "date",
    "abstract",
    "keywords",
    "protocol",
    "report",
    "claims",
    "variants",
    "earlier_results",
];

/// What kind of thing a change is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// An entry of the study file that can move numbers.
    Setting,
    /// An entry of the study file that is about the report only.
    Words,
    /// A raw export.
    Raw,
}

/// A difference between the two sides.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// What kind of thing it is.
    pub kind: Kind,
    /// Its path in the study file, or of the raw export.
    pub what: String,
    /// First side; none where it is not written there (a default), or the export is not there.
    pub old: Option<String>,
    /// Second side.
    pub new: Option<String>,
    /// Keys from the top of the study file.
    #[serde(skip)]
    keys: Vec<String>,
    #[serde(skip)]
    value: Option<Value>,
}

impl Change {
    /// The first side's study file with this change.
    pub fn put_into(&self, document: &mut Value) {
        if self.keys.is_empty() {
            return;
        }
        let Some((last, above)) = self.keys.split_last() else { return };
        let mut at = document;
        for key in above {
            at = match at {
                Value::Array(items) => match key.parse::<usize>().ok().and_then(|index| items.get_mut(index)) {
                    Some(item) => item,
                    None => return,
                },
                other => {
                    if !other.is_object() {
                        *other = Value::Object(serde_json::Map::new());
                    }
                    &mut other[key.as_str()]
                }
            };
        }
        match (at, &self.value) {
            (Value::Array(items), Some(value)) => {
                if let Some(item) = last.parse::<usize>().ok().and_then(|index| items.get_mut(index)) {
                    *item = value.clone();
                }
            }
            (Value::Object(map), None) => drop(map.remove(last)),
            (at, Some(value)) => {
                if !at.is_object() {
                    *at = Value::Object(serde_json::Map::new());
                }
                at[last.as_str()] = value.clone();
            }
            _ => {}
        }
    }
}

/// Takes out of a study file what moves no number, so that it is not computed for nothing.
pub fn bare(document: &mut Value) {
    if let Some(map) = document.as_object_mut() {
        for key in WORDS.iter().filter(|key| !["study", "date"].contains(key)) {
            map.remove(*key);
        }
    }
}

/// What differs between two study files.
pub fn settings(old: &Value, new: &Value) -> Vec<Change> {
    let mut changes = Vec::new();
    walk(Some(old), Some(new), &mut Vec::new(), &mut changes);
    changes
}

fn walk(old: Option<&Value>, new: Option<&Value>, keys: &mut Vec<String>, changes: &mut Vec<Change>) {
    match (old, new) {
        (a, b) if a == b => {}
        (Some(Value::Object(a)), Some(Value::Object(b))) => {
            for key in a.keys().chain(b.keys()).collect::<BTreeSet<_>>() {
                keys.push(key.clone());
                walk(a.get(key), b.get(key), keys, changes);
                keys.pop();
            }
        }
        (Some(Value::Array(a)), Some(Value::Array(b))) if a.len() == b.len() && a.iter().all(Value::is_object) => {
            for (index, (a, b)) in a.iter().zip(b).enumerate() {
                keys.push(index.to_string());
                walk(Some(a), Some(b), keys, changes);
                keys.pop();
            }
        }
        // A key without a value, and a section of the stages that only one side writes, are told setting by setting.
        (None | Some(Value::Null), Some(Value::Object(b)))
            if keys.first().is_some_and(|k| k == "stages") || keys.is_empty() =>
        {
            each(b, keys, |value, keys| walk(None, Some(value), keys, changes));
        }
        (Some(Value::Object(a)), None | Some(Value::Null))
            if keys.first().is_some_and(|k| k == "stages") || keys.is_empty() =>
        {
            each(a, keys, |value, keys| walk(Some(value), None, keys, changes));
        }
        (old, new) => changes.push(Change {
            kind: if keys.first().is_some_and(|key| WORDS.contains(&key.as_str())) {
                Kind::Words
            } else {
                Kind::Setting
            },
            what: path(keys),
            old: old.map(brief),
            new: new.map(brief),
            keys: keys.clone(),
            value: new.cloned(),
        }),
    }
}

fn each(map: &serde_json::Map<String, Value>, keys: &mut Vec<String>, mut visit: impl FnMut(&Value, &mut Vec<String>)) {
    for (key, value) in map {
        keys.push(key.clone());
        visit(value, keys);
        keys.pop();
    }
}

/// `raw[2].files`, as everywhere else: entries of lists count from 1.
fn path(keys: &[String]) -> String {
    let mut text = String::new();
    for key in keys {
        match key.parse::<usize>() {
            Ok(index) if !text.is_empty() => text.push_str(&format!("[{}]", index + 1)),
            _ if text.is_empty() => text.push_str(key),
            _ => text.push_str(&format!(".{key}")),
        }
    }
    text
}

fn brief(value: &Value) -> String {
    const LONGEST: usize = 80;
    let text = match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    }
}

/// What differs between two sets of raw exports, hash by path.
pub fn raw(old: &BTreeMap<String, String>, new: &BTreeMap<String, String>) -> Vec<Change> {
    let paths: BTreeSet<&String> = old.keys().chain(new.keys()).collect();
    let side =
        |hash: Option<&String>| hash.map(|hash| format!("BLAKE3 {}…", hash.chars().take(12).collect::<String>()));
    let differs = paths.into_iter().filter(|path| old.get(*path) != new.get(*path));
    differs
        .map(|path| Change {
            kind: Kind::Raw,
            what: path.clone(),
            old: side(old.get(path)),
            new: side(new.get(path)),
            keys: Vec::new(),
            value: None,
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use serde_json::json;

    fn pair() -> (Value, Value) {
        let old = json!({"study": "A", "samples": {"S": {"volume_fraction": "0.50"}}, "raw": [{"files": "raw/*.txt"}],
            "stages": {"fit": {"skip": true}}});
        let new = json!({"study": "B", "samples": {"S": {"volume_fraction": "0.51"}}, "raw": [{"files": "raw/*.csv"}],
            "stages": {"clean": {"spike": {"threshold": 4, "window": 9}}}});
        (old, new)
    }

    #[test]
    fn each_difference_is_one_change_with_its_path() {
        let (old, new) = pair();
        let found = settings(&old, &new);
        let what: Vec<&str> = found.iter().map(|change| change.what.as_str()).collect();
        let wanted = [
            "raw[1].files",
            "samples.S.volume_fraction",
            "stages.clean.spike.threshold",
            "stages.clean.spike.window",
            "stages.fit.skip",
            "study",
        ];
        assert_eq!(what, wanted);
        assert_eq!(found[5].kind, Kind::Words);
        assert!(settings(&old, &old).is_empty());
    }

    #[test]
    fn all_changes_put_in_give_the_second_side() {
        let (old, new) = pair();
        let mut mixed = old.clone();
        settings(&old, &new).iter().for_each(|change| change.put_into(&mut mixed));
        assert_eq!(mixed["stages"]["clean"], new["stages"]["clean"]);
        assert_eq!(mixed["stages"]["fit"], json!({}));
        assert_eq!((&mixed["raw"], &mixed["samples"]), (&new["raw"], &new["samples"]));
    }

    #[test]
    fn raw_exports_are_new_gone_or_changed() {
        let set = |pairs: &[(&str, &str)]| pairs.iter().map(|(p, h)| ((*p).to_owned(), (*h).to_owned())).collect();
        let found = raw(&set(&[("a", "1"), ("b", "2"), ("c", "3")]), &set(&[("a", "1"), ("b", "9"), ("d", "4")]));
        let told: Vec<_> = found.iter().map(|c| (c.what.as_str(), c.old.is_some(), c.new.is_some())).collect();
        assert_eq!(told, [("b", true, true), ("c", true, false), ("d", false, true)]);
    }
}

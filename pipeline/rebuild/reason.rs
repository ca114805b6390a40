//! Why a task is out of date, as typed values, and the one place that puts them into words.

use super::declared::Declared;
use crate::store::record::{Leaf, Record};
use serde::Serialize;
use std::collections::BTreeMap;

/// What kind of thing changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// The task was not part of the last whole run.
    New,
    /// A setting.
    Setting,
    /// A raw file.
    Raw,
    /// The code of the stage.
    Code,
    /// The outside program.
    Tool,
    /// What another task gave, or (without old and new) will give.
    Input,
    /// Something that the store or `results/` should hold is not there.
    Missing,
    /// A stored object is not what it was.
    Damaged,
    /// A file of `results/` is not as we wrote it.
    Edited,
    /// A task before it failed.
    Failed,
}

/// One reason.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Reason {
    /// Kind.
    pub kind: Kind,
    /// Path of the setting or file, name of the input's producer, of the tool, of the object.
    pub what: String,
    /// Old value: as written in the study file, a hash, a version.
    pub old: Option<String>,
    /// New value.
    pub new: Option<String>,
    /// Line in the study file.
    pub line: Option<u64>,
}

impl Reason {
    /// A reason without values.
    pub fn new(kind: Kind, what: impl Into<String>) -> Self {
        Self { kind, what: what.into(), old: None, new: None, line: None }
    }

    fn values(self, old: Option<String>, new: Option<String>) -> Self {
        Self { old, new, ..self }
    }

    /// The reason in words: `setting stages.clean.spike.window 7 -> 9 (study.yaml:61)`.
    pub fn wording(&self, study_file: &str) -> String {
        let what = &self.what;
        let change = match (&self.old, &self.new) {
            (Some(old), Some(new)) => format!(" {} -> {}", brief(old), brief(new)),
            (None, Some(new)) => format!(" is new: {}", brief(new)),
            (Some(old), None) => format!(" is gone, was {}", brief(old)),
            (None, None) => String::new(),
        };
        let place = self.line.map_or_else(String::new, |line| format!(" ({study_file}:{line})"));
        match self.kind {
            Kind::New => "not computed before".into(),
            Kind::Setting => format!("setting {what}{change}{place}"),
            Kind::Raw => format!("raw export {what}{change}"),
            Kind::Code => format!("the code of {what} changed"),
            Kind::Tool => format!("{what}{change}"),
            Kind::Input if change.is_empty() => format!("depends on {what}, which is out of date"),
            Kind::Input => format!("what {what} gives changed"),
            Kind::Missing => format!("{what} is missing"),
            Kind::Damaged => format!("{what} is damaged"),
            Kind::Edited => format!("{what} is not as it was written"),
            Kind::Failed => format!("needs {what}, which was not done"),
        }
    }
}

/// A hash is shortened, a long value cut; text as people write it stays.
fn brief(text: &str) -> String {
    const LONGEST: usize = 60;
    match text.char_indices().nth(LONGEST) {
        _ if text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit()) => text[..12].into(),
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.into(),
    }
}

/// What differs between a record and a declaration, each difference once.
pub fn differences(old: &Record, new: &Declared) -> Vec<Reason> {
    let mut reasons = settings(&old.settings, &new.settings);
    reasons.extend(inputs(old, new));
    if old.code != new.code || old.stage != new.stage {
        reasons.push(Reason::new(Kind::Code, format!("stage {}", new.stage)));
    }
    if old.tool != new.tool {
        let name = new.tool.as_ref().or(old.tool.as_ref()).map_or("", |(name, _)| name);
        let version = |tool: &Option<(String, String)>| tool.as_ref().map(|(_, version)| version.clone());
        reasons.push(Reason::new(Kind::Tool, name).values(version(&old.tool), version(&new.tool)));
    }
    let all_known = new.inputs.iter().all(|reads| reads.hash.is_some());
    if reasons.is_empty() && all_known {
        reasons.push(Reason::new(Kind::Code, format!("the plan for stage {}", new.stage)));
    }
    reasons
}

fn inputs(old: &Record, new: &Declared) -> Vec<Reason> {
    let before: BTreeMap<&str, _> = old.inputs.iter().map(|read| (read.name.as_str(), read)).collect();
    let mut reasons = Vec::new();
    for reads in &new.inputs {
        let was = before.get(reads.name.as_str()).map(|read| read.hash);
        if reads.hash.is_some() && was != reads.hash {
            let kind = if reads.raw { Kind::Raw } else { Kind::Input };
            let hash = |hash: Option<_>| hash.map(|hash: crate::store::digest::Digest| hash.to_string());
            reasons.push(Reason::new(kind, &reads.from).values(hash(was), hash(reads.hash)));
        }
    }
    let gone = old.inputs.iter().filter(|read| !new.inputs.iter().any(|reads| reads.name == read.name));
    reasons.extend(gone.map(|read| {
        let kind = if read.raw { Kind::Raw } else { Kind::Input };
        Reason::new(kind, &read.from).values(Some(read.hash.to_string()), None)
    }));
    reasons
}

/// Leaves are matched by role and path below it, so that a task that is given another geometry shows what differs.
fn settings(old: &[Leaf], new: &[Leaf]) -> Vec<Reason> {
    type Side<'a> = BTreeMap<(&'a str, &'a str), &'a Leaf>;
    let by_role = |leaves| -> Side<'_> { <[Leaf]>::iter(leaves).map(|l| ((&*l.role, &*l.leaf), l)).collect() };
    let (before, after) = (by_role(old), by_role(new));
    let mut reasons: Vec<Reason> = Vec::new();
    let changed = new.iter().filter_map(|now| match before.get(&(&*now.role, &*now.leaf)) {
        Some(was) if was.value == now.value => None,
        was => Some(setting(was.copied(), Some(now))),
    });
    let gone = old.iter().filter(|was| !after.contains_key(&(&*was.role, &*was.leaf)));
    for reason in changed.chain(gone.map(|was| setting(Some(was), None))) {
        if !reasons.contains(&reason) {
            reasons.push(reason);
        }
    }
    reasons
}

fn setting(old: Option<&Leaf>, new: Option<&Leaf>) -> Reason {
    let line = new.and_then(|leaf| leaf.line);
    let as_written = match (old, new) {
        (Some(old), Some(new)) => old.above == new.above && old.written != new.written,
        _ => true,
    };
    let path = match new.or(old) {
        Some(leaf) if as_written => leaf.above.as_ref().unwrap_or(&leaf.path).clone(),
        Some(leaf) => leaf.path.clone(),
        None => String::new(),
    };
    let text = |leaf: &Leaf| match &leaf.written {
        Some(text) if as_written => text.clone(),
        Some(_) => leaf.value.clone(),
        None => format!("{} (default)", leaf.value),
    };
    Reason { line, ..Reason::new(Kind::Setting, path).values(old.map(text), new.map(text)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn leaf(path: &str, value: &str, written: Option<(&str, u64)>, above: Option<&str>) -> Leaf {
        Leaf {
            role: "r".into(),
            leaf: path.rsplit('.').next().unwrap().into(),
            path: path.into(),
            value: value.into(),
            written: written.map(|(text, _)| text.into()),
            line: written.map(|(_, line)| line),
            above: above.map(Into::into),
        }
    }

    fn words(old: &[Leaf], new: &[Leaf]) -> Vec<String> {
        settings(old, new).iter().map(|reason| reason.wording("study.yaml")).collect()
    }

    #[test]
    fn a_setting_shows_both_texts_and_its_line() {
        let old = [leaf("stages.clean.window", "7", None, None)];
        let new = [leaf("stages.clean.window", "9", Some(("9", 61)), None)];
        assert_eq!(words(&old, &new), ["setting stages.clean.window 7 (default) -> 9 (study.yaml:61)"]);
        assert_eq!(words(&new, &old), ["setting stages.clean.window 9 -> 7 (default)"]);
        assert!(words(&new, &new).is_empty());
    }

    #[test]
    fn a_quantity_is_one_setting_though_it_is_two_numbers() {
        let side = |value: &str, u: &str, text: &str| {
            let above = Some("geometries.g.radius");
            [
                leaf("geometries.g.radius.value", value, Some((text, 5)), above),
                leaf("geometries.g.radius.u", u, Some((text, 5)), above),
            ]
        };
        let old = side("0.02", "0.0001", "20.0(1) mm");
        let new = side("0.025", "0.0002", "25.0(2) mm");
        assert_eq!(words(&old, &new), ["setting geometries.g.radius 20.0(1) mm -> 25.0(2) mm (study.yaml:5)"]);
    }
}

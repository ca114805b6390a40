//! The study file as text: its lines, and the place and wording of everything in it by path.
//! What it means is elsewhere.
//!
//! Paths join keys with `.`; entries of lists have their number from 1 in brackets: `samples.A54.liquid`,
//! `raw[2].files`. A list is a leaf by itself too, because settings are compared list by list.

use crate::setup::yaml;
use pipeline::diagnostic::{Diagnostic, Place};
use pipeline::stage::Written;
use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_json::Value;
use serde_yaml::{Location, Spanned};
use std::collections::BTreeMap;
use std::fmt;

/// The study file, read generically.
pub(super) struct Source {
    file: String,
    text: String,
    spots: BTreeMap<String, Written>,
    leaves: BTreeMap<String, Written>,
    value: Value,
}

impl Source {
    /// Reads the text without knowing what may stand in it.
    ///
    /// # Errors
    /// What no study file may have: bad syntax, duplicate keys.
    pub(super) fn read(file: &str, text: String) -> Result<Self, Vec<Diagnostic>> {
        let root: Node = yaml::read(&text, file)?;
        let mut source =
            Self { file: file.to_owned(), text, spots: BTreeMap::new(), leaves: BTreeMap::new(), value: root.value() };
        source.enter(String::new(), &root);
        Ok(source)
    }

    /// The text.
    pub(super) fn text(&self) -> &str {
        &self.text
    }

    /// Every leaf as written.
    pub(super) fn leaves(&self) -> &BTreeMap<String, Written> {
        &self.leaves
    }

    /// Whether something is written under the path.
    pub(super) fn has(&self, path: &str) -> bool {
        self.spots.contains_key(path)
    }

    /// The value under the path as YAML reads it without types; null where there is none.
    pub(super) fn value(&self, path: &[&str]) -> &Value {
        path.iter().fold(&self.value, |value, key| &value[*key])
    }

    /// The place of a path, or of the nearest thing around it that is written.
    pub(super) fn place(&self, path: &str) -> Place {
        let mut path = path;
        loop {
            if let Some(spot) = self.spots.get(path) {
                return place(&self.file, &self.text, spot.line, spot.column);
            }
            match path.rfind(['.', '[']) {
                Some(end) => path = &path[..end],
                None => return Place::file(&self.file),
            }
        }
    }

    fn enter(&mut self, path: String, node: &Node) {
        match &node.content {
            Content::Scalar(_) => {
                self.leaves.insert(path.clone(), self.written(node));
            }
            Content::List(items) => {
                self.leaves.insert(path.clone(), self.written(node));
                for (index, item) in items.iter().enumerate() {
                    self.enter(format!("{path}[{}]", index + 1), item);
                }
            }
            Content::Map(entries) => {
                for (key, child) in entries {
                    let inner = if path.is_empty() { key.value.clone() } else { format!("{path}.{}", key.value) };
                    self.enter(inner.clone(), child);
                    // A group of settings is shown at its name; its first entry may be lines away.
                    if matches!(child.content, Content::Map(_)) {
                        let (line, column) = (key.defined.line(), key.defined.column());
                        self.spots.insert(inner, Written { text: key.value.clone(), line, column });
                    }
                }
            }
        }
        let spot = self.written(node);
        if !path.is_empty() {
            self.spots.entry(path).or_insert(spot);
        }
    }

    fn written(&self, node: &Node) -> Written {
        Written { text: self.wording(node), line: node.at.line(), column: node.at.column() }
    }

    /// The words of the file; lists and maps in one line.
    fn wording(&self, node: &Node) -> String {
        match &node.content {
            Content::Scalar(value) => slice(&self.text, node.at).unwrap_or_else(|| value.to_string()),
            Content::List(items) => {
                let items: Vec<_> = items.iter().map(|item| self.wording(item)).collect();
                format!("[{}]", items.join(", "))
            }
            Content::Map(entries) => {
                let entries: Vec<_> =
                    entries.iter().map(|(key, item)| format!("{}: {}", key.value, self.wording(item))).collect();
                format!("{{{}}}", entries.join(", "))
            }
        }
    }
}

/// The text of a span.
fn slice(text: &str, at: Location) -> Option<String> {
    let span = at.span();
    let start = usize::try_from(span.byte_offset()?).ok()?;
    let end = start.checked_add(usize::try_from(span.byte_len()?).ok()?)?;
    text.get(start..end).map(|slice| slice.trim().to_owned())
}

/// A place with its line.
pub(super) fn place(file: &str, text: &str, line: u64, column: u64) -> Place {
    let index = usize::try_from(line.saturating_sub(1)).unwrap_or(usize::MAX);
    let shown = text.lines().nth(index).map(|line| line.trim_end().to_owned());
    Place { file: file.to_owned(), line: Some(line), column: Some(column), text: shown }
}

/// A piece of YAML with its place.
struct Node {
    content: Content,
    at: Location,
}

enum Content {
    Scalar(Value),
    List(Vec<Node>),
    Map(Vec<(Spanned<String>, Node)>),
}

impl Node {
    fn value(&self) -> Value {
        match &self.content {
            Content::Scalar(value) => value.clone(),
            Content::List(items) => items.iter().map(Self::value).collect(),
            Content::Map(entries) => {
                Value::Object(entries.iter().map(|(key, item)| (key.value.clone(), item.value())).collect())
            }
        }
    }
}

impl<'de> Deserialize<'de> for Node {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let spanned = Spanned::<Content>::deserialize(deserializer)?;
        Ok(Self { content: spanned.value, at: spanned.defined })
    }
}

impl<'de> Deserialize<'de> for Content {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(ContentVisitor)
    }
}

struct ContentVisitor;

impl<'de> Visitor<'de> for ContentVisitor {
    type Value = Content;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a value, a list or a map")
    }

    fn visit_bool<E>(self, value: bool) -> Result<Content, E> {
        Ok(Content::Scalar(value.into()))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Content, E> {
        Ok(Content::Scalar(value.into()))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Content, E> {
        Ok(Content::Scalar(value.into()))
    }

    fn visit_f64<E>(self, value: f64) -> Result<Content, E> {
        Ok(Content::Scalar(value.into()))
    }

    fn visit_str<E>(self, value: &str) -> Result<Content, E> {
        Ok(Content::Scalar(value.into()))
    }

    fn visit_unit<E>(self) -> Result<Content, E> {
        Ok(Content::Scalar(Value::Null))
    }

    fn visit_none<E>(self) -> Result<Content, E> {
        Ok(Content::Scalar(Value::Null))
    }

    fn visit_some<D: Deserializer<'de>>(self, deserializer: D) -> Result<Content, D::Error> {
        Content::deserialize(deserializer)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Content, A::Error> {
        let mut items = Vec::new();
        while let Some(item) = list.next_element()? {
            items.push(item);
        }
        Ok(Content::List(items))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Content, A::Error> {
        let mut entries = Vec::new();
        while let Some(entry) = map.next_entry()? {
            entries.push(entry);
        }
        Ok(Content::Map(entries))
    }
}

/// Problems of a study file, gathered so that all are told together.
pub(super) struct Problems<'a> {
    source: &'a Source,
    found: Vec<Diagnostic>,
}

impl<'a> Problems<'a> {
    /// None yet.
    pub(super) fn new(source: &'a Source) -> Self {
        Self { source, found: Vec::new() }
    }

    /// The study file.
    pub(super) fn source(&self) -> &'a Source {
        self.source
    }

    /// A problem at a path of the study file.
    pub(super) fn add(&mut self, path: &str, message: impl Into<String>, help: Option<String>) {
        let diagnostic = Diagnostic::new(message).at(self.source.place(path));
        self.push(Diagnostic { help, ..diagnostic });
    }

    /// A problem with its own place.
    pub(super) fn push(&mut self, diagnostic: Diagnostic) {
        if !self.found.contains(&diagnostic) {
            self.found.push(diagnostic);
        }
    }

    /// The value, or the problem at the path.
    pub(super) fn keep<T>(&mut self, path: &str, result: Result<T, String>) -> Option<T> {
        result.map_err(|message| self.add(path, message, None)).ok()
    }

    /// All, in the order of the file.
    pub(super) fn into_sorted(mut self) -> Vec<Diagnostic> {
        let key = |d: &Diagnostic| d.place.as_ref().map(|p| (p.line, p.column));
        self.found.sort_by_key(key);
        self.found
    }
}

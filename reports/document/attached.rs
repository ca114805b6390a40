//! What lies in the PDF beside its pages, and in the folder of its source: the published tables, the study file as it
//! was read, the texts of the authors' own sections. Names and bytes only; nothing is computed.

use pipeline::diagnostic::{Diagnostic, Place};
use pipeline::stage::{Context, Output, Produced};
use serde::Serialize;
use serde_json::Value;
use stages::setup::document::OwnSection;

/// Folder of attachments in the document's source.
pub const FOLDER: &str = "attached";
/// Folder of the authors' own files in the document's source, below it their paths in the study.
pub const OWN: &str = "own";
/// What a section task gives.
pub const OUTPUTS: [Output; 1] = [Output { name: "file", bulky: false }];

/// A file that the PDF carries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Attachment {
    /// Path in the document's source.
    pub file: String,
    /// Media type.
    pub mime: &'static str,
    /// By the standard's words: `data`, or `source` of the document.
    pub relationship: &'static str,
    /// What it is.
    pub description: String,
}

/// The attachments of a document with these tables, the study file last.
pub fn attachments<'a>(tables: impl Iterator<Item = &'a str>) -> Vec<Attachment> {
    let table = |name: &str| Attachment {
        file: format!("{FOLDER}/{name}.csv"),
        mime: "text/csv",
        relationship: "data",
        description: format!("Table {name}, all columns in full precision"),
    };
    let study = Attachment {
        file: format!("{FOLDER}/study.yaml"),
        mime: "application/yaml",
        relationship: "source",
        description: "The study file as it was read, without comments".to_owned(),
    };
    tables.map(table).chain([study]).collect()
}

/// Work of a section task: the input `file`, as it is. Setting `own`: path in the study.
///
/// # Errors
/// If a text is not UTF-8.
pub fn work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let path: String = context.settings("own")?;
    let bytes = context.input("file")?;
    if is_text(&path) && std::str::from_utf8(&bytes).is_err() {
        let error = Diagnostic::new("this section of the report is not UTF-8").at(Place::file(&path));
        return Err(vec![error.help("save it as UTF-8 in the editor")]);
    }
    Ok(Produced::default().with("file", bytes.to_vec()))
}

fn is_text(path: &str) -> bool {
    path.ends_with(".typ") || path.ends_with(".txt")
}

/// Files of the authors' own sections, each once, in the order of the sections.
pub fn files(sections: &[OwnSection]) -> Vec<&str> {
    let mut out: Vec<&str> = Vec::new();
    for file in sections.iter().flat_map(|s| std::iter::once(&s.file).chain(&s.uses)) {
        if !out.contains(&file.as_str()) {
            out.push(file);
        }
    }
    out
}

/// A value as YAML: blocks of keys and lists, every text in quotes.
pub fn yaml(value: &Value) -> String {
    let head =
        "# The study file as it was read: its meaning is the same; comments and the order of keys are not kept.\n";
    let mut out = head.to_owned();
    block(value, 0, &mut out);
    out
}

fn block(value: &Value, depth: usize, out: &mut String) {
    let indent = "  ".repeat(depth);
    match value {
        Value::Object(fields) if !fields.is_empty() => {
            for (key, value) in fields {
                out.push_str(&format!("{indent}{}:", quoted(key)));
                below(value, depth, out);
            }
        }
        Value::Array(items) if !items.is_empty() => {
            for item in items {
                out.push_str(&format!("{indent}-"));
                below(item, depth, out);
            }
        }
        // JSON's own form of what is left is YAML as well (YAML 1.2.2, 1.2).
        other => out.push_str(&format!("{indent}{other}\n")),
    }
}

/// What stands behind a key or a dash: on the same line where it is a single value.
fn below(value: &Value, depth: usize, out: &mut String) {
    let many = value.as_object().is_some_and(|f| !f.is_empty()) || value.as_array().is_some_and(|i| !i.is_empty());
    if many {
        out.push('\n');
        block(value, depth + 1, out);
    } else {
        out.push_str(&format!(" {value}\n"));
    }
}

fn quoted(key: &str) -> String {
    Value::from(key).to_string()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;
    use std::path::{Path, PathBuf};

    fn load(folder: &Path) -> stages::setup::Study {
        let tables = crate::tables::published::published();
        let tables: BTreeMap<&str, Vec<&str>> =
            tables.into_iter().map(|t| (t.name, t.columns.iter().map(|c| c.name).collect())).collect();
        stages::setup::load(folder, &tables).unwrap()
    }

    fn files_below(folder: &Path, prefix: &Path, found: &mut Vec<PathBuf>) {
        for entry in std::fs::read_dir(folder).unwrap().flatten() {
            let path = entry.path();
            if path.is_dir() {
                files_below(&path, prefix, found);
            } else {
                found.push(path.strip_prefix(prefix).unwrap().to_owned());
            }
        }
    }

    /// Whoever has only the PDF has this file: it must say the same as the one that the study was run with.
    #[test]
    fn the_attached_study_file_means_the_same() {
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-project");
        let copy = tempfile::tempdir().unwrap();
        let mut raw = Vec::new();
        files_below(&demo.join("raw"), &demo, &mut raw);
        for path in raw {
            std::fs::create_dir_all(copy.path().join(&path).parent().unwrap()).unwrap();
            std::fs::write(copy.path().join(&path), "").unwrap();
        }
        let study = load(&demo);
        std::fs::write(copy.path().join("study.yaml"), yaml(&study.as_read)).unwrap();
        let again = load(copy.path());
        // Its bytes and the places in it differ, and nothing else.
        let (text, written) = (study.text.clone(), study.written.clone());
        assert_eq!(stages::setup::Study { text, written, ..again }, study);
    }

    #[test]
    fn a_hostile_text_stays_text() {
        let value =
            serde_json::json!({"a: b": ["#x", "- y", "l1\nl2", "\u{1F600} \u{202e}", true, null, {}, []], "no": "no"});
        let text = yaml(&value);
        assert!(text.contains("\"a: b\":\n  - \"#x\"\n") && text.contains("\"no\": \"no\"\n"), "{text}");
        assert!(text.contains(r#"- "l1\nl2""#) && text.contains("- {}\n"), "{text}");
    }
}

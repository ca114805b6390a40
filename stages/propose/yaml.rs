//! Layouts and words as YAML that can be pasted into a study file. What they should be is decided elsewhere.

use super::proposal::Proposal;
use crate::ingest::layout::{Column, Encoding, Layout, Role, Thousands};
use std::fmt::Write;

/// A text as a YAML scalar, inside lists and maps too: plain where that cannot be mistaken.
pub(super) fn scalar(text: &str) -> String {
    let first = text.chars().next();
    let plain = first.is_some_and(char::is_alphabetic)
        && !text.ends_with(' ')
        && text.chars().all(|c| c.is_alphanumeric() || matches!(c, '_' | '.' | '/' | '-' | ' ' | '(' | ')'));
    let words = ["true", "false", "null", "yes", "no", "on", "off", "y", "n", "nan", "inf"];
    if plain && !words.contains(&text.to_lowercase().as_str()) {
        return text.to_owned();
    }
    quoted(text)
}

/// A text as a YAML scalar in quotes.
pub(super) fn quoted(text: &str) -> String {
    if text.chars().all(printable) {
        return format!("'{}'", text.replace('\'', "''"));
    }
    let escaped = |c: char| match c {
        '"' | '\\' => format!("\\{c}"),
        c if printable(c) => c.to_string(),
        c => format!("\\U{:08X}", u32::from(c)),
    };
    format!("\"{}\"", text.chars().map(escaped).collect::<String>())
}

/// Whether a character may stand as itself within a line of YAML (YAML 1.2.2, 5.1 and 5.4).
fn printable(c: char) -> bool {
    let line_end = matches!(c, '\u{85}' | '\u{2028}' | '\u{2029}');
    !(c.is_control() || line_end || matches!(c, '\u{feff}' | '\u{fffe}' | '\u{ffff}'))
}

/// Words of an export as they may stand in a comment.
pub(super) fn comment(text: &str) -> String {
    text.chars().map(|c| if printable(c) { c } else { ' ' }).collect()
}

/// A layout under its name, with what is known only by the way as comments; `indent` blanks before each line.
pub(super) fn layout(name: &str, layout: &Layout, proposal: &Proposal, indent: usize) -> String {
    let mut out = format!("{}:\n", scalar(name));
    let mut line = |text: String| {
        let _ = writeln!(out, "  {text}");
    };
    line(format!("encoding: {}", encoding(layout.encoding)));
    line(format!("separator: {}", scalar(layout.separator.name())));
    line(format!("decimal: '{}'", layout.decimal.sign()));
    if let Some(thousands) = layout.thousands {
        line(format!("thousands: '{}'", Thousands::sign(thousands)));
    }
    if let Some(comment) = &layout.comment {
        line(format!("comment: {}", scalar(comment)));
    }
    if let Some(pattern) = &layout.step_starts {
        line(format!("step_starts: {}", scalar(pattern)));
    }
    line("columns:".to_owned());
    for (role, column) in layout.columns.mapped() {
        line(format!("  {}: {}", role.name(), map(role, column)));
    }
    if layout.time_restarts {
        line("time_restarts: true     # the time begins anew in each step".to_owned());
    }
    let told = match &proposal.inertia {
        Some(evidence) => format!("the export says `{}`", comment(evidence)),
        None => {
            "the export does not say; raw is the safe reading, because a wrong `true` shows in the control".to_owned()
        }
    };
    line(format!("torque_includes_inertia: {}     # {told}", layout.torque_includes_inertia));
    indented(&out, indent)
}

fn map(role: Role, column: &Column) -> String {
    let mut parts = vec![format!("name: {}", scalar(&column.name))];
    parts.extend(column.which.map(|which| format!("which: {which}")));
    if role.dimension().is_some() {
        parts.extend(column.unit.as_ref().map(|unit| format!("unit: {}", scalar(unit))));
        parts.extend(column.format.as_ref().map(|format| format!("format: {}", scalar(format))));
    }
    format!("{{{}}}", parts.join(", "))
}

fn encoding(encoding: Encoding) -> String {
    serde_json::to_value(encoding).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

/// Every line moved to the right.
pub(super) fn indented(text: &str, blanks: usize) -> String {
    text.lines().map(|line| format!("{:blanks$}{line}\n", "")).collect()
}

#[cfg(test)]
#[allow(clippy::panic)]
mod tests {
    use super::*;

    /// A stray control sign of an export once made the whole study file unreadable.
    #[test]
    fn signs_that_yaml_forbids_stand_nowhere() {
        for sign in ['\0', '\n', '\r', '\u{7f}', '\u{85}', '\u{2028}', '\u{feff}'] {
            let text = format!("a{sign}b");
            let study = format!("study: {}\nabstract: {} # {}\n", scalar(&text), quoted(&text), comment(&text));
            let found = crate::setup::typed(&study).unwrap_or_else(|problems| panic!("{sign:?}: {problems:?}"));
            assert_eq!((&found["study"], &found["abstract"]), (&text.clone().into(), &text.into()));
        }
    }

    #[test]
    fn words_are_quoted_where_they_must() {
        for (text, written) in [
            ("Part label", "Part label"),
            ("no", "'no'"),
            ("uN.m", "uN.m"),
            ("1/s", "'1/s'"),
            ("%", "'%'"),
            ("t [s]", "'t [s]'"),
            ("d'eau", "'d''eau'"),
            ("a\tb", "\"a\\U00000009b\""),
            ("\u{7f}\"", "\"\\U0000007F\\\"\""),
            ("", "''"),
            ("a: b", "'a: b'"),
        ] {
            assert_eq!(scalar(text), written);
        }
    }
}

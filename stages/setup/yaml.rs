//! The YAML library's door: reading with limits, and its errors as ours, with place and near miss.
//! What the study file may say is in `document.rs`.

use crate::near_miss::nearest;
use crate::setup::source::place;
use pipeline::diagnostic::Diagnostic;
use serde::de::DeserializeOwned;
use serde_yaml::{Error, MessageFormatter, UserMessageFormatter};

/// Reads `text` into `T`.
///
/// Limits keep a hostile file from costing time, memory or stack: a study has some hundred nodes, eight deep at most.
///
/// # Errors
/// The first mistake that the library meets, at its place in `file`.
pub(super) fn read<T: DeserializeOwned>(text: &str, file: &str) -> Result<T, Vec<Diagnostic>> {
    let options = serde_yaml::options! {
        strict_booleans: true,
        with_snippet: false,
        budget: serde_yaml::budget! { max_nodes: 50_000, max_depth: 20, max_aliases: 200 },
    };
    serde_yaml::from_str_with_options(text, options).map_err(|error| vec![translate(&error, text, file)])
}

fn translate(error: &Error, text: &str, file: &str) -> Diagnostic {
    let (message, help) = word(innermost(error));
    let diagnostic = Diagnostic { message, place: None, help };
    match error.location().filter(|at| at.line() > 0) {
        Some(at) => diagnostic.at(place(file, text, at.line(), at.column())),
        None => diagnostic.at(pipeline::diagnostic::Place::file(file)),
    }
}

fn innermost(mut error: &Error) -> &Error {
    while let Error::AliasError { error: inner, .. } | Error::WithSnippet { error: inner, .. } = error {
        error = inner;
    }
    error
}

/// Message and help.
fn word(error: &Error) -> (String, Option<String>) {
    match error {
        Error::SerdeUnknownField { field, expected, .. } => {
            (format!("unknown key `{field}`"), Some(choose(field, expected)))
        }
        Error::SerdeUnknownVariant { variant, expected, .. } => {
            (format!("`{variant}` is not one of the choices"), Some(choose(variant, expected)))
        }
        Error::SerdeMissingField { field, .. } => {
            (format!("`{field}` is missing"), Some(format!("add `{field}: …` beside this key")))
        }
        Error::DuplicateMappingKey { key, .. } => {
            let key = key.as_ref().map_or(String::new(), |key| format!(" `{key}`"));
            (
                format!("the key{key} is there twice"),
                Some("keep one of them, or give the second another name".to_owned()),
            )
        }
        Error::SerdeInvalidType { unexpected, expected, .. }
        | Error::SerdeInvalidValue { unexpected, expected, .. } => {
            (format!("found {unexpected}, expected {expected}"), None)
        }
        Error::InvalidScalar { ty, .. } => (format!("this cannot be read as {}", kind(ty)), None),
        Error::NullIntoString { .. } => {
            ("a text is missing here".to_owned(), Some("write the value, or take the key out".to_owned()))
        }
        Error::InvalidBooleanStrict { .. } => {
            ("this is neither `true` nor `false`".to_owned(), Some("write one of them".to_owned()))
        }
        Error::NonFiniteFloat { value, .. } => (format!("`{value}` is not a finite number"), None),
        Error::MultipleDocuments { .. } => (
            "a second document begins here".to_owned(),
            Some("a study file is one document: take out the `---`".to_owned()),
        ),
        Error::Budget { .. } | Error::AliasReplayLimitExceeded { .. } | Error::AliasExpansionLimitExceeded { .. } => {
            ("the study file is larger or more deeply nested than any study".to_owned(), None)
        }
        other => (UserMessageFormatter.format_message(other).trim_end_matches('.').to_owned(), None),
    }
}

fn choose(word: &str, expected: &[&'static str]) -> String {
    match nearest(word, expected.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None if expected.is_empty() => "nothing is expected here".to_owned(),
        None => format!("expected one of {}", listed(expected.iter().copied())),
    }
}

/// `a`, `b`, `c` in backticks.
pub(super) fn listed<'a>(words: impl IntoIterator<Item = &'a str>) -> String {
    words.into_iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", ")
}

fn kind(ty: &str) -> &str {
    match ty {
        ty if ty.contains('u') && ty.ends_with(char::is_numeric) => "a whole number that is not negative",
        ty if ty.contains('i') && ty.ends_with(char::is_numeric) => "a whole number",
        ty if ty.contains("float") || ty.contains("f64") => "a number",
        ty => ty,
    }
}

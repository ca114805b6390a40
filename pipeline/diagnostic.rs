//! What went wrong, where, and what to do about it. Drawing a diagnostic belongs to `cli/render.rs`.

use serde::{Deserialize, Serialize};

/// A place in a text file; line and column count from 1. Paths are relative to the study, with `/`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// File, relative to the study.
    pub file: String,
    /// Line, from 1.
    pub line: Option<u64>,
    /// Column in characters, from 1.
    pub column: Option<u64>,
    /// The line itself, where it helps to see it.
    pub text: Option<String>,
}

impl Place {
    /// A whole file.
    pub fn file(file: impl Into<String>) -> Self {
        Self { file: file.into(), line: None, column: None, text: None }
    }

    /// A line of a file.
    pub fn line(file: impl Into<String>, line: u64) -> Self {
        Self { line: Some(line), ..Self::file(file) }
    }
}

/// One problem: message, place and the next action.
///
/// Messages start in lower case and have no final stop; the help names what to type or change.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Diagnostic {
    /// What is wrong, with the value that was found and what was expected.
    pub message: String,
    /// Where, if it has a place.
    pub place: Option<Place>,
    /// What to do.
    pub help: Option<String>,
}

impl Diagnostic {
    /// A problem without place or help yet.
    pub fn new(message: impl Into<String>) -> Self {
        Self { message: message.into(), place: None, help: None }
    }

    /// The same problem at a place.
    #[must_use]
    pub fn at(self, place: Place) -> Self {
        Self { place: Some(place), ..self }
    }

    /// The same problem with the next action.
    #[must_use]
    pub fn help(self, help: impl Into<String>) -> Self {
        Self { help: Some(help.into()), ..self }
    }
}

impl std::error::Error for Diagnostic {}

impl std::fmt::Display for Diagnostic {
    /// `file:line:column: message (help)` on one line, for logs and JSON.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if let Some(place) = &self.place {
            write!(f, "{}", place.file)?;
            if let Some(line) = place.line {
                write!(f, ":{line}")?;
            }
            if let Some(column) = place.column {
                write!(f, ":{column}")?;
            }
            write!(f, ": ")?;
        }
        write!(f, "{}", self.message)?;
        if let Some(help) = &self.help {
            write!(f, " ({help})")?;
        }
        Ok(())
    }
}

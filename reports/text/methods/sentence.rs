//! A sentence with what it rests on, a paragraph, a formula with its table. No words of the report stand here.

/// A sentence with what it rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sentence {
    /// The sentence, with its stop.
    pub text: String,
    /// Paths of settings, or `count` of what.
    pub from: Vec<String>,
    /// Keys of sources that it cites.
    pub cites: Vec<&'static str>,
}

/// A paragraph of the methods text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paragraph {
    /// Its heading.
    pub title: &'static str,
    /// A formula above its sentences and a table below them.
    pub given: Option<Given>,
    /// Its sentences.
    pub sentences: Vec<Sentence>,
}

/// A formula, and the numbers in it as a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Given {
    /// The formula; `^` stands before a power of one character.
    pub formula: &'static str,
    /// What the table is.
    pub caption: &'static str,
    /// Its heads.
    pub columns: &'static [&'static str],
    /// Its cells.
    pub rows: Vec<Vec<String>>,
}

pub(super) fn say(text: impl Into<String>, from: &[&str]) -> Sentence {
    Sentence { text: text.into(), from: from.iter().map(|f| (*f).to_owned()).collect(), cites: Vec::new() }
}

impl Sentence {
    /// The same with sources.
    pub(super) fn citing(mut self, keys: &[&'static str]) -> Self {
        self.cites.extend(keys);
        self
    }
}

//! The methods text as plain text, and the numbers of its sources.

use super::sentence::{Given, Paragraph, Sentence};
use stages::references;

/// Keys of the sources that are cited, in the order of the printed list.
pub fn cited(paragraphs: &[Paragraph]) -> Vec<&'static str> {
    let used = |key: &str| paragraphs.iter().flat_map(|p| &p.sentences).any(|s| s.cites.contains(&key));
    references::ALL.iter().map(|r| r.key).filter(|key| used(key)).collect()
}

/// Numbers of the sources of a sentence, by their place in `cited`, from 1.
pub fn numbers_of(sentence: &Sentence, cited: &[&str]) -> Vec<usize> {
    let found = sentence.cites.iter().filter_map(|key| cited.iter().position(|c| c == key));
    let mut found: Vec<usize> = found.map(|i| i + 1).collect();
    found.sort_unstable();
    found
}

/// The sentences of a paragraph in one text, sources as `[1, 2]` by their place in `cited`.
fn running_text(paragraph: &Paragraph, cited: &[&str]) -> String {
    let numbers = |s: &Sentence| numbers_of(s, cited).iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let sentence = |s: &Sentence| match numbers(s) {
        n if n.is_empty() => s.text.clone(),
        n => format!("{} [{n}].", s.text.trim_end_matches('.')),
    };
    paragraph.sentences.iter().map(sentence).collect::<Vec<_>>().join(" ")
}

/// A table in plain text.
fn pipes(given: &Given) -> String {
    let line = |cells: Vec<&str>| format!("| {} |\n", cells.join(" | "));
    let rows = given.rows.iter().map(|row| line(row.iter().map(String::as_str).collect()));
    let head = [line(given.columns.to_vec()), line(vec!["---"; given.columns.len()])];
    format!("\n{}{}\n{}\n", head.concat(), rows.collect::<String>(), given.caption)
}

/// The methods text as plain text with headings, and the sources.
pub fn markdown(paragraphs: &[Paragraph]) -> String {
    let cited = cited(paragraphs);
    let mut out = "# Methods\n".to_owned();
    for paragraph in paragraphs {
        out.push_str(&format!("\n## {}\n\n", paragraph.title));
        let given = paragraph.given.as_ref();
        out.push_str(&given.map_or_else(String::new, |given| format!("    {}\n\n", given.formula)));
        out.push_str(&format!("{}\n", running_text(paragraph, &cited)));
        out.push_str(&given.map_or_else(String::new, pipes));
    }
    if !cited.is_empty() {
        out.push_str("\n## Sources\n\n");
    }
    for (i, key) in cited.iter().enumerate() {
        out.push_str(&format!(
            "{}. {}\n",
            i + 1,
            references::find(key).map_or_else(String::new, references::Reference::printed)
        ));
    }
    out
}

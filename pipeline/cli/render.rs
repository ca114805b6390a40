//! How things look on a terminal: diagnostics with their place, colours, and writing that survives a closed pipe.

use crate::command::{Exit, Failure};
use crate::diagnostic::{Diagnostic, Place};
use std::fmt::Write as _;
use std::io::{self, IsTerminal, Write};

/// Writes to stdout. A reader that has gone is none of our business.
///
/// # Errors
/// If stdout cannot take it for another reason, a full disk for example.
pub fn say(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => Err(Failure::io("write", "standard output".as_ref(), &e)),
        _ => Ok(()),
    }
}

/// Writes a failure to stderr; gives its exit status.
pub fn fail(failure: &Failure) -> Exit {
    failure.diagnostics.iter().for_each(|diagnostic| complain(None, diagnostic));
    failure.exit
}

/// Writes a problem, of a task if one is named, to stderr.
pub fn complain(task: Option<&str>, diagnostic: &Diagnostic) {
    tell(&rendered(task, diagnostic, Paint::for_stderr()));
}

/// Writes a line to stderr; where that cannot be done there is nobody to tell.
pub fn tell(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}

/// Whether to use colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Paint(bool);

impl Paint {
    /// Only on a terminal, and not if `NO_COLOR` is set to anything.
    pub fn for_stderr() -> Self {
        let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        Self(io::stderr().is_terminal() && !refused)
    }

    fn on(self, code: &str, text: &str) -> String {
        if self.0 { format!("\x1b[{code}m{text}\x1b[0m") } else { text.into() }
    }
}

const RED: &str = "1;31";
const BOLD: &str = "1";
const FAINT: &str = "2";

fn rendered(task: Option<&str>, diagnostic: &Diagnostic, paint: Paint) -> String {
    let mut text = paint.on(RED, "error: ");
    if let Some(task) = task {
        let _ = write!(text, "{task}: ");
    }
    text.push_str(&paint.on(BOLD, &printable(&diagnostic.message)));
    if let Some(place) = &diagnostic.place {
        text.push_str(&shown(place, paint));
    }
    if let Some(help) = &diagnostic.help {
        for line in help.lines() {
            let _ = write!(text, "\n  {} {}", paint.on(FAINT, "→"), printable(line));
        }
    }
    text
}

/// `at file:line:column`, the line itself, and a caret under the column.
fn shown(place: &Place, paint: Paint) -> String {
    let mut text = format!("\n  at {}", printable(&place.file));
    let numbers = [place.line, place.line.and(place.column)];
    for number in numbers.iter().flatten() {
        let _ = write!(text, ":{number}");
    }
    let Some(source) = &place.text else { return text };
    let (line, caret) = excerpt(source, place.column);
    let _ = write!(text, "\n  {} {line}", paint.on(FAINT, "|"));
    if let Some(caret) = caret {
        let _ = write!(text, "\n  {} {}{}", paint.on(FAINT, "|"), " ".repeat(caret), paint.on(RED, "^"));
    }
    text
}

/// The part of a line around a column, and where the column is in it.
fn excerpt(source: &str, column: Option<u64>) -> (String, Option<usize>) {
    const WIDTH: usize = 100;
    let characters: Vec<char> = printable(&source.replace('\t', " ")).chars().collect();
    let column = column.and_then(|column| usize::try_from(column).ok()).map(|column| column.saturating_sub(1));
    let start = column.unwrap_or(0).min(characters.len()).saturating_sub(WIDTH / 2);
    let start = if characters.len() <= WIDTH { 0 } else { start };
    let line = characters[start..characters.len().min(start + WIDTH)].iter().collect();
    (line, column.map(|column| column - start.min(column)))
}

/// What a file says is shown, not obeyed: control characters become `�`.
fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() && c != '\n' { '\u{fffd}' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_has_its_line_and_a_caret() {
        let place =
            Place { file: "raw/A.txt".into(), line: Some(3), column: Some(5), text: Some("1,0\tx\u{1b}[2J".into()) };
        let diagnostic = Diagnostic::new("`x` is not a number").at(place).help("repair the export");
        let expected = "error: ingest raw/A.txt: `x` is not a number\n  at raw/A.txt:3:5\n  | 1,0 x\u{fffd}[2J\n  \
                        |     ^\n  → repair the export";
        assert_eq!(rendered(Some("ingest raw/A.txt"), &diagnostic, Paint(false)), expected);
    }

    #[test]
    fn a_long_line_is_cut_around_the_column() {
        let source = format!("{}X{}", "a".repeat(500), "b".repeat(500));
        let (line, caret) = excerpt(&source, Some(501));
        assert_eq!(line.chars().count(), 100);
        assert_eq!(line.chars().nth(caret.unwrap()), Some('X'));
    }
}

//! Encodings, what is no text at all, and lines. Knows no columns.

use super::layout::Encoding;
use encoding_rs::{Encoding as Found, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use pipeline::diagnostic::{Diagnostic, Place};

/// Name of the input in diagnostics; the engine puts the export's path there.
pub(super) const RAW: &str = "raw";

/// A longer line is no row of an export (empirical: rows of a hundred columns have some thousand bytes).
const LONGEST_LINE: usize = 1 << 20;

/// As much of a line as an error shows.
const SHOWN: usize = 400;

/// What files begin with that are no text (common practice of file recognition).
const NO_TEXT: [(&[u8], &str); 7] = [
    (b"\x89PNG", "a PNG image"),
    (b"\xFF\xD8\xFF", "a JPEG image"),
    (b"GIF8", "a GIF image"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"\xD0\xCF\x11\xE0", "a workbook or document of the old binary kind"),
    (b"SQLite format 3", "a database"),
];

/// A problem of the whole file.
pub(super) fn problem(message: impl Into<String>, help: &str) -> Vec<Diagnostic> {
    vec![Diagnostic::new(message).at(Place::file(RAW)).help(help)]
}

/// Which encoding the beginning of an export says or the layout states, and the length of the byte-order mark; none
/// where it is UTF-8 if all bytes are, and Windows-1252 else.
///
/// # Errors
/// If there is nothing, or what is no text, or the mark contradicts the layout.
pub(super) fn choose(head: &[u8], stated: Encoding) -> Result<(Option<&'static Found>, usize), Vec<Diagnostic>> {
    if head.is_empty() {
        return Err(problem("the file is empty", "export the run again; this file holds no readings"));
    }
    if let Some((_, what)) = NO_TEXT.iter().find(|(magic, _)| head.starts_with(magic)) {
        return Err(problem(format!("this is {what}, not a text export"), "export the run as text or CSV"));
    }
    let by_layout = without_mark(head, stated);
    let Some((marked, length)) = Found::for_bom(head) else { return Ok((by_layout, 0)) };
    let fits = match stated {
        Encoding::Auto => true,
        Encoding::Utf16 => marked != UTF_8,
        _ => Some(marked) == by_layout,
    };
    if fits {
        return Ok((Some(marked), length));
    }
    let stated = by_layout.map_or("", Found::name);
    let message = format!("the byte-order mark says {}, the layout says {stated}", marked.name());
    Err(problem(message, "write `encoding: auto` in the layout"))
}

fn without_mark(head: &[u8], stated: Encoding) -> Option<&'static Found> {
    match stated {
        Encoding::Utf8 => Some(UTF_8),
        Encoding::Utf16Le => Some(UTF_16LE),
        Encoding::Utf16Be => Some(UTF_16BE),
        Encoding::Windows1252 => Some(WINDOWS_1252),
        Encoding::Utf16 => Some(sniff_utf_16(head).unwrap_or(UTF_16LE)),
        Encoding::Auto => sniff_utf_16(head),
    }
}

/// UTF-16 of mostly Latin text has NUL in every other byte. Empirical: 40 % on one side, below 5 % on the other.
fn sniff_utf_16(head: &[u8]) -> Option<&'static Found> {
    let nuls = |first: usize| head.iter().skip(first).step_by(2).filter(|b| **b == 0).count();
    let (even, odd, pairs) = (nuls(0), nuls(1), head.len() / 2);
    if odd * 5 > pairs * 2 && even * 20 <= pairs {
        Some(UTF_16LE)
    } else if even * 5 > pairs * 2 && odd * 20 <= pairs {
        Some(UTF_16BE)
    } else {
        None
    }
}

/// Refuses text with NULs, or with more control characters than a stray one here and there (empirical: 1 %).
pub(super) fn refuse_binary(text: &str) -> Result<(), Vec<Diagnostic>> {
    let head: Vec<char> = text.chars().take(65_536).collect();
    let odd = head.iter().filter(|c| c.is_control() && !matches!(c, '\t' | '\n' | '\r' | '\u{c}' | '\u{1a}')).count();
    if head.contains(&'\0') || odd * 100 > head.len() {
        return Err(problem("this is not text", "export the run as text or CSV, or state the encoding in the layout"));
    }
    Ok(())
}

///
/// The text begins with line `first`, from 0.
pub(super) fn refuse_long_lines(text: &str, first: usize) -> Result<(), Vec<Diagnostic>> {
    let mut from = 0;
    while let Some(stretch) = text.as_bytes().get(from..from + LONGEST_LINE) {
        // From the last line end of the stretch on; where there is none, the line is too long.
        let Some(end) = stretch.iter().rposition(|b| matches!(b, b'\n' | b'\r')) else {
            let before = text.as_bytes()[..from].iter().filter(|b| **b == b'\n').count();
            let message = format!("this line has more than {LONGEST_LINE} bytes: it is no row of an export");
            let help = "export the run again as text with a line a reading";
            return Err(vec![Diagnostic::new(message).at(Place::line(RAW, (first + before) as u64 + 1)).help(help)]);
        };
        from += end + 1;
    }
    Ok(())
}

/// Refuses text in which something could not be decoded; it begins with line `first`, from 0.
pub(super) fn malformed(encoding: &str, text: &str, first: usize) -> Vec<Diagnostic> {
    let lines = lines(text);
    let at = lines.iter().position(|line| line.contains('\u{FFFD}')).unwrap_or(0);
    let place = Place { text: lines.get(at).map(|l| shown(l)), ..Place::line(RAW, (first + at) as u64 + 1) };
    let help = "write `encoding: auto` in the layout, or the encoding that the export has, for example `windows-1252`";
    vec![Diagnostic::new(format!("a byte here is not {encoding}")).at(place).help(help)]
}

/// The beginning of a line, as an error shows it.
pub(super) fn shown(line: &str) -> String {
    line.chars().take(SHOWN).collect()
}

/// Lines that end in LF, CRLF or a lone CR; a terminator at the very end begins no line.
///
/// A field in quotes may hold line ends (RFC 4180, 2.6): its record then stands whole in the first of its lines, and
/// those on which it goes on are blank, so that an index stays a line of the file.
pub(crate) fn lines(text: &str) -> Vec<&str> {
    let mut found = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let end = end_of_line(rest);
        found.push(&rest[..end]);
        let after = &rest[end..];
        let terminator = if after.starts_with("\r\n") { 2 } else { usize::from(!after.is_empty()) };
        rest = &after[terminator..];
    }
    if text.contains('"') { joined(text, found) } else { found }
}

fn end_of_line(text: &str) -> usize {
    text.bytes().position(|b| matches!(b, b'\n' | b'\r')).unwrap_or(text.len())
}

/// A record in quotes goes on over at most so many lines; a longer one is a stray quote (empirical).
const LONGEST_RECORD: usize = 16;

fn joined<'a>(text: &'a str, lines: Vec<&'a str>) -> Vec<&'a str> {
    let mut found = lines.clone();
    let mut at = 0;
    while at < lines.len() {
        let more = if ends_in_quotes(lines[at], false) { closing_line(&lines[at + 1..]) } else { 0 };
        if more > 0 {
            // Lines are slices of the text, so their addresses tell where they stand in it.
            let start = lines[at].as_ptr() as usize - text.as_ptr() as usize;
            let last = lines[at + more];
            let end = last.as_ptr() as usize - text.as_ptr() as usize + last.len();
            found[at] = &text[start..end];
            found[at + 1..=at + more].iter_mut().for_each(|line| *line = &line[..0]);
        }
        at += more + 1;
    }
    found
}

/// How many lines on a quoted field is closed again; 0 if it is not.
fn closing_line(lines: &[&str]) -> usize {
    lines.iter().take(LONGEST_RECORD).position(|line| !ends_in_quotes(line, true)).map_or(0, |at| at + 1)
}

/// Whether a line ends inside a quoted field, given whether it began in one. A quote opens a field only where a field
/// begins: `5" disc` holds none.
fn ends_in_quotes(line: &str, mut inside: bool) -> bool {
    let mut begins = true;
    let mut signs = line.chars().peekable();
    while let Some(sign) = signs.next() {
        match sign {
            '"' if inside && signs.peek() == Some(&'"') => {
                signs.next();
            }
            '"' if inside => inside = false,
            '"' if begins => inside = true,
            _ => {}
        }
        begins = matches!(sign, '\t' | ';' | ',' | '|') || (begins && sign == ' ');
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn three_kinds_of_line_ends() {
        assert_eq!(lines("a\r\nb\nc\rd"), ["a", "b", "c", "d"]);
        assert_eq!(lines("a\n\nb\n"), ["a", "", "b"]);
    }

    #[test]
    fn a_quoted_field_may_go_on_over_lines() {
        let text = "a;\"Moment\n[mN.m]\";c\n1;2;3\n";
        assert_eq!(lines(text), ["a;\"Moment\n[mN.m]\";c", "", "1;2;3"]);
        assert_eq!(lines("5\" disc;1\n2\" disc;3\n"), ["5\" disc;1", "2\" disc;3"]);
        assert_eq!(lines("a;\"open\n1;2\n"), ["a;\"open", "1;2"], "never closed: a stray quote");
        assert_eq!(lines("\"a \"\"b\"\"\nc\"\n2"), ["\"a \"\"b\"\"\nc\"", "", "2"]);
    }
}

//! Bytes of an export → text and its lines. Knows encodings and what is no text at all, but no columns.

use super::layout::Encoding;
use encoding_rs::{UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use pipeline::diagnostic::{Diagnostic, Place};
use std::borrow::Cow;

/// Name of the input in diagnostics; the engine puts the export's path there.
pub(super) const RAW: &str = "raw";

/// The text of an export.
#[derive(Debug)]
pub(crate) struct Decoded<'a> {
    /// The text, without byte-order mark; borrowed where the bytes are UTF-8 already.
    pub(crate) text: Cow<'a, str>,
    /// Name of the encoding.
    pub(crate) encoding: &'static str,
    /// The last character was cut in two and left out.
    pub(crate) cut: bool,
}

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

/// Decodes an export.
pub(crate) fn decode(bytes: &[u8], stated: Encoding) -> Result<Decoded<'_>, Vec<Diagnostic>> {
    if bytes.is_empty() {
        return Err(problem("the file is empty", "export the run again; this file holds no readings"));
    }
    if let Some((_, what)) = NO_TEXT.iter().find(|(magic, _)| bytes.starts_with(magic)) {
        return Err(problem(format!("this is {what}, not a text export"), "export the run as text or CSV"));
    }
    let (encoding, body) = choose(bytes, stated)?;
    let decoded = decode_as(encoding, body)?;
    refuse_binary(&decoded.text)?;
    refuse_long_lines(&decoded.text)?;
    Ok(decoded)
}

/// A problem of the whole file.
pub(super) fn problem(message: impl Into<String>, help: &str) -> Vec<Diagnostic> {
    vec![Diagnostic::new(message).at(Place::file(RAW)).help(help)]
}

/// The encoding that holds, and the bytes behind the byte-order mark.
fn choose(bytes: &[u8], stated: Encoding) -> Result<(&'static encoding_rs::Encoding, &[u8]), Vec<Diagnostic>> {
    let Some((marked, length)) = encoding_rs::Encoding::for_bom(bytes) else {
        return Ok((without_mark(bytes, stated), bytes));
    };
    let fits = match stated {
        Encoding::Auto => true,
        Encoding::Utf16 => marked != UTF_8,
        _ => marked == without_mark(bytes, stated),
    };
    if fits {
        return Ok((marked, &bytes[length..]));
    }
    let stated = without_mark(bytes, stated).name();
    let message = format!("the byte-order mark says {}, the layout says {stated}", marked.name());
    Err(problem(message, "write `encoding: auto` in the layout"))
}

fn without_mark(bytes: &[u8], stated: Encoding) -> &'static encoding_rs::Encoding {
    match stated {
        Encoding::Utf8 => UTF_8,
        Encoding::Utf16Le => UTF_16LE,
        Encoding::Utf16Be => UTF_16BE,
        Encoding::Windows1252 => WINDOWS_1252,
        Encoding::Utf16 => sniff_utf_16(bytes).unwrap_or(UTF_16LE),
        Encoding::Auto => sniff_utf_16(bytes).unwrap_or_else(|| match std::str::from_utf8(bytes) {
            Ok(_) => UTF_8,
            Err(e) if e.error_len().is_none() => UTF_8,
            Err(_) => WINDOWS_1252,
        }),
    }
}

/// UTF-16 of mostly Latin text has NUL in every other byte. Empirical: 40 % on one side, below 5 % on the other.
fn sniff_utf_16(bytes: &[u8]) -> Option<&'static encoding_rs::Encoding> {
    let head = &bytes[..bytes.len().min(4096)];
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

fn decode_as<'a>(encoding: &'static encoding_rs::Encoding, body: &'a [u8]) -> Result<Decoded<'a>, Vec<Diagnostic>> {
    let whole = without_broken_end(encoding, body);
    let cut = whole.len() < body.len();
    match encoding.decode_without_bom_handling_and_without_replacement(whole) {
        Some(text) => Ok(Decoded { text, encoding: encoding.name(), cut }),
        None => Err(malformed(encoding, whole)),
    }
}

/// The bytes without a last character that was cut in two.
fn without_broken_end<'a>(encoding: &'static encoding_rs::Encoding, body: &'a [u8]) -> &'a [u8] {
    if encoding == UTF_16LE || encoding == UTF_16BE {
        return &body[..body.len() / 2 * 2];
    }
    match std::str::from_utf8(body) {
        Err(e) if encoding == UTF_8 && e.error_len().is_none() => &body[..e.valid_up_to()],
        _ => body,
    }
}

fn malformed(encoding: &'static encoding_rs::Encoding, body: &[u8]) -> Vec<Diagnostic> {
    let (text, _) = encoding.decode_without_bom_handling(body);
    let lines = lines(&text);
    let at = lines.iter().position(|line| line.contains('\u{FFFD}')).unwrap_or(0);
    let place = Place { text: lines.get(at).map(|l| shown(l)), ..Place::line(RAW, at as u64 + 1) };
    let help = "write `encoding: auto` in the layout, or the encoding that the export has, for example `windows-1252`";
    vec![Diagnostic::new(format!("a byte here is not {}", encoding.name())).at(place).help(help)]
}

/// Refuses text with NULs, or with more control characters than a stray one here and there (empirical: 1 %).
fn refuse_binary(text: &str) -> Result<(), Vec<Diagnostic>> {
    let head: Vec<char> = text.chars().take(65_536).collect();
    let odd = head.iter().filter(|c| c.is_control() && !matches!(c, '\t' | '\n' | '\r' | '\u{c}' | '\u{1a}')).count();
    if head.contains(&'\0') || odd * 100 > head.len() {
        return Err(problem("this is not text", "export the run as text or CSV, or state the encoding in the layout"));
    }
    Ok(())
}

fn refuse_long_lines(text: &str) -> Result<(), Vec<Diagnostic>> {
    if text.len() <= LONGEST_LINE {
        return Ok(());
    }
    let mut from = 0;
    while let Some(stretch) = text.as_bytes().get(from..from + LONGEST_LINE) {
        // From the last line end of the stretch on; where there is none, the line is too long.
        let Some(end) = stretch.iter().rposition(|b| matches!(b, b'\n' | b'\r')) else {
            let line = text.as_bytes()[..from].iter().filter(|b| **b == b'\n').count() as u64 + 1;
            let message = format!("this line has more than {LONGEST_LINE} bytes: it is no row of an export");
            let help = "export the run again as text with a line a reading";
            return Err(vec![Diagnostic::new(message).at(Place::line(RAW, line)).help(help)]);
        };
        from += end + 1;
    }
    Ok(())
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
            found[at + 1..=at + more].fill("");
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
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn utf_16(text: &str, little: bool) -> Vec<u8> {
        text.encode_utf16().flat_map(|u| if little { u.to_le_bytes() } else { u.to_be_bytes() }).collect()
    }

    fn message(bytes: &[u8], stated: Encoding) -> String {
        decode(bytes, stated).unwrap_err()[0].to_string()
    }

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

    #[test]
    fn a_line_without_end_is_refused() {
        let said = message(&[b"t;M\n1;2\n".as_slice(), &vec![b'7'; 3 << 20]].concat(), Encoding::Auto);
        assert!(said.starts_with("raw:3: this line has more than 1048576 bytes"), "{said}");
        assert!(decode(&b"1;2;3;4;5\n".repeat(300_000), Encoding::Auto).is_ok());
    }

    #[test]
    fn utf_16_is_known_without_its_mark() {
        for little in [true, false] {
            let bytes = utf_16("Zeit;Größe\r\n1;2\r\n", little);
            let found = decode(&bytes, Encoding::Auto).unwrap();
            assert_eq!(found.text, "Zeit;Größe\r\n1;2\r\n");
            assert_eq!(found.encoding, if little { "UTF-16LE" } else { "UTF-16BE" });
        }
    }

    #[test]
    fn marks_are_left_out_and_win_over_nothing_else() {
        let marked = [b"\xEF\xBB\xBF".as_slice(), "µ".as_bytes()].concat();
        assert_eq!(decode(&marked, Encoding::Auto).unwrap().text, "µ");
        assert!(message(&marked, Encoding::Utf16).contains("the byte-order mark says UTF-8"));
    }

    #[test]
    fn what_is_not_utf_8_is_windows_1252() {
        let found = decode(b"25 \xB0C \xB5N", Encoding::Auto).unwrap();
        assert_eq!((&*found.text, found.encoding), ("25 °C µN", "windows-1252"));
    }

    #[test]
    fn malformed_bytes_name_their_line() {
        assert!(message(b"a\nb\n\xB0C\n", Encoding::Utf8).starts_with("raw:3: a byte here is not UTF-8"));
    }

    #[test]
    fn a_character_cut_in_two_is_left_out() {
        let whole = "a µ".as_bytes();
        let found = decode(&whole[..whole.len() - 1], Encoding::Auto).unwrap();
        assert_eq!((&*found.text, found.encoding, found.cut), ("a ", "UTF-8", true));
        let whole = utf_16("Zeit", true);
        let found = decode(&whole[..7], Encoding::Utf16Le).unwrap();
        assert_eq!((&*found.text, found.cut), ("Zei", true));
    }

    #[test]
    fn what_is_no_text_is_refused() {
        assert!(message(b"", Encoding::Auto).contains("the file is empty"));
        assert!(message(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", Encoding::Auto).contains("a PNG image"));
        assert!(message(b"PK\x03\x04....", Encoding::Auto).contains("a ZIP archive"));
        let junk: Vec<u8> = (0..2000u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
        assert!(message(&junk, Encoding::Auto).contains("this is not text"));
    }
}

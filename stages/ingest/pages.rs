//! An export page by page, so that a long one is never held whole: first a look over all of its bytes, then its lines.

use super::container::{Export, Unpacked, pass};
use super::layout::Encoding;
use super::text::{choose, lines, malformed, refuse_binary, refuse_long_lines};
use super::workbook;
use encoding_rs::{Decoder, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::unreadable;
use std::io::Read;

/// What a look over an export says.
pub(crate) enum Looked {
    /// It is a workbook: its bytes.
    Workbook(Vec<u8>),
    /// It is text.
    Text(Survey),
}

/// What must be known of a text before its lines are read.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Survey {
    encoding: &'static encoding_rs::Encoding,
    /// Bytes of the byte-order mark, and of whole characters behind it.
    mark: u64,
    body: u64,
    /// How it ends.
    pub(crate) end: End,
    /// Whether it was packed by gzip, and whether that packing is cut off.
    pub(crate) gzip: bool,
    pub(crate) packing_cut: bool,
}

/// How a text ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum End {
    /// With the end of a line.
    Closed,
    /// Without: many exports do, so the last row is whole unless it looks otherwise.
    Open,
    /// In the middle of a character, or where its packing was cut off.
    Broken,
}

/// Bytes by which an encoding is told.
const HEAD: u64 = 4096;

/// Bytes read at a time.
const BLOCK: usize = 64 << 10;

/// Goes through an export to see what it is.
///
/// # Errors
/// If it cannot be read, or is no text and no workbook.
pub(crate) fn look_over(export: &dyn Export, stated: Encoding) -> Result<Looked, Vec<Diagnostic>> {
    pass(export, |from| {
        let mut head = Vec::new();
        let of_head = if from.zip { u64::MAX } else { HEAD };
        from.by_ref().take(of_head).read_to_end(&mut head).map_err(unreadable)?;
        if from.zip && workbook::is_one(&head) {
            return Ok(Looked::Workbook(head));
        }
        survey(&head, from, stated).map(Looked::Text)
    })
}

fn survey(head: &[u8], from: &mut Unpacked<'_>, stated: Encoding) -> Result<Survey, Vec<Diagnostic>> {
    let (chosen, mark) = choose(head, stated)?;
    let mut seen = Seen::default();
    seen.take(&head[mark..]);
    let mut block = vec![0; BLOCK];
    loop {
        match from.read(&mut block).map_err(unreadable)? {
            0 => break,
            read => seen.take(&block[..read]),
        }
    }
    let encoding = chosen.unwrap_or(if seen.is_utf_8 { UTF_8 } else { WINDOWS_1252 });
    let broken = seen.broken_end(encoding);
    let end = match seen.last(encoding, broken) {
        _ if from.cut => End::Broken,
        b'\n' | b'\r' | b'\x1A' => End::Closed,
        _ if broken > 0 => End::Broken,
        _ => End::Open,
    };
    let body = seen.count - broken as u64;
    Ok(Survey { encoding, mark: mark as u64, body, end, gzip: from.gzip, packing_cut: from.cut })
}

/// What is kept of bytes that passed by.
#[derive(Debug)]
struct Seen {
    count: u64,
    is_utf_8: bool,
    /// The beginning of a UTF-8 character whose end was not seen yet.
    begun: Vec<u8>,
    /// The last bytes.
    tail: Vec<u8>,
}

impl Default for Seen {
    fn default() -> Self {
        Self { count: 0, is_utf_8: true, begun: Vec::new(), tail: Vec::new() }
    }
}

impl Seen {
    fn take(&mut self, bytes: &[u8]) {
        self.count += bytes.len() as u64;
        self.tail.extend(&bytes[bytes.len().saturating_sub(8)..]);
        self.tail.drain(..self.tail.len().saturating_sub(8));
        if self.is_utf_8 {
            self.check(bytes);
        }
    }

    fn check(&mut self, mut bytes: &[u8]) {
        // A character has at most four bytes, so few are copied.
        while !self.begun.is_empty() && !bytes.is_empty() {
            self.begun.push(bytes[0]);
            bytes = &bytes[1..];
            match std::str::from_utf8(&self.begun) {
                Ok(_) => self.begun.clear(),
                Err(e) if e.error_len().is_some() => return self.is_utf_8 = false,
                Err(_) => {}
            }
        }
        match std::str::from_utf8(bytes) {
            Ok(_) => {}
            Err(e) if e.error_len().is_some() => self.is_utf_8 = false,
            Err(e) => self.begun.extend(&bytes[e.valid_up_to()..]),
        }
    }

    /// Bytes of a last character that was cut in two.
    fn broken_end(&self, encoding: &'static encoding_rs::Encoding) -> usize {
        if encoding == UTF_16LE || encoding == UTF_16BE {
            return (self.count % 2) as usize;
        }
        if encoding == UTF_8 && self.is_utf_8 { self.begun.len() } else { 0 }
    }

    /// The last character, if it is ASCII; 0 else.
    fn last(&self, encoding: &'static encoding_rs::Encoding, broken: usize) -> u8 {
        match (&self.tail[..self.tail.len() - broken], encoding) {
            ([.., low, 0], wide) if wide == UTF_16LE => *low,
            ([.., 0, low], wide) if wide == UTF_16BE => *low,
            ([.., last], narrow) if narrow != UTF_16LE && narrow != UTF_16BE => *last,
            _ => 0,
        }
    }
}

impl Survey {
    /// That of a text at hand.
    pub(crate) fn of(text: &str) -> Self {
        Self { encoding: UTF_8, mark: 0, body: text.len() as u64, end: End::Closed, gzip: false, packing_cut: false }
    }

    /// Name of the encoding.
    pub(crate) fn encoding(&self) -> &'static str {
        self.encoding.name()
    }
}

/// Bytes of text on a page, of which there may be more where lines are long.
const PAGE: usize = 1 << 20;

/// So many lines are left for the next page, so that whoever reads a line can look ahead: at units below a header, or
/// for the end of quotes.
const AHEAD: usize = 64;

/// The text of an export, page by page.
pub(crate) struct Pages<'a> {
    from: std::io::Take<&'a mut dyn Read>,
    decoder: Decoder,
    text: String,
    /// Index of its first line.
    first: usize,
    ended: bool,
}

/// Some lines of an export.
pub(crate) struct Page<'t> {
    lines: Vec<&'t str>,
    first: usize,
    /// So many of them are to be read now.
    ready: usize,
    /// Bytes of these.
    bytes: usize,
    /// Whether nothing follows.
    last: bool,
}

impl<'a> Pages<'a> {
    /// The first page.
    ///
    /// # Errors
    /// If it cannot be read, or is no text.
    pub(crate) fn open(from: &'a mut dyn Read, survey: &Survey) -> Result<Self, Vec<Diagnostic>> {
        std::io::copy(&mut from.take(survey.mark), &mut std::io::sink()).map_err(unreadable)?;
        let decoder = survey.encoding.new_decoder_without_bom_handling();
        let (from, text) = (from.take(survey.body), String::new());
        let mut pages = Self { from, decoder, text, first: 0, ended: false };
        pages.fill(PAGE)?;
        refuse_binary(&pages.text)?;
        Ok(pages)
    }

    /// Reads on until there is so much text, or all.
    fn fill(&mut self, size: usize) -> Result<(), Vec<Diagnostic>> {
        let mut block = vec![0; BLOCK];
        let mut unreadable_signs = false;
        while self.text.len() < size && !self.ended {
            let read = self.from.read(&mut block).map_err(unreadable)?;
            self.ended = read == 0;
            self.text.reserve(self.decoder.max_utf8_buffer_length(read).unwrap_or(4 * BLOCK));
            let (_, _, replaced) = self.decoder.decode_to_string(&block[..read], &mut self.text, self.ended);
            unreadable_signs |= replaced;
        }
        if unreadable_signs {
            return Err(malformed(self.decoder.encoding().name(), &self.text, self.first));
        }
        refuse_long_lines(&self.text, self.first)
    }

    /// As much again, below what is on the page.
    ///
    /// # Errors
    /// As for [`Self::open`].
    pub(crate) fn longer(&mut self) -> Result<(), Vec<Diagnostic>> {
        self.fill(PAGE.max(2 * self.text.len()))
    }

    /// All that is left.
    ///
    /// # Errors
    /// As for [`Self::open`].
    pub(crate) fn rest(mut self) -> Result<String, Vec<Diagnostic>> {
        self.fill(usize::MAX)?;
        Ok(self.text)
    }

    /// The page.
    pub(crate) fn page(&self) -> Page<'_> {
        let lines = lines(&self.text);
        let ready = if self.ended { lines.len() } else { between_records(&lines, lines.len().saturating_sub(AHEAD)) };
        // Lines are slices of the text, so their addresses tell where they stand in it.
        let start = |line: &&str| line.as_ptr() as usize - self.text.as_ptr() as usize;
        let bytes = lines.get(ready).map_or(self.text.len(), start);
        Page { lines, first: self.first, ready, bytes, last: self.ended }
    }

    /// The next page, which begins behind what was read.
    ///
    /// # Errors
    /// As for [`Self::open`].
    pub(super) fn turn(&mut self, read: Done) -> Result<(), Vec<Diagnostic>> {
        self.text.drain(..read.bytes);
        self.first += read.lines;
        if read.lines == 0 { self.longer() } else { self.fill(PAGE) }
    }
}

/// So much of a page was read.
pub(super) struct Done {
    bytes: usize,
    lines: usize,
}

/// The last place up to `at` that is not within a record of several lines.
fn between_records(lines: &[&str], at: usize) -> usize {
    let Some(next) = lines.get(at) else { return at };
    let reaches = |line: &&str| line.as_ptr() as usize + line.len() > next.as_ptr() as usize;
    (at.saturating_sub(AHEAD)..at).find(|before| reaches(&lines[*before])).unwrap_or(at)
}

impl<'t> Page<'t> {
    /// All lines, also those that the next page begins with.
    pub(super) fn lines(&self) -> &[&'t str] {
        &self.lines
    }

    /// Lines to be read now from `line` on, with their index in the export.
    pub(super) fn from(&self, line: usize) -> impl Iterator<Item = (usize, &'t str)> {
        let numbered = self.lines.iter().enumerate().map(|(at, text)| (self.first + at, *text));
        numbered.take(self.ready).skip(line.saturating_sub(self.first))
    }

    /// All that was to be read now.
    pub(super) fn done(&self) -> Done {
        Done { bytes: self.bytes, lines: self.ready }
    }

    /// Whether nothing follows.
    pub(super) fn is_last(&self) -> bool {
        self.last
    }

    /// Whether a line, of this page or one before, is not left for the next one.
    pub(super) fn holds(&self, line: usize) -> bool {
        line < self.first + self.ready
    }

    /// Whether a line is the last of the export.
    pub(super) fn ends_with(&self, line: usize) -> bool {
        self.last && line + 1 == self.first + self.lines.len()
    }

    /// A line by its index in the export; empty where it is on no line of this page.
    pub(super) fn line(&self, line: usize) -> &'t str {
        line.checked_sub(self.first).and_then(|at| self.lines.get(at)).copied().unwrap_or_default()
    }

    /// The lines below one of this page.
    pub(super) fn below(&self, line: usize) -> &[&'t str] {
        self.lines.get(line + 1 - self.first..).unwrap_or_default()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic)]
mod tests {
    use super::*;

    fn utf_16(text: &str, little: bool) -> Vec<u8> {
        text.encode_utf16().flat_map(|u| if little { u.to_le_bytes() } else { u.to_be_bytes() }).collect()
    }

    /// Text, name of the encoding, and how it ends.
    fn decode(bytes: &[u8], stated: Encoding) -> Result<(String, &'static str, End), Vec<Diagnostic>> {
        let Looked::Text(survey) = look_over(&bytes, stated)? else { panic!("a workbook") };
        let text = pass(&bytes, |text| Pages::open(text, &survey)?.rest())?;
        Ok((text, survey.encoding(), survey.end))
    }

    fn message(bytes: &[u8], stated: Encoding) -> String {
        decode(bytes, stated).unwrap_err()[0].to_string()
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
            let name = if little { "UTF-16LE" } else { "UTF-16BE" };
            assert_eq!(found, ("Zeit;Größe\r\n1;2\r\n".to_owned(), name, End::Closed));
        }
    }

    #[test]
    fn marks_are_left_out_and_win_over_nothing_else() {
        let marked = [b"\xEF\xBB\xBF".as_slice(), "µ".as_bytes()].concat();
        assert_eq!(decode(&marked, Encoding::Auto).unwrap().0, "µ");
        assert!(message(&marked, Encoding::Utf16).contains("the byte-order mark says UTF-8"));
    }

    #[test]
    fn what_is_not_utf_8_is_windows_1252() {
        let found = decode(b"25 \xB0C \xB5N", Encoding::Auto).unwrap();
        assert_eq!(found, ("25 °C µN".to_owned(), "windows-1252", End::Open));
    }

    #[test]
    fn malformed_bytes_name_their_line() {
        assert!(message(b"a\nb\n\xB0C\n", Encoding::Utf8).starts_with("raw:3: a byte here is not UTF-8"));
    }

    #[test]
    fn a_character_cut_in_two_is_left_out() {
        let whole = "a µ".as_bytes();
        let found = decode(&whole[..whole.len() - 1], Encoding::Auto).unwrap();
        assert_eq!(found, ("a ".to_owned(), "UTF-8", End::Broken));
        let whole = utf_16("Zeit", true);
        let found = decode(&whole[..7], Encoding::Utf16Le).unwrap();
        assert_eq!(found, ("Zei".to_owned(), "UTF-16LE", End::Broken));
        let found = decode(b"a\n\xC2", Encoding::Auto).unwrap();
        assert_eq!(found, ("a\n".to_owned(), "UTF-8", End::Closed), "all rows are whole");
    }

    #[test]
    fn what_is_no_text_is_refused() {
        assert!(message(b"", Encoding::Auto).contains("the file is empty"));
        assert!(message(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", Encoding::Auto).contains("a PNG image"));
        assert!(message(b"PK\x03\x04....", Encoding::Auto).contains("a ZIP archive"));
        let junk: Vec<u8> = (0..2000u32).map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
        assert!(message(&junk, Encoding::Auto).contains("this is not text"));
    }

    /// Whatever its pages: every line once, in order, with its number, and records in quotes whole.
    #[test]
    fn pages_give_the_lines_of_the_whole() {
        let record = |i: usize| match i % 97 {
            5 => format!("{i};\"two\nlines\";µ\r\n"),
            6 => "\r\n".to_owned(),
            7 => format!("{i};{}\r", "x".repeat(i % 1000)),
            _ => format!("{i};{};7\r\n", i * i),
        };
        let text: String = (0..150_000).map(record).collect();
        for text in [&text[..], text.trim_end(), &text[..40], "one", "\n"] {
            let whole = lines(text);
            for bytes in [text.as_bytes().to_vec(), utf_16(text, true)] {
                let Looked::Text(survey) = look_over(&&bytes[..], Encoding::Auto).unwrap() else {
                    panic!("a workbook")
                };
                let mut stream = &bytes[..];
                let mut pages = Pages::open(&mut stream, &survey).unwrap();
                let mut seen = 0;
                loop {
                    let page = pages.page();
                    for (line, found) in page.from(0) {
                        assert_eq!((line, found), (seen, whole[seen]));
                        assert_eq!(page.ends_with(line), line + 1 == whole.len());
                        seen += 1;
                    }
                    assert!(page.is_last() || page.lines().len() > AHEAD && pages.text.len() < 3 * PAGE);
                    if page.is_last() {
                        break;
                    }
                    let done = page.done();
                    pages.turn(done).unwrap();
                }
                assert_eq!(seen, whole.len());
            }
        }
    }

    /// Wherever blocks end, also within a character.
    #[test]
    fn a_look_in_pieces_sees_what_a_look_at_all_sees() {
        for (text, is_utf_8) in
            [("aµ€😀b".as_bytes(), true), (b"a\xC2\xC2\xB5".as_slice(), false), (b"\xE2\x82".as_slice(), true)]
        {
            for cut in 0..=text.len() {
                for second in cut..=text.len() {
                    let mut seen = Seen::default();
                    [&text[..cut], &text[cut..second], &text[second..]].into_iter().for_each(|piece| seen.take(piece));
                    assert_eq!((seen.is_utf_8, seen.count), (is_utf_8, text.len() as u64));
                    assert_eq!(seen.broken_end(UTF_8), if text == b"\xE2\x82" { 2 } else { 0 });
                }
            }
        }
    }
}

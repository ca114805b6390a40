//! What a text export looks like, found without being told: separator, decimal mark, header, units, rows, and how
//! steps begin. What the columns are for is found elsewhere.

use crate::ingest::header::split;
use crate::ingest::layout::{Decimal, Layout, Separator, Thousands};
use crate::ingest::number::{Field, Format};
use crate::ingest::params::Params;
use crate::ingest::times::TimeFormat;
use crate::ingest::units::{bare, exported_unit};

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shape {
    pub(super) separator: Separator,
    pub(super) decimal: Decimal,
    pub(super) thousands: Option<Thousands>,
    pub(super) comment: Option<&'static str>,
    /// Index of the header's line.
    pub(super) header: usize,
    pub(super) names: Vec<String>,
    /// Index of the row of units and what it says, a field a column.
    pub(super) units: Option<(usize, Vec<String>)>,
    /// Indices of the rows of data.
    pub(super) rows: Vec<usize>,
    /// A pattern for lines that begin a step.
    pub(super) step_starts: Option<String>,
    /// What could also be meant otherwise.
    pub(super) unclear: Vec<String>,
}

/// So many lines are looked at; the rest of an export is like them.
const LOOKED_AT: usize = 50_000;

/// In this order where several fit equally well; blanks come last because names may hold them.
const SEPARATORS: [Separator; 5] =
    [Separator::Tab, Separator::Semicolon, Separator::Bar, Separator::Comma, Separator::Spaces];

/// Marks that comments begin with (common practice).
const COMMENTS: [&str; 4] = ["#", "%", "//", "!"];

/// Ways of writing numbers, the simplest first.
const WRITINGS: [(Decimal, Option<Thousands>); 8] = [
    (Decimal::Point, None),
    (Decimal::Comma, None),
    (Decimal::Point, Some(Thousands::Comma)),
    (Decimal::Comma, Some(Thousands::Point)),
    (Decimal::Point, Some(Thousands::Space)),
    (Decimal::Comma, Some(Thousands::Space)),
    (Decimal::Point, Some(Thousands::Apostrophe)),
    (Decimal::Comma, Some(Thousands::Apostrophe)),
];

/// Finds the shape of a text.
///
/// # Errors
/// Why no layout can be proposed: there are no rows of numbers, or no header above them.
pub(super) fn of(lines: &[&str]) -> Result<Shape, String> {
    let lines = &lines[..lines.len().min(LOOKED_AT)];
    let table =
        Table::best(lines).ok_or("no rows of numbers were found: this does not look like an export of readings")?;
    let first = *table.rows.first().ok_or("no rows of numbers were found")?;
    let comment = comment(lines, first);
    let (header, units) = heading(lines, &table, first, comment)?;
    let mut unclear = Vec::new();
    let (decimal, thousands) = writing(lines, &table, &mut unclear);
    let names = fields(lines[header], table.separator, comment);
    let step_starts = step_starts(lines, &table, header);
    Ok(Shape {
        separator: table.separator,
        decimal,
        thousands,
        comment,
        header,
        names,
        units,
        rows: table.rows,
        step_starts,
        unclear,
    })
}

/// Fields of a line without its comment mark.
fn fields(line: &str, separator: Separator, comment: Option<&str>) -> Vec<String> {
    let mut found = Vec::new();
    let bare = comment.and_then(|mark| line.trim_start().strip_prefix(mark)).unwrap_or(line);
    split(bare, separator, &mut found);
    found.into_iter().map(str::to_owned).collect()
}

/// The number format of one way of writing.
pub(super) fn format(decimal: Decimal, thousands: Option<Thousands>) -> Format {
    Format::new(&Layout { decimal, thousands, ..Layout::default() }, &Params::default().missing)
}

/// Reads numbers however they are written.
struct AnyNumber(Vec<Format>);

impl AnyNumber {
    fn new() -> Self {
        Self(WRITINGS.iter().map(|(decimal, thousands)| format(*decimal, *thousands)).collect())
    }

    fn is_one(&self, text: &str) -> bool {
        self.0.iter().any(|format| matches!(format.read(text), Field::Number(_)))
    }

    /// A number, a missing one, or a time with colons.
    fn is_value(&self, text: &str) -> bool {
        self.is_one(text) || time_format(text).is_some()
    }
}

/// How a field is written that is a time but no number.
pub(super) fn time_format(text: &str) -> Option<TimeFormat> {
    if !text.contains(':') {
        return None;
    }
    [TimeFormat::Hours, TimeFormat::Minutes, TimeFormat::DateTime]
        .into_iter()
        .find(|format| crate::ingest::times::Clock::new(format.clone()).read(text).is_some())
}

/// Rows of numbers under one separator.
struct Table {
    separator: Separator,
    rows: Vec<usize>,
    /// Fields of each row.
    width: usize,
    score: i64,
}

impl Table {
    fn best(lines: &[&str]) -> Option<Self> {
        let any = AnyNumber::new();
        let tables = SEPARATORS.into_iter().filter_map(|separator| Self::of(lines, separator, &any));
        // The first of equals stays.
        tables.fold(None, |best: Option<Self>, table| match best {
            Some(best) if best.score >= table.score => Some(best),
            _ => Some(table),
        })
    }

    fn of(lines: &[&str], separator: Separator, any: &AnyNumber) -> Option<Self> {
        let mut rows: Vec<(usize, usize, i64)> = Vec::new();
        let mut fields = Vec::new();
        for (line, text) in lines.iter().enumerate() {
            split(text, separator, &mut fields);
            let values = fields.iter().filter(|field| any.is_value(field)).count() as i64;
            let words = fields.iter().filter(|field| !field.is_empty()).count() as i64 - values;
            if fields.len() >= 2 && values >= 2 && values > words {
                rows.push((line, fields.len(), values - words));
            }
        }
        let width = most_common(rows.iter().map(|(_, width, _)| *width))?;
        rows.retain(|(_, w, _)| *w == width);
        let score = rows.iter().map(|(_, _, score)| score).sum();
        Some(Self { separator, rows: rows.into_iter().map(|(line, _, _)| line).collect(), width, score })
    }
}

fn most_common(values: impl Iterator<Item = usize>) -> Option<usize> {
    let mut counts = std::collections::BTreeMap::new();
    values.for_each(|value| *counts.entry(value).or_insert(0usize) += 1);
    counts.into_iter().max_by_key(|(value, count)| (*count, *value)).map(|(value, _)| value)
}

fn comment(lines: &[&str], first: usize) -> Option<&'static str> {
    COMMENTS.into_iter().find(|mark| lines[..first].iter().any(|line| line.trim_start().starts_with(mark)))
}

type Units = Option<(usize, Vec<String>)>;

/// The header, which is the nearest line of names above the first row, and the row of units between.
fn heading(lines: &[&str], table: &Table, first: usize, comment: Option<&str>) -> Result<(usize, Units), String> {
    let any = AnyNumber::new();
    let split = |line: usize| fields(lines[line], table.separator, comment);
    // A remark may stand between header and rows; a header in a comment is as wide as a row.
    let remark = |line: usize| {
        comment.is_some_and(|mark| lines[line].trim_start().starts_with(mark)) && split(line).len() + 1 < table.width
    };
    let above = |from: usize| (0..from).rev().find(|line| !lines[*line].trim().is_empty() && !remark(*line));
    let names = |line: usize| {
        let fields = split(line);
        fields.len() >= 2 && fields.iter().filter(|f| any.is_one(bare(f)) && bare(f) != "1").count() == 0
    };
    let none = || format!("no header was found above the first row of numbers in line {}", first + 1);
    let nearest = above(first).ok_or_else(none)?;
    let is_units = is_units(&split(nearest));
    match above(nearest).filter(|line| is_units && names(*line)) {
        Some(header) => Ok((header, Some((nearest, split(nearest))))),
        None if names(nearest) => Ok((nearest, None)),
        None => Err(none()),
    }
}

/// Whether all that stands there are units, and one at least in letters.
fn is_units(fields: &[String]) -> bool {
    let said: Vec<&str> = fields.iter().map(|f| bare(f)).filter(|f| !f.is_empty()).collect();
    let unit = |text: &&str| exported_unit(text).is_ok() || TimeFormat::parse(text).is_ok();
    let known = said.iter().filter(|text| unit(text)).count();
    // A unit or two that nobody knows may stand among them.
    known * 3 >= said.len() * 2 && said.iter().any(|text| unit(text) && text.chars().any(char::is_alphabetic))
}

/// How numbers are written: the simplest way that reads the most of them.
fn writing(lines: &[&str], table: &Table, unclear: &mut Vec<String>) -> (Decimal, Option<Thousands>) {
    let mut fields = Vec::new();
    let mut texts: Vec<&str> = Vec::new();
    for line in table.rows.iter().take(2000) {
        split(lines[*line], table.separator, &mut fields);
        texts.extend(fields.iter().copied());
    }
    let read = |(decimal, thousands): &(Decimal, Option<Thousands>)| {
        let format = format(*decimal, *thousands);
        texts.iter().filter(|text| matches!(format.read(text), Field::Number(_))).count()
    };
    let clash = |writing: &&(Decimal, Option<Thousands>)| {
        let signs = [Some(writing.0.sign()), writing.1.map(Thousands::sign)];
        !signs.contains(&table.separator.sign().or(Some('\n')))
            && (table.separator != Separator::Spaces || writing.1 != Some(Thousands::Space))
    };
    let possible: Vec<_> = WRITINGS.iter().filter(clash).collect();
    let most = possible.iter().map(|writing| read(writing)).max().unwrap_or(0);
    let best = possible.into_iter().find(|writing| read(writing) == most).copied().unwrap_or_default();
    let grouped = |text: &&str| {
        let digits = text.trim_start_matches(['-', '+']);
        digits.split_once(',').is_some_and(|(a, b)| b.len() == 3 && !a.starts_with('0') && a.len() <= 3)
    };
    let with_comma: Vec<&str> = texts.into_iter().filter(|text| text.contains(',')).collect();
    if best == (Decimal::Comma, None) && with_comma.iter().all(grouped) {
        let example = with_comma.first().copied().unwrap_or_default();
        unclear.push(format!(
            "`{example}`: is the comma a decimal mark, or does it part thousands? Read as a decimal mark; else write `thousands: \",\"`"
        ));
    }
    best
}

/// A pattern that one line before the first row matches, and one in each gap between rows.
fn step_starts(lines: &[&str], table: &Table, header: usize) -> Option<String> {
    let gaps: Vec<&[&str]> =
        table.rows.windows(2).filter(|w| w[1] > w[0] + 1).map(|w| &lines[w[0] + 1..w[1]]).collect();
    let says = |line: &&&str| !line.trim().is_empty();
    let gaps: Vec<&[&str]> = gaps.into_iter().filter(|gap| gap.iter().any(|line| says(&line))).collect();
    let first = gaps.first()?;
    let candidates = first.iter().filter(says).filter_map(|line| numbered(line));
    let own_header = first.contains(&lines[header]).then(|| format!("^{}", regex::escape(lines[header].trim())));
    let fits = |pattern: &String| {
        let Ok(pattern) = regex::Regex::new(pattern) else { return false };
        gaps.iter().all(|gap| gap.iter().filter(|line| pattern.is_match(line)).count() == 1)
    };
    candidates.chain(own_header).find(fits)
}

/// `Stretch 3 …` → `^Stretch\s*(\d+)`.
fn numbered(line: &str) -> Option<String> {
    let text = line.trim();
    let digit = text.find(|c: char| c.is_ascii_digit())?;
    let before = text[..digit].trim_end();
    before.chars().any(char::is_alphabetic).then(|| format!(r"^\s*{}\s*(\d+)", regex::escape(before)))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::ingest::text::lines;

    fn shape(text: &str) -> Shape {
        of(&lines(text)).unwrap()
    }

    #[test]
    fn separators_and_decimals_are_told_apart() {
        let cases = [
            ("t;M\n0,1;1,5\n0,2;2,5\n", Separator::Semicolon, Decimal::Comma, None),
            ("t,M\n0.1,1.5\n0.2,2.5\n", Separator::Comma, Decimal::Point, None),
            ("t\tM\n0,1\t1,5\n0,2\t2,5\n", Separator::Tab, Decimal::Comma, None),
            ("t M\n0,1 1,5\n0,2 2,5\n", Separator::Spaces, Decimal::Comma, None),
            ("t|M\n1|1.234,5\n2|2.234,5\n", Separator::Bar, Decimal::Comma, Some(Thousands::Point)),
            ("t;M\n0.5;1 234.5\n0.6;2 234.5\n", Separator::Semicolon, Decimal::Point, Some(Thousands::Space)),
            ("t;M\n0.5;1'234.5\n0.6;2'234.5\n", Separator::Semicolon, Decimal::Point, Some(Thousands::Apostrophe)),
        ];
        for (text, separator, decimal, thousands) in cases {
            let found = shape(text);
            assert_eq!((found.separator, found.decimal, found.thousands), (separator, decimal, thousands), "{text}");
            assert_eq!((found.header, found.names.len(), found.unclear.len()), (0, 2, 0), "{text}");
        }
    }

    #[test]
    fn a_comma_that_may_part_thousands_is_said() {
        assert!(shape("t;M\n1;1,234\n2;2,345\n").unclear[0].starts_with("`1,234`: is the comma"));
        assert!(shape("t;M\n1;0,234\n2;2,345\n").unclear.is_empty());
    }

    #[test]
    fn the_row_of_units_is_no_header() {
        let found = shape("Sample;A\nTool radius;25,000;mm\n\nPart;Clock;Torque\n-;s;uN.m\n1;0,1;1,5\n1;0,2;2,5\n");
        assert_eq!((found.header, found.units.map(|u| u.0)), (3, Some(4)));
        let found = shape("# a = b\nt\tg\tM\n# part 1: hold\n0.1\t2\t3\n0.2\t2\t3\n");
        assert_eq!((found.header, found.comment), (1, Some("#")), "a remark between header and rows is neither");
        let found = shape("# a = b\n# t g M\n0.1 2 3\n0.2 2 3\n");
        assert_eq!(
            (found.header, found.comment, found.names),
            (1, Some("#"), vec!["t".into(), "g".into(), "M".into()])
        );
    }

    #[test]
    fn steps_begin_with_lines_of_one_pattern() {
        let text = "x\nStretch 1 up\nt;M\n1;2\n2;3\n\nStretch 2 down\nt;M\n3;4\n4;5\n\nStretch 3\nt;M\n5;6\n6;1\n";
        assert_eq!(shape(text).step_starts.as_deref(), Some(r"^\s*Stretch\s*(\d+)"));
        assert_eq!(shape("t;M\n1;2\n\n3;4\n\n5;6\n").step_starts, None, "blank lines begin no steps");
        assert_eq!(shape("t;M\n1;2\n3;4\nt;M\n5;6\n").step_starts.as_deref(), Some("^t;M"));
    }

    #[test]
    fn what_is_no_table_is_told() {
        assert!(of(&lines("dear reader,\nthis is a letter\n")).is_err());
        assert!(of(&lines("1;2\n3;4\n")).unwrap_err().contains("no header"));
    }
}

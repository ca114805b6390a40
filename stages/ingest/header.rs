//! The header of an export: where it is, what stands above it, and the row of units below. No rows of data here.

use super::layout::{Column, Columns, Layout, Role, Separator};
use super::text::{RAW, shown};
use super::times::moment;
use crate::near_miss::nearest;
use pipeline::diagnostic::{Diagnostic, Place};
use std::collections::BTreeMap;

/// The header that was found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Header {
    /// Index of its line, from 0.
    pub(crate) line: usize,
    /// What stands between its fields, never `auto`.
    pub(crate) separator: Separator,
    /// Names of all columns.
    pub(crate) names: Vec<String>,
    /// Which field each mapped column is.
    pub(crate) at: Vec<(Role, usize)>,
}

/// Separators in the order in which `auto` tries them.
const SEPARATORS: [Separator; 5] =
    [Separator::Tab, Separator::Semicolon, Separator::Bar, Separator::Comma, Separator::Spaces];

/// Splits a line into trimmed fields. A field in double quotes may hold the separator.
pub(crate) fn split<'a>(line: &'a str, separator: Separator, fields: &mut Vec<&'a str>) {
    fields.clear();
    let Some(sign) = separator.sign() else { return split_at_blanks(line, fields) };
    let mut rest = Some(line);
    while let Some(text) = rest {
        let (field, after) = first_field(text, sign);
        fields.push(field);
        rest = after;
    }
}

fn first_field(text: &str, separator: char) -> (&str, Option<&str>) {
    let (field, after) = match quoted(text) {
        Some((inner, behind)) => (inner, behind.find(separator).map(|at| &behind[at..])),
        None => text.find(separator).map_or((text, None), |at| (&text[..at], Some(&text[at..]))),
    };
    (field.trim(), after.map(|a| &a[separator.len_utf8()..]))
}

/// What stands in quotes at the beginning, and what behind them.
fn quoted(text: &str) -> Option<(&str, &str)> {
    let inner = text.trim_start_matches(' ').strip_prefix('"')?;
    let mut from = 0;
    loop {
        let at = from + inner[from..].find('"')?;
        // Two quotes stand for one that belongs to the text (RFC 4180, 2.7).
        if !inner[at + 1..].starts_with('"') {
            return Some((&inner[..at], &inner[at + 1..]));
        }
        from = at + 2;
    }
}

fn split_at_blanks<'a>(line: &'a str, fields: &mut Vec<&'a str>) {
    let mut rest = line.trim();
    while !rest.is_empty() {
        let (field, after) = match quoted(rest) {
            Some(parts) => parts,
            None => rest.split_at(rest.find(char::is_whitespace).unwrap_or(rest.len())),
        };
        fields.push(field.trim());
        rest = after.trim_start();
    }
}

/// The line without the mark of a comment, and whether it had one.
pub(super) fn without_comment<'a>(line: &'a str, layout: &Layout) -> (&'a str, bool) {
    let bare = layout.comment.as_deref().and_then(|mark| line.trim_start().strip_prefix(mark.trim()));
    (bare.unwrap_or(line), bare.is_some())
}

/// Finds the header: the first line that holds all mapped names.
pub(super) fn find(lines: &[&str], layout: &Layout) -> Result<Header, Vec<Diagnostic>> {
    let tried = match layout.separator {
        Separator::Auto => &SEPARATORS[..],
        ref stated => std::slice::from_ref(stated),
    };
    search(lines, layout, tried)?.ok_or_else(|| vec![not_found(lines, layout, tried)])
}

fn search(lines: &[&str], layout: &Layout, tried: &[Separator]) -> Result<Option<Header>, Vec<Diagnostic>> {
    // Line by line, so that a long export is not gone through once for each separator.
    for (line, text) in lines.iter().enumerate() {
        for separator in tried {
            if let Some(header) = as_header(text, line, *separator, layout)? {
                return Ok(Some(header));
            }
        }
    }
    Ok(None)
}

/// The header that this line is, if it holds all mapped names.
pub(super) fn as_header(
    text: &str,
    line: usize,
    separator: Separator,
    layout: &Layout,
) -> Result<Option<Header>, Vec<Diagnostic>> {
    let mut fields = Vec::new();
    split(without_comment(text, layout).0, separator, &mut fields);
    let mapped = layout.columns.mapped();
    if mapped.iter().any(|(_, column)| !fields.contains(&column.name.trim())) {
        return Ok(None);
    }
    let mut at = Vec::new();
    for (role, column) in mapped {
        let name = column.name.trim();
        let found: Vec<usize> = (0..fields.len()).filter(|i| fields[*i] == name).collect();
        let field = one_of(&found, column).map_err(|(message, help)| vec![at_line(message, line, text).help(help)])?;
        at.push((role, field));
    }
    let names = fields.iter().map(|f| (*f).to_owned()).collect();
    Ok(Some(Header { line, separator, names, at }))
}

/// Which of the fields of its name a column is.
fn one_of(found: &[usize], column: &Column) -> Result<usize, (String, String)> {
    let name = column.name.trim();
    let at = |fields: &[usize]| fields.iter().map(|f| (f + 1).to_string()).collect::<Vec<_>>().join(" and ");
    match (column.which, found) {
        (None, [only]) => Ok(*only),
        (None, _) => {
            let message = format!("column `{name}` stands twice in the header, as fields {}", at(found));
            Err((message, "add `which: 1` or `which: 2` to this column in the layout".to_owned()))
        }
        (Some(which), _) => found.get(which.wrapping_sub(1)).copied().ok_or_else(|| {
            let message =
                format!("column `{name}` stands {} times in the header, the layout wants number {which}", found.len());
            (message, format!("it stands in fields {}", at(found)))
        }),
    }
}

fn at_line(message: String, line: usize, text: &str) -> Diagnostic {
    let place = Place { text: Some(shown(text)), ..Place::line(RAW, line as u64 + 1) };
    Diagnostic::new(message).at(place)
}

/// Says what stands nearest to a header, and what it lacks.
fn not_found(lines: &[&str], layout: &Layout, tried: &[Separator]) -> Diagnostic {
    let Some(best) = nearest_header(lines, layout, tried) else { return no_names(lines, layout, tried) };
    if let Ok(Some(other)) = search(lines, layout, &SEPARATORS) {
        let by = other.separator.name();
        return at_line(
            format!("this header is separated by `{by}`, the layout says otherwise"),
            other.line,
            lines[other.line],
        )
        .help(format!("write `separator: {by}` or `separator: auto` in the layout"));
    }
    let lacking: Vec<&str> = mapped_names(&layout.columns).into_iter().filter(|n| !best.names.contains(n)).collect();
    let message = format!("the header has no column {}; it has {}", listed(&lacking), listed(&best.names));
    let free = || best.names.iter().copied().filter(|name| !mapped_names(&layout.columns).contains(name));
    let guesses: Vec<String> = lacking
        .iter()
        .filter_map(|name| Some(format!("did you mean `{}` by `{name}`?", nearest(name, free())?)))
        .collect();
    let help = if guesses.is_empty() { "change the names in the layout's `columns`".into() } else { guesses.join(" ") };
    at_line(message, best.line, lines[best.line]).help(help)
}

fn no_names(lines: &[&str], layout: &Layout, tried: &[Separator]) -> Diagnostic {
    let by: Vec<&str> = tried.iter().map(|s| s.name()).collect();
    let names = mapped_names(&layout.columns);
    let first = lines.iter().position(|line| !line.trim().is_empty()).unwrap_or(0);
    at_line(
        format!("no line holds any of the columns {}, with {} between fields", listed(&names), listed(&by)),
        first,
        lines.get(first).copied().unwrap_or_default(),
    )
    .help("check `columns`, `separator` and `encoding` of the layout, and that this file is an export of that kind")
}

fn mapped_names(columns: &Columns) -> Vec<&str> {
    columns.mapped().into_iter().map(|(_, column)| column.name.trim()).collect()
}

fn listed(names: &[&str]) -> String {
    names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")
}

struct Candidate<'a> {
    line: usize,
    names: Vec<&'a str>,
}

/// The line that holds most of the mapped names, at least one.
fn nearest_header<'a>(lines: &[&'a str], layout: &Layout, tried: &[Separator]) -> Option<Candidate<'a>> {
    let wanted = mapped_names(&layout.columns);
    let mut best: Option<(usize, Candidate<'a>)> = None;
    let mut fields = Vec::new();
    for separator in tried.iter().chain(&SEPARATORS) {
        for (line, text) in lines.iter().enumerate() {
            split(without_comment(text, layout).0, *separator, &mut fields);
            let held = wanted.iter().filter(|name| fields.contains(name)).count();
            if held > best.as_ref().map_or(0, |(most, _)| *most) {
                best = Some((held, Candidate { line, names: fields.clone() }));
            }
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// Entries above the header: `key<separator>value`, `key = value` or `key: value`, whichever sign comes first.
/// Further fields of a value are joined by blanks; the first of equal keys stays.
pub(crate) fn preamble(lines: &[&str], header: &Header, layout: &Layout) -> BTreeMap<String, String> {
    let mut entries = BTreeMap::new();
    for line in &lines[..header.line] {
        if let Some((key, value)) = entry(without_comment(line, layout).0, header.separator) {
            entries.entry(key).or_insert(value);
        }
    }
    entries
}

fn entry(line: &str, separator: Separator) -> Option<(String, String)> {
    let sign = separator.sign();
    let at = line.find(|c| Some(c) == sign || c == '=' || c == ':')?;
    let (key, rest) = (line[..at].trim().trim_matches('"'), &line[at..]);
    let mut rest = rest.chars();
    let by_separator = rest.next() == sign;
    let value = rest.as_str();
    // A value that stands in quotes as a whole is what stands in them, as a field would be.
    let mut fields =
        vec![quoted(value.trim()).filter(|(_, behind)| behind.is_empty()).map_or(value.trim(), |(v, _)| v)];
    if by_separator {
        split(value, separator, &mut fields);
    }
    fields.retain(|field| !field.is_empty());
    (!key.is_empty()).then(|| (key.to_owned(), fields.join(" ")))
}

/// The start of the run as ISO 8601, from an entry whose key speaks of start or date.
pub(super) fn started(preamble: &BTreeMap<String, String>) -> Option<String> {
    const KEYS: [&str; 6] = ["start", "begin", "date", "datum", "beginn", "timestamp"];
    preamble
        .iter()
        .filter(|(key, _)| KEYS.iter().any(|word| key.to_lowercase().contains(word)))
        .find_map(|(_, value)| moment(value))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn layout(names: [&str; 3]) -> Layout {
        let column = |name: &str| Some(Column { name: name.into(), ..Column::default() });
        let [time, torque, angle] = names.map(column);
        Layout { columns: Columns { time, torque, angle, ..Columns::default() }, ..Layout::default() }
    }

    fn fields(line: &str, separator: Separator) -> Vec<&str> {
        let mut fields = Vec::new();
        split(line, separator, &mut fields);
        fields
    }

    #[test]
    fn fields_are_trimmed_and_quotes_keep_the_separator() {
        assert_eq!(fields("a; \"b;c\" ;;d", Separator::Semicolon), ["a", "b;c", "", "d"]);
        assert_eq!(fields("  a  \"b c\"\t d ", Separator::Spaces), ["a", "b c", "d"]);
        assert_eq!(fields("5\" disc\t1", Separator::Tab), ["5\" disc", "1"]);
    }

    #[test]
    fn the_header_is_found_with_its_separator() {
        let lines = ["t;M;angle;x", "# t M angle", "1;2;3;4"];
        let found = find(&lines, &layout(["t", "M", "angle"])).unwrap();
        assert_eq!((found.line, found.separator), (0, Separator::Semicolon));
        assert_eq!(found.at, [(Role::Time, 0), (Role::Angle, 2), (Role::Torque, 1)]);
    }

    #[test]
    fn a_header_may_stand_in_a_comment() {
        let layout = Layout { comment: Some("#".into()), ..layout(["t", "M", "angle"]) };
        assert_eq!(find(&["# x = 1", "# t M angle"], &layout).unwrap().line, 1);
    }

    #[test]
    fn a_missing_column_is_named_with_what_is_there() {
        let said =
            find(&["Zeit", "t;Torque;angle", "1;2;3"], &layout(["t", "Torqe", "angle"])).unwrap_err()[0].to_string();
        assert_eq!(
            said,
            "raw:2: the header has no column `Torqe`; it has `t`, `Torque`, `angle` (did you mean `Torque` by `Torqe`?)"
        );
    }

    #[test]
    fn another_separator_is_proposed() {
        let layout = Layout { separator: Separator::Tab, ..layout(["t", "M", "angle"]) };
        let said = find(&["t;M;angle"], &layout).unwrap_err()[0].to_string();
        assert!(said.contains("separated by `;`"), "{said}");
    }

    #[test]
    fn a_file_of_another_kind_is_told() {
        let said = find(&["", "dear reader,"], &layout(["t", "M", "angle"])).unwrap_err()[0].to_string();
        assert!(said.starts_with("raw:2: no line holds any of the columns `t`, `angle`, `M`"), "{said}");
    }

    #[test]
    fn a_name_that_stands_twice_is_refused() {
        let said = find(&["t;M;angle;M"], &layout(["t", "M", "angle"])).unwrap_err()[0].to_string();
        assert!(said.contains("`M` stands twice in the header, as fields 2 and 4"), "{said}");
    }

    #[test]
    fn three_ways_to_write_an_entry() {
        let lines =
            ["# Tool = cone, 2 deg", "Radius;25,000;mm", "Start: 2026-01-05 10:20", "note", "Radius;1", "t;M;angle"];
        let layout = Layout { comment: Some("#".into()), ..layout(["t", "M", "angle"]) };
        let header = find(&lines, &layout).unwrap();
        let found = preamble(&lines, &header, &layout);
        assert_eq!(found["Tool"], "cone, 2 deg");
        assert_eq!(found["Radius"], "25,000 mm");
        assert_eq!(found.len(), 3);
        assert_eq!(started(&found).unwrap(), "2026-01-05T10:20:00");
    }
}

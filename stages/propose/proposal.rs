//! One export → the layout that is proposed for it, with all that was seen on the way. Nothing is printed here.

use super::columns::{self, TODO};
use super::shape::{self, Shape};
use crate::ingest::compute;
use crate::ingest::container::pass;
use crate::ingest::header::{self, Header};
use crate::ingest::layout::{Encoding, Layout};
use crate::ingest::pages::{Looked, Pages, look_over};
use crate::ingest::params::Params;
use crate::ingest::result::{Head, Readings};
use crate::ingest::text::lines;
use crate::ingest::workbook;
use pipeline::diagnostic::Diagnostic;
use std::collections::BTreeMap;

/// What was found in one export, or in one sheet of a workbook.
#[derive(Debug)]
pub(super) struct Proposal {
    /// The layout, with `TODO` for units that nobody told.
    pub(super) layout: Layout,
    /// The sheet, in a workbook with several.
    pub(super) sheet: Option<String>,
    /// Encoding as it was found, in words.
    pub(super) encoding: String,
    /// What the text looks like.
    pub(super) shape: Shape,
    /// Entries above the header.
    pub(super) preamble: BTreeMap<String, String>,
    /// What the export says of the rotor's inertia in its torque.
    pub(super) inertia: Option<String>,
    /// Columns without a role.
    pub(super) unused: Vec<String>,
    /// What could also be meant otherwise, or is not told.
    pub(super) unclear: Vec<String>,
    /// What the layout reads; none while a `TODO` is left in it.
    pub(super) read: Option<(Readings, Head)>,
}

/// Proposes a layout for an export; for each sheet with readings where it is a workbook.
///
/// # Errors
/// If it is no text or workbook, or holds no table of readings.
pub(super) fn propose(bytes: &[u8]) -> Result<Vec<Proposal>, Vec<Diagnostic>> {
    match look_over(&bytes, Encoding::Auto)? {
        Looked::Workbook(book) => of_workbook(&book),
        Looked::Text(survey) => {
            let text = pass(&bytes, |text| Pages::open(text, &survey)?.rest())?;
            let shape = shape::of(&lines(&text)).map_err(refused)?;
            let packed = if survey.gzip { ", packed by gzip" } else { "" };
            let cut = if survey.packing_cut { ", cut off" } else { "" };
            let encoding = stated(survey.encoding());
            let base = Layout { encoding, separator: shape.separator, decimal: shape.decimal, ..Layout::default() };
            let words = format!("{}{packed}{cut}", survey.encoding());
            Ok(vec![of_text(&text, shape, base, bytes, None, words)])
        }
    }
}

fn refused(message: String) -> Vec<Diagnostic> {
    let help = "if it is one, write its layout by hand: `shearback schema` tells what a layout can say";
    vec![Diagnostic::new(message).help(help)]
}

/// The encoding as a layout states it.
fn stated(found: &str) -> Encoding {
    match found {
        "UTF-16LE" | "UTF-16BE" => Encoding::Utf16,
        "windows-1252" => Encoding::Windows1252,
        _ => Encoding::Utf8,
    }
}

fn of_workbook(book: &[u8]) -> Result<Vec<Proposal>, Vec<Diagnostic>> {
    let names = workbook::sheets(book)?;
    let mut found = Vec::new();
    let mut why = "the workbook has no sheets".to_owned();
    for name in &names {
        match of_sheet(book, name)? {
            Ok(proposal) => found.push(proposal),
            Err(message) => why = format!("sheet `{name}`: {message}"),
        }
    }
    match &mut found[..] {
        [] => return Err(refused(why)),
        // The only one needs no name.
        [only] => only.sheet = None,
        _ => {}
    }
    Ok(found)
}

/// Cells may hold numbers as text, with either decimal mark.
fn of_sheet(book: &[u8], name: &str) -> Result<Result<Proposal, String>, Vec<Diagnostic>> {
    let mut why = String::new();
    for decimal in [crate::ingest::layout::Decimal::Point, crate::ingest::layout::Decimal::Comma] {
        let text = workbook::text(book, Some(name), &shape::format(decimal, None), |_| true)?;
        match shape::of(&lines(&text)) {
            Ok(shape) => {
                let base = Layout { decimal, ..Layout::default() };
                return Ok(Ok(of_text(&text, shape, base, book, Some(name), format!("workbook, sheet `{name}`"))));
            }
            Err(message) => why = message,
        }
    }
    Ok(Err(why))
}

fn of_text(text: &str, shape: Shape, base: Layout, bytes: &[u8], sheet: Option<&str>, encoding: String) -> Proposal {
    let lines = lines(text);
    let mapped = columns::map(&columns::seen(&lines, &shape));
    let mut layout = Layout {
        thousands: shape.thousands,
        comment: shape.comment.map(str::to_owned),
        columns: mapped.columns,
        time_restarts: mapped.time_restarts,
        ..base
    };
    let has_steps = layout.columns.step.is_some();
    layout.step_starts = shape.step_starts.clone().filter(|_| !has_steps);
    let header = Header { line: shape.header, separator: shape.separator, names: shape.names.clone(), at: Vec::new() };
    let preamble = header::preamble(&lines, &header, &layout);
    let inertia = inertia(&preamble);
    layout.torque_includes_inertia = inertia.as_ref().is_none_or(|(includes, _)| *includes);
    let mut unclear = [shape.unclear.clone(), mapped.unclear].concat();
    if inertia.is_none() {
        unclear.push(
            "the export does not say whether its torque still holds the rotor's inertia; raw is the safe reading"
                .to_owned(),
        );
    }
    let read = preview(bytes, sheet, &layout, &mut unclear);
    Proposal {
        layout,
        sheet: sheet.map(str::to_owned),
        encoding,
        shape,
        preamble,
        inertia: inertia.map(|(_, evidence)| evidence),
        unused: mapped.unused,
        unclear,
        read,
    }
}

fn preview(bytes: &[u8], sheet: Option<&str>, layout: &Layout, unclear: &mut Vec<String>) -> Option<(Readings, Head)> {
    let lacking = layout.columns.mapped().into_iter().any(|(_, column)| column.unit.as_deref() == Some(TODO));
    if lacking {
        return None;
    }
    match compute::read(bytes, sheet, layout, &Params::default()) {
        Ok(read) => Some(read),
        Err(problems) => {
            unclear.extend(problems.iter().map(|problem| format!("by this layout: {problem}")));
            None
        }
    }
}

/// Whether the torque still holds the rotor's inertia, from an entry that speaks of it, with the entry.
fn inertia(preamble: &BTreeMap<String, String>) -> Option<(bool, String)> {
    preamble.iter().find_map(|(key, value)| {
        let text = format!("{key} {value}").to_lowercase();
        let speaks = ["inertia", "trägheit", "inertie", "rotor"].iter().any(|word| text.contains(word));
        let of_torque = ["torque", "moment", "couple"].iter().any(|word| text.contains(word));
        let value = value.to_lowercase();
        let words: Vec<&str> = value.split(|c: char| !c.is_alphanumeric()).collect();
        let says = |list: &[&str]| list.iter().any(|word| words.contains(word));
        let raw = (speaks && says(&["off", "no", "none", "not", "without", "ohne", "aus", "nein", "sans", "false"]))
            || ((speaks || of_torque) && (says(&["raw", "uncorrected"]) || value.contains("as measured")));
        let corrected =
            speaks && says(&["on", "yes", "corrected", "subtracted", "removed", "ein", "ja", "true", "with"]);
        (raw || corrected).then(|| (raw, format!("{key} = {}", preamble[key])))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(key: &str, value: &str) -> Option<bool> {
        inertia(&BTreeMap::from([(key.to_owned(), value.to_owned())])).map(|(includes, _)| includes)
    }

    #[test]
    fn preambles_tell_of_inertia() {
        assert_eq!(told("inertia correction", "off"), Some(true));
        assert_eq!(told("Torque shown", "as measured"), Some(true));
        assert_eq!(told("Drehmoment", "Motor, ohne Trägheitsabzug"), Some(true));
        assert_eq!(told("stress", "motor torque over tool constant, rotor not taken off"), Some(true));
        assert_eq!(told("Inertia correction", "on"), Some(false));
        assert_eq!(told("Moving part inertia", "31,50 uN.m.s2"), None);
        assert_eq!(told("Sample", "raw clay"), None);
    }
}

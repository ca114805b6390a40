//! The earlier table as text cells with a head: from CSV or a workbook. What the cells mean is not known here.

use super::params::EarlierTable;
use calamine::{Data, DataType, Reader};
use std::io::Cursor;

/// A head and rows of cells, all as text; the row number in the file goes with each.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sheet {
    /// Names of the columns.
    pub head: Vec<String>,
    /// The rows below the head.
    pub rows: Vec<Cells>,
    /// Decimal sign of its numbers.
    pub decimal: char,
}

/// A row of cells.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cells {
    /// Number of the row in the file, from 1.
    pub line: u64,
    /// Its cells as text.
    pub texts: Vec<String>,
}

/// Reads the old file; a workbook is known by its first bytes.
pub(super) fn read(bytes: &[u8], old: &EarlierTable) -> Result<Sheet, String> {
    const WORKBOOKS: [&[u8]; 2] = [b"PK\x03\x04", b"\xd0\xcf\x11\xe0"];
    if WORKBOOKS.iter().any(|magic| bytes.starts_with(magic)) { workbook(bytes, old) } else { csv(bytes, old) }
}

fn csv(bytes: &[u8], old: &EarlierTable) -> Result<Sheet, String> {
    // Earlier tables are UTF-8 or what Windows wrote in western Europe; their numbers are the same in both.
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text.trim_start_matches('\u{feff}').to_owned(),
        Err(_) => encoding_rs::WINDOWS_1252.decode(bytes).0.into_owned(),
    };
    let separator = match old.separator.as_str() {
        "tab" | "\t" => b'\t',
        other if other.len() == 1 => other.as_bytes()[0],
        other => return Err(format!("separator `{other}` is not one sign; `tab` is understood")),
    };
    let decimal = decimal(old)?;
    let mut reader =
        csv::ReaderBuilder::new().delimiter(separator).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let head = reader.headers().map_err(|e| e.to_string())?.iter().map(str::to_owned).collect();
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| e.to_string())?;
        let line = record.position().map_or(0, csv::Position::line);
        rows.push(Cells { line, texts: record.iter().map(str::to_owned).collect() });
    }
    Ok(Sheet { head, rows, decimal })
}

fn decimal(old: &EarlierTable) -> Result<char, String> {
    match old.decimal.as_str() {
        "." => Ok('.'),
        "," => Ok(','),
        other => Err(format!("decimal sign `{other}` is neither `.` nor `,`")),
    }
}

/// A cell that is a number comes with the decimal sign that its neighbours of text have.
fn cell(cell: &Data, decimal: char) -> String {
    let text = cell.to_string();
    if cell.is_float() { text.replace('.', &decimal.to_string()) } else { text.trim().to_owned() }
}

fn workbook(bytes: &[u8], old: &EarlierTable) -> Result<Sheet, String> {
    let mut book = calamine::open_workbook_auto_from_rs(Cursor::new(bytes)).map_err(|e| e.to_string())?;
    let names = book.sheet_names().to_vec();
    let name = match &old.sheet {
        Some(wanted) if names.contains(wanted) => wanted.clone(),
        Some(wanted) => return Err(format!("there is no sheet `{wanted}`; there are {}", names.join(", "))),
        None => names.first().cloned().ok_or("the workbook has no sheet")?,
    };
    let range = book.worksheet_range(&name).map_err(|e| e.to_string())?;
    let first = range.start().map_or(0, |(row, _)| u64::from(row));
    let decimal = decimal(old)?;
    let cells = |(at, row): (usize, &[Data])| Cells {
        line: first + at as u64 + 1,
        texts: row.iter().map(|c| cell(c, decimal)).collect(),
    };
    let mut rows = range.rows().enumerate().map(cells);
    let head = rows.next().ok_or_else(|| format!("sheet `{name}` is empty"))?;
    Ok(Sheet { head: head.texts, rows: rows.collect(), decimal })
}

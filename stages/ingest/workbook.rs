//! One sheet of a workbook → text with a line a row and a tab between cells, as an export would write it.
//! Columns and their units are found in that text like in any other.

use super::number::{Field, Format};
use super::text::{RAW, problem};
use calamine::{Data, Reader, Xlsx};
use pipeline::diagnostic::{Diagnostic, Place};
use std::io::Cursor;

/// A sheet may have at most so many cells, blank ones counted: a single cell far out makes a sheet of any size.
const MOST_CELLS: u64 = 50_000_000;

/// Whether the bytes are a workbook: a ZIP archive with the part that every one has (ECMA-376-1, 12.3.23; its name
/// is common practice).
pub(crate) fn is_one(bytes: &[u8]) -> bool {
    let part = b"xl/workbook.xml";
    bytes.starts_with(b"PK\x03\x04") && bytes.windows(part.len()).any(|window| window == part)
}

type Book<'a> = Xlsx<Cursor<&'a [u8]>>;

fn open(bytes: &[u8]) -> Result<Book<'_>, Vec<Diagnostic>> {
    Xlsx::new(Cursor::new(bytes)).map_err(|error| damaged(&error))
}

fn damaged(error: &calamine::XlsxError) -> Vec<Diagnostic> {
    problem(format!("this workbook cannot be read: {error}"), "save it again as .xlsx, or export the run as text")
}

/// Names of the sheets in their order.
///
/// # Errors
/// If the workbook is damaged.
pub(crate) fn sheets(bytes: &[u8]) -> Result<Vec<String>, Vec<Diagnostic>> {
    Ok(open(bytes)?.sheet_names())
}

/// The text of one sheet; of the only one that `fits` where none is named.
///
/// # Errors
/// If the workbook is damaged, has no such sheet, or no or several sheets fit.
pub(crate) fn text(
    bytes: &[u8],
    sheet: Option<&str>,
    format: &Format,
    fits: impl Fn(&str) -> bool,
) -> Result<String, Vec<Diagnostic>> {
    let mut book = open(bytes)?;
    let names = book.sheet_names();
    if let Some(name) = sheet {
        if !names.iter().any(|n| n == name) {
            return Err(problem(
                format!("the workbook has no sheet `{name}`; it has {}", listed(&names)),
                "change `sheets` of the raw entry",
            ));
        }
        return as_text(&mut book, name, format);
    }
    let mut texts = Vec::new();
    for name in &names {
        texts.push((name, as_text(&mut book, name, format)?));
    }
    let fitting: Vec<usize> = (0..texts.len()).filter(|at| fits(&texts[*at].1)).collect();
    match fitting[..] {
        [only] => Ok(texts.swap_remove(only).1),
        // The reader tells what the first sheet lacks.
        [] if !texts.is_empty() => Ok(texts.swap_remove(0).1),
        [] => Err(problem("the workbook has no sheets", "export the run again")),
        _ => {
            let names: Vec<String> = fitting.iter().map(|at| texts[*at].0.clone()).collect();
            let help = format!("say which are runs: write `sheets: [{}]` in the raw entry", names.join(", "));
            Err(problem(format!("{} sheets have these columns: {}", names.len(), listed(&names)), &help))
        }
    }
}

fn listed(names: &[String]) -> String {
    names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ")
}

fn as_text(book: &mut Book<'_>, name: &str, format: &Format) -> Result<String, Vec<Diagnostic>> {
    let range = book.worksheet_range(name).map_err(|error| damaged(&error))?;
    let (height, width) = range.get_size();
    if height as u64 * width as u64 > MOST_CELLS {
        return Err(problem(
            format!("sheet `{name}` has {height} × {width} cells: too many"),
            "clear stray cells far from the data",
        ));
    }
    let mut out = String::new();
    // Rows above the first cell count, so that a line is a row of the sheet.
    let (first, _) = range.start().unwrap_or_default();
    out.extend((0..first).map(|_| '\n'));
    for (at, row) in range.rows().enumerate() {
        for (column, cell) in row.iter().enumerate() {
            if column > 0 {
                out.push('\t');
            }
            write_cell(&mut out, cell, format).map_err(|what| {
                let place =
                    Place { column: Some(column as u64 + 1), ..Place::line(RAW, u64::from(first) + at as u64 + 1) };
                vec![
                    Diagnostic::new(format!("sheet `{name}`: this cell holds {what}"))
                        .at(place)
                        .help("mend it in the workbook"),
                ]
            })?;
        }
        out.push('\n');
    }
    Ok(out)
}

/// Numbers in full precision, dates in ISO 8601, times of day and durations as `hh:mm:ss`. Text that is a number by
/// the layout becomes one: programs that write workbooks as text do that.
fn write_cell(out: &mut String, cell: &Data, format: &Format) -> Result<(), String> {
    match cell {
        Data::Empty => {}
        Data::Float(value) => *out += &value.to_string(),
        Data::Int(value) => *out += &value.to_string(),
        Data::Bool(value) => *out += &value.to_string(),
        Data::DateTime(stamp) if stamp.is_duration() || stamp.as_f64() < 1.0 => *out += &hours(stamp.as_f64()),
        Data::DateTime(stamp) => {
            let (year, month, day, hour, minute, second, milli) = stamp.to_ymd_hms_milli();
            *out += &format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}.{milli:03}");
        }
        Data::Error(error) => return Err(format!("the error {error}")),
        Data::String(text) | Data::DateTimeIso(text) | Data::DurationIso(text) => match format.read(text.trim()) {
            Field::Number(value) => *out += &value.to_string(),
            _ => out.extend(text.trim().chars().map(|c| if c.is_whitespace() || c == '"' { ' ' } else { c })),
        },
    }
    Ok(())
}

fn hours(days: f64) -> String {
    let millis = (days * 86_400_000.0).round() as u64;
    let (seconds, milli) = (millis / 1000, millis % 1000);
    format!("{:02}:{:02}:{:02}.{milli:03}", seconds / 3600, seconds / 60 % 60, seconds % 60)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::ingest::layout::Layout;
    use calamine::{ExcelDateTime, ExcelDateTimeType};

    fn written(days: f64, kind: ExcelDateTimeType) -> String {
        let (mut out, format) = (String::new(), Format::new(&Layout::default(), &[]));
        write_cell(&mut out, &Data::DateTime(ExcelDateTime::new(days, kind, false)), &format).unwrap();
        out
    }

    /// Examples of ECMA-376-1, 18.17.4: date base of 1900. The last two as several public programs carry them, the first
    /// from memory.
    #[test]
    fn true_dates_and_times_are_written_as_clocks_are_read() {
        for (days, text) in [
            (10.25, "1900-01-10T06:00:00.000"),
            (3_687.420_763_9, "1910-02-03T10:05:54.001"),
            (2_958_465.999_988_4, "9999-12-31T23:59:58.998"),
        ] {
            let found = written(days, ExcelDateTimeType::DateTime);
            // Seven digits of a day are 9 ms.
            let seconds = |text: &str| text[17..].parse::<f64>().unwrap();
            assert!(found[..17] == text[..17] && (seconds(&found) - seconds(text)).abs() < 0.01, "{found}");
        }
    }

    #[test]
    fn times_of_day_and_durations_are_hours() {
        assert_eq!(written(0.75, ExcelDateTimeType::DateTime), "18:00:00.000");
        assert_eq!(written(1.5, ExcelDateTimeType::TimeDelta), "36:00:00.000");
        // 12.5 s, by hand.
        assert_eq!(written(12.5 / 86_400.0, ExcelDateTimeType::DateTime), "00:00:12.500");
    }
}

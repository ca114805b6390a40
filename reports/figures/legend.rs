//! A legend in a strip above the frame, never over data: entries on a grid, names cut to what fits.

use super::panel::{Area, Drawn, dashed, mark, write};
use super::style::{Dash, INK, NOTE, Series, pen, units};
use super::svg::literal;
use plotters::style::text_anchor::{HPos, VPos};

/// Height of one row of the strip, pt.
const ROW: f64 = 11.0;
/// Room for a marker, for the dashes of a line, and behind a text, pt.
const MARKER: f64 = 10.0;
const LINE: f64 = 22.0;
const BEHIND: f64 = 6.0;

/// An entry: its look, whether its marker is filled, its text as it is.
pub struct Entry {
    /// Look of its marker.
    pub look: Series,
    /// Filled or open.
    pub filled: bool,
    /// Text, shown as it is.
    pub text: String,
}

/// A strip of given width; entries stand in columns, those of lines behind those of markers.
pub struct Legend {
    entries: Vec<Entry>,
    lines: Vec<(Dash, String)>,
    columns: usize,
    width: f64,
}

impl Legend {
    /// A legend `width` pt wide.
    pub fn new(entries: Vec<Entry>, width: f64) -> Self {
        let columns = columns(entries.iter().map(|e| (MARKER, e.text.as_str())), width);
        Self { entries, lines: Vec::new(), columns, width }
    }

    /// The same with lines, told apart by their dashes and named as they are.
    pub fn with_lines(mut self, lines: Vec<(Dash, String)>) -> Self {
        let markers = self.entries.iter().map(|e| (MARKER, e.text.as_str()));
        self.columns = columns(markers.chain(lines.iter().map(|l| (LINE, l.1.as_str()))), self.width);
        Self { lines, ..self }
    }

    fn rows_of_markers(&self) -> usize {
        self.entries.len().div_ceil(self.columns)
    }

    /// Height that it takes, pt.
    pub fn height(&self) -> f64 {
        (self.rows_of_markers() + self.lines.len().div_ceil(self.columns)) as f64 * ROW
    }

    /// Draws it with its upper left corner at `left`, `top`.
    ///
    /// # Errors
    /// If something could not be drawn.
    pub fn draw(&self, area: &Area<'_>, left: f64, top: f64) -> Drawn {
        let step = self.width / self.columns as f64;
        let place = |i: usize, rows: usize| {
            let row = rows + i / self.columns;
            (left + step * (i % self.columns) as f64, units(top + ROW * (row as f64 + 0.5)))
        };
        let name = |text: &str, (x, y): (f64, i32), indent: f64| {
            // What just fits must not lose a letter to rounding.
            let fit = ((step - indent - BEHIND) / per_character() + 1e-6).max(4.0) as usize;
            let text = literal(&shortened(text, fit));
            write(area, &text, (units(x + indent), y), NOTE, (HPos::Left, VPos::Center))
        };
        for (i, entry) in self.entries.iter().enumerate() {
            let at = place(i, 0);
            mark(area, (units(at.0 + 4.0), at.1), entry.look, entry.filled, 2.0)?;
            name(&entry.text, at, MARKER)?;
        }
        for (i, (dash, text)) in self.lines.iter().enumerate() {
            let at = place(i, self.rows_of_markers());
            dashed(area, &[(units(at.0), at.1), (units(at.0 + 18.0), at.1)], dash, pen(INK, 0.9))?;
            name(text, at, LINE)?;
        }
        Ok(())
    }
}

/// How many entries fit beside each other: each has its room in front of the text.
fn columns<'a>(entries: impl Iterator<Item = (f64, &'a str)>, width: f64) -> usize {
    let needs = |(front, text): (f64, &str)| {
        let characters = text.chars().count().min(40);
        front + per_character() * characters as f64 + BEHIND
    };
    let (mut number, mut longest) = (0, 1.0_f64);
    for entry in entries {
        number += 1;
        longest = longest.max(needs(entry));
    }
    ((width / longest).floor() as usize).clamp(1, number.max(1))
}

/// Mean advance of a character of running text, about half an em (measured on the typeface).
const fn per_character() -> f64 {
    0.5 * NOTE
}

/// At most `fit` characters, the last an ellipsis where something is left out.
pub fn shortened(text: &str, fit: usize) -> String {
    if text.chars().count() <= fit {
        return text.to_owned();
    }
    text.chars().take(fit.saturating_sub(1)).chain(['…']).collect()
}

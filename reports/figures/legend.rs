//! A legend in a strip above the frame, never over data: entries on a grid, names cut to what fits.

use super::panel::{Area, Drawn, mark, write};
use super::style::{NOTE, Series, units};
use super::svg::literal;
use plotters::style::text_anchor::{HPos, VPos};

/// Height of one row of the strip, pt.
const ROW: f64 = 11.0;

/// An entry: its look, whether its marker is filled, its text as it is.
pub struct Entry {
    /// Look of its marker.
    pub look: Series,
    /// Filled or open.
    pub filled: bool,
    /// Text, shown as it is.
    pub text: String,
}

/// A strip of given width; entries stand in columns.
pub struct Legend {
    entries: Vec<Entry>,
    columns: usize,
    width: f64,
}

impl Legend {
    /// A legend `width` pt wide.
    pub fn new(entries: Vec<Entry>, width: f64) -> Self {
        let longest = entries.iter().map(|e| e.text.chars().count()).max().unwrap_or(1);
        let fit = (width / (16.0 + per_character() * longest.min(40) as f64)).floor() as usize;
        Self { columns: fit.clamp(1, entries.len().max(1)), entries, width }
    }

    /// Height that it takes, pt.
    pub fn height(&self) -> f64 {
        self.entries.len().div_ceil(self.columns) as f64 * ROW
    }

    /// Draws it with its upper left corner at `left`, `top`.
    ///
    /// # Errors
    /// If something could not be drawn.
    pub fn draw(&self, area: &Area<'_>, left: f64, top: f64) -> Drawn {
        let step = self.width / self.columns as f64;
        for (i, entry) in self.entries.iter().enumerate() {
            let x = left + step * (i % self.columns) as f64;
            let y = units(top + ROW * ((i / self.columns) as f64 + 0.5));
            mark(area, (units(x + 4.0), y), entry.look, entry.filled, 2.0)?;
            let fit = ((step - 14.0) / per_character()).max(4.0) as usize;
            let text = literal(&shortened(&entry.text, fit));
            write(area, &text, (units(x + 10.0), y), NOTE, (HPos::Left, VPos::Center))?;
        }
        Ok(())
    }
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

//! The figures: each is drawn as SVG and gives the numbers that it shows as a table, and a caption that says what is
//! shown, how many, and what bars mean. It must not analyse.

pub mod atlas;
pub mod axes;
pub mod budget;
pub mod captions;
pub mod contact_share;
pub mod control;
pub mod earlier_results;
pub mod flow_curves;
pub mod flow_state;
pub mod groups;
pub mod legend;
pub mod panel;
pub mod relative_viscosity;
pub mod residuals;
pub mod sensitivity;
pub mod style;
pub mod svg;
pub mod thin;
pub mod typical;
pub mod viscosity;
pub mod work;

use panel::{Area, DrawError, Drawn};
use plotters::drawing::IntoDrawingArea;
use serde::{Deserialize, Serialize};
use stages::table::Table;
use style::NOTE;
use svg::FineSvg;

/// A drawn figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// The picture.
    pub svg: String,
    /// The numbers in it.
    pub data: Table,
    /// What stands below it.
    pub caption: Caption,
}

/// What the document needs to know of a figure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Caption {
    /// The caption: what is shown, how many, what bars mean.
    pub text: String,
    /// What a reader who cannot see the picture should know.
    pub alt: String,
    /// Why there is nothing to show, if so.
    pub empty: Option<String>,
    /// Width of the picture, pt.
    pub width: f64,
    /// Height, pt.
    pub height: f64,
    /// Height of a row, pt, if the picture is made of rows between which it may be parted.
    pub row: Option<f64>,
}

/// A picture of `width` × `height` pt that `draw` fills.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn picture(
    (width, height): (f64, f64),
    title: &str,
    draw: impl FnOnce(&Area<'_>) -> Drawn,
) -> Result<String, DrawError> {
    let mut svg = String::new();
    let area = FineSvg::new(&mut svg, width, height, title).into_drawing_area();
    draw(&area)?;
    area.present()?;
    drop(area);
    Ok(svg)
}

/// A figure with nothing to show, which says why.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn nothing(title: &str, why: &str, data: Table) -> Result<Figure, DrawError> {
    use plotters::style::text_anchor::{HPos, VPos};
    let (width, height) = (style::ONE_COLUMN, 36.0);
    let svg = picture((width, height), title, |area| {
        let at = (style::units(width / 2.0), style::units(height / 2.0));
        panel::write(area, &svg::literal(why), at, NOTE, (HPos::Center, VPos::Center))
    })?;
    let (text, alt) = (title.to_owned(), format!("{title}: {why}"));
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: Some(why.to_owned()), width, height, row: None } })
}

/// A number that is shown, with its bars; what most figures' tables are made of.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Shown {
    /// Which series.
    pub series: String,
    /// Label of the point.
    pub label: String,
    /// Abscissa.
    pub x: f64,
    /// Ordinate.
    pub y: Option<f64>,
    /// Lower end of its bar.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// The table of what is shown; `x` and `y` are the names of the columns.
pub fn shown_table(rows: &[Shown], x: &str, y: &str) -> Table {
    Table::new()
        .text("series", rows.iter().map(|r| Some(r.series.clone())))
        .text("label", rows.iter().map(|r| Some(r.label.clone())))
        .float(x, rows.iter().map(|r| Some(r.x)))
        .float(y, rows.iter().map(|r| r.y))
        .float(&format!("{y}_low"), rows.iter().map(|r| r.low))
        .float(&format!("{y}_high"), rows.iter().map(|r| r.high))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic)]
mod tests;

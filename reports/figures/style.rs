//! The one look of all figures: widths, sizes, colours, marker shapes. No drawing.

use super::svg::UNIT;
use plotters::style::{RGBColor, ShapeStyle};

/// Width of one column, 86 mm, in pt.
pub const ONE_COLUMN: f64 = 243.78;
/// Width of two columns, 178 mm, in pt.
pub const TWO_COLUMNS: f64 = 504.57;

/// Typeface of all lettering; typst carries it.
pub const FACE: &str = "Libertinus Serif";
/// Size of axis labels, pt.
pub const LABEL: f64 = 9.0;
/// Size of tick labels, pt.
pub const TICK: f64 = 8.0;
/// Size of notes and legends, pt.
pub const NOTE: f64 = 7.5;

/// Lines of axes, ticks and text.
pub const INK: RGBColor = RGBColor(0, 0, 0);
/// Guides and raw data.
pub const GREY: RGBColor = RGBColor(110, 110, 110);

/// The whole viscosity.
pub const TOTAL: RGBColor = BLUE;
/// What contacts carry.
pub const CONTACT: RGBColor = RUST;
/// What the liquid carries.
pub const LIQUID: RGBColor = GREEN;

// Six colours that stay apart for colour-blind readers (Okabe & Ito 2008).
const BLUE: RGBColor = RGBColor(0x00, 0x72, 0xb2);
const RUST: RGBColor = RGBColor(0xd5, 0x5e, 0x00);
const GREEN: RGBColor = RGBColor(0x00, 0x9e, 0x73);
const PINK: RGBColor = RGBColor(0xcc, 0x79, 0xa7);
const AMBER: RGBColor = RGBColor(0xe6, 0x9f, 0x00);
const SKY: RGBColor = RGBColor(0x56, 0xb4, 0xe9);

/// Shape of a marker, so that series stay apart without colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Circle.
    Circle,
    /// Square.
    Square,
    /// Triangle, tip up.
    Triangle,
    /// Diamond.
    Diamond,
}

/// Look of a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Series {
    /// Colour.
    pub color: RGBColor,
    /// Shape of its markers.
    pub shape: Shape,
}

/// Look of the `n`th series: 24 combinations, colour and shape both changing from one to the next.
pub fn series(n: usize) -> Series {
    let colors = [BLUE, RUST, GREEN, PINK, AMBER, SKY];
    let shapes = [Shape::Circle, Shape::Square, Shape::Triangle, Shape::Diamond];
    Series { color: colors[n % 6], shape: shapes[(n + n / 12) % 4] }
}

/// Dashes of a line: lengths in pt of stroke and gap, in turn; none for an unbroken line.
pub type Dash = &'static [f64];

/// Dashes of the `n`th kind of line, so that lines stay apart without colour.
pub const fn dash(n: usize) -> Dash {
    const DASHES: [Dash; 4] = [&[], &[4.0, 2.0], &[1.0, 1.5], &[5.0, 1.5, 1.0, 1.5]];
    DASHES[n % DASHES.len()]
}

/// A line of `width` pt.
pub fn pen(color: RGBColor, width: f64) -> ShapeStyle {
    ShapeStyle { color: color.into(), filled: false, stroke_width: (width * UNIT).round() as u32 }
}

/// pt in backend units.
pub fn units(pt: f64) -> i32 {
    (pt * UNIT).round() as i32
}

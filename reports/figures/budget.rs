//! Where the variance of the headline quantities comes from: a stacked bar each, its parts numbered as in the legend,
//! so that they stay apart without colour.

use super::captions;
use super::legend::shortened;
use super::panel::{Area, DrawError, Drawn, write};
use super::style::{GREY, INK, NOTE, TWO_COLUMNS, pen, series, units};
use super::svg::{literal, stacked};
use super::{Caption, Figure, nothing, picture};
use crate::text::{numbers, sources};
use plotters::prelude::{Color, RGBColor, Rectangle};
use plotters::style::text_anchor::{HPos, VPos};
use stages::states::result::Thickening;
use stages::table::Table;
use stages::uncertainty::result::{Budget, BudgetRow, HeadlineQuantity};

/// Step from bar to bar, pt.
const STEP: f64 = 12.5;
const BAR: f64 = 9.0;
/// Where bars begin, pt; names stand to the left.
const LEFT: f64 = 196.0;
const WIDTH: f64 = TWO_COLUMNS - LEFT - 2.0;
/// Smallest part that has room for its number, pt.
const ROOM: f64 = 7.0;
/// Smallest part that has room for its per cent as well, pt.
const WIDE: f64 = 34.0;
/// Highest picture that stands in one piece; a higher one is parted between samples, pt.
const ONE_PIECE: f64 = 420.0;
/// Entries of the legend beside each other.
const COLUMNS: usize = 3;

/// A bar: what it is of, and its sources.
struct Bar<'a> {
    name: String,
    rows: Vec<&'a BudgetRow>,
}

/// Draws, for each sample of `thickening`, its share of the rise and what it is at the upper end of the rise.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(budget: &Budget, thickening: &[Thickening]) -> Result<Figure, DrawError> {
    let samples: Vec<Vec<Bar<'_>>> = thickening.iter().map(|t| bars(t, budget)).filter(|b| !b.is_empty()).collect();
    let data = table(&samples);
    let title = "Budget of uncertainty";
    if samples.is_empty() {
        return nothing(title, "no quantity of this study has a budget", data);
    }
    let mut pictures = vec![legend()?];
    for bars in &samples {
        let height = STEP * bars.len() as f64 + 5.0;
        let drawn = picture((TWO_COLUMNS, height), title, |area| {
            bars.iter().enumerate().try_for_each(|(i, bar)| draw_bar(area, STEP * i as f64, bar))
        })?;
        pictures.push((drawn, height));
    }
    let height = pictures.iter().map(|p| p.1).sum();
    let svg = stacked(&pictures, TWO_COLUMNS, title);
    let (text, alt) = captions::budget(samples.iter().map(Vec::len).sum(), samples.len());
    let row = (height > ONE_PIECE).then_some(STEP);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: TWO_COLUMNS, height, row } })
}

fn bars<'a>(t: &Thickening, budget: &'a Budget) -> Vec<Bar<'a>> {
    let of = |quantity: HeadlineQuantity, set_point: Option<&String>| -> Vec<&'a BudgetRow> {
        let fits = |r: &&BudgetRow| r.quantity == quantity && r.sample == t.sample && r.set_point.as_ref() == set_point;
        let rows: Vec<&BudgetRow> = budget.rows.iter().filter(fits).collect();
        if rows.iter().any(|r| r.u > 0.0) { rows } else { Vec::new() }
    };
    let high = t.set_point_high.as_ref();
    let at = high.map_or_else(String::new, |label| format!(" at {label}"));
    let share_of_rise = ("share of the rise".to_owned(), of(HeadlineQuantity::ContactShareOfRise, None));
    let mut found = vec![share_of_rise];
    if high.is_some() {
        found.push((format!("contact share{at}"), of(HeadlineQuantity::ContactShare, high)));
        found.push((format!("relative viscosity{at}"), of(HeadlineQuantity::RelativeViscosity, high)));
    }
    found.retain(|(_, rows)| !rows.is_empty());
    found.into_iter().map(|(name, rows)| Bar { name: format!("{}, {name}", t.sample), rows }).collect()
}

/// Parts of a bar by kind of source, largest kind of its own order first.
fn parts(bar: &Bar<'_>) -> Vec<(usize, f64)> {
    let part = |kind: usize| bar.rows.iter().filter(|r| sources::kind(&r.source) == kind).map(|r| r.share).sum();
    (0..sources::KINDS.len()).map(|kind| (kind, part(kind))).filter(|p: &(usize, f64)| p.1 > 0.0).collect()
}

/// Light tints, so that numbers in them can be read.
fn tint(kind: usize) -> RGBColor {
    let full = if kind < 4 { series(kind).color } else { GREY };
    let part = [0.45, 0.55, 0.45, 0.55, 0.25, 0.5, 0.1][kind.min(6)];
    let mix = |c: u8| (255.0 - part * (255.0 - f64::from(c))).round() as u8;
    RGBColor(mix(full.0), mix(full.1), mix(full.2))
}

fn block(area: &Area<'_>, (left, top): (f64, f64), width: f64, kind: usize) -> Drawn {
    let corners = [(units(left), units(top)), (units(left + width), units(top + BAR))];
    area.draw(&Rectangle::new(corners, tint(kind).filled()))?;
    Ok(area.draw(&Rectangle::new(corners, pen(INK, 0.4)))?)
}

fn draw_bar(area: &Area<'_>, top: f64, bar: &Bar<'_>) -> Drawn {
    let u = bar.rows.iter().map(|r| r.u * r.u).sum::<f64>().sqrt();
    let middle = units(top + BAR / 2.0);
    let name = format!("{}: {}", shortened(&bar.name, 42), numbers::significant(u, 2));
    write(area, &literal(&name), (units(LEFT - 5.0), middle), NOTE, (HPos::Right, VPos::Center))?;
    let mut left = LEFT;
    for (kind, share) in parts(bar) {
        let width = WIDTH * share;
        block(area, (left, top), width, kind)?;
        let text = match width {
            w if w >= WIDE => format!("{}: {}", kind + 1, numbers::percent(share)),
            w if w >= ROOM => (kind + 1).to_string(),
            _ => String::new(),
        };
        write(area, &text, (units(left + width / 2.0), middle), NOTE - 0.5, (HPos::Center, VPos::Center))?;
        left += width;
    }
    Ok(())
}

fn legend() -> Result<(String, f64), DrawError> {
    let height = STEP * sources::KINDS.len().div_ceil(COLUMNS) as f64 + 5.0;
    let step = TWO_COLUMNS / COLUMNS as f64;
    let drawn = picture((TWO_COLUMNS, height), "Kinds of sources", |area| {
        for (kind, name) in sources::KINDS.iter().enumerate() {
            let (left, top) = (step * (kind % COLUMNS) as f64 + 2.0, STEP * (kind / COLUMNS) as f64 + 1.0);
            block(area, (left, top), 12.0, kind)?;
            let middle = units(top + BAR / 2.0);
            let number = (kind + 1).to_string();
            write(area, &number, (units(left + 6.0), middle), NOTE - 0.5, (HPos::Center, VPos::Center))?;
            write(area, name, (units(left + 17.0), middle), NOTE, (HPos::Left, VPos::Center))?;
        }
        Ok(())
    })?;
    Ok((drawn, height))
}

fn table(samples: &[Vec<Bar<'_>>]) -> Table {
    let lines: Vec<(&str, &BudgetRow)> =
        samples.iter().flatten().flat_map(|bar| bar.rows.iter().map(|r| (bar.name.as_str(), *r))).collect();
    Table::new()
        .text("quantity", lines.iter().map(|l| Some(l.0.to_owned())))
        .text("kind", lines.iter().map(|l| Some(sources::KINDS[sources::kind(&l.1.source)].to_owned())))
        .text("source", lines.iter().map(|l| Some(sources::name(&l.1.source))))
        .float("u", lines.iter().map(|l| Some(l.1.u)))
        .float("share", lines.iter().map(|l| Some(l.1.share)))
}

//! Sensitivity to analysis choices: for each sample the share of the rise, and the contact share at its upper end,
//! under every defensible choice of settings, sorted. It must not analyse.

use super::axes::Axis;
use super::captions;
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{CONTACT, GREY, Series, Shape, TOTAL, TWO_COLUMNS, pen};
use super::svg::{literal, stacked};
use super::{Caption, Figure, nothing, picture};
use crate::tables::column;
use crate::tables::rows::sensitivity;
use crate::text::remarks::states::choice;
use plotters::prelude::RGBColor;
use plotters::style::text_anchor::HPos;
use stages::states::result::{Choice, MOST_OF_THE_RISE, Thickening};
use stages::table::Table;
use stages::uncertainty::result::{HeadlineQuantity, SensitivityRow};

/// Step from row to row, pt.
const STEP: f64 = 8.2;
/// Where the first panel begins, pt; choices stand to the left.
const LEFT: f64 = 112.0;
/// Room between the panels, in which the outer tick labels of both must stand, pt.
const BETWEEN: f64 = 26.0;
const WIDTH: f64 = (TWO_COLUMNS - LEFT - BETWEEN - 6.0) / 2.0;
/// Room above and below a panel, pt.
const TOP: f64 = 14.0;
const BOTTOM: f64 = 18.0;

/// Rows of one sample, in the order of the picture, and the title of each panel.
struct Block<'a> {
    titles: [String; 2],
    /// From below: share of the rise, and contact share at the upper end.
    rows: Vec<[Option<&'a SensitivityRow>; 2]>,
}

/// Draws the choices of every sample that has a rise.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(rows: &[SensitivityRow], thickening: &[Thickening]) -> Result<Figure, DrawError> {
    let blocks: Vec<Block<'_>> = thickening.iter().filter_map(|t| block(t, rows)).collect();
    let data = table(&blocks);
    let title = "Sensitivity to analysis choices";
    if blocks.is_empty() {
        return nothing(title, "no sample of this study has a share of a rise", data);
    }
    let mut pictures = Vec::new();
    for block in &blocks {
        let height = TOP + BOTTOM + STEP * block.rows.len() as f64;
        pictures.push((picture((TWO_COLUMNS, height), title, |area| panels(area, block))?, height));
    }
    let height = pictures.iter().map(|p| p.1).sum();
    let row = Some(pictures[0].1).filter(|h| pictures.iter().all(|p| p.1 == *h));
    let svg = stacked(&pictures, TWO_COLUMNS, title);
    let (text, alt) = captions::sensitivity(blocks.len(), blocks.iter().map(|b| b.rows.len()).max().unwrap_or(0));
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: TWO_COLUMNS, height, row } })
}

fn block<'a>(t: &Thickening, rows: &'a [SensitivityRow]) -> Option<Block<'a>> {
    let of = |quantity: HeadlineQuantity, set_point: Option<&String>, choice: Option<&Choice>| {
        let fits = |r: &&SensitivityRow| {
            let same = (r.quantity, &r.sample, r.set_point.as_ref(), r.choice.as_ref());
            same == (quantity, &t.sample, set_point, choice)
        };
        rows.iter().find(fits)
    };
    let high = t.set_point_high.as_ref()?;
    let rises = rows.iter().filter(|r| r.quantity == HeadlineQuantity::ContactShareOfRise && r.sample == t.sample);
    let mut sorted: Vec<[Option<&SensitivityRow>; 2]> =
        rises.map(|r| [Some(r), of(HeadlineQuantity::ContactShare, Some(high), r.choice.as_ref())]).collect();
    let value = |row: &[Option<&SensitivityRow>; 2]| row[0].and_then(|r| r.interval).map_or(f64::INFINITY, |i| i.value);
    sorted.sort_by(|a, b| value(a).total_cmp(&value(b)));
    let titles = [format!("{}: share of the rise", t.sample), format!("contact share at {high}")];
    (!sorted.is_empty()).then_some(Block { titles, rows: sorted })
}

fn panels(area: &Area<'_>, block: &Block<'_>) -> Drawn {
    for (k, color) in [CONTACT, TOTAL].into_iter().enumerate() {
        let left = LEFT + k as f64 * (WIDTH + BETWEEN);
        let place = Place { left, top: TOP, width: WIDTH, height: STEP * block.rows.len() as f64 };
        panel(area, place, block, k, color)?;
    }
    Ok(())
}

fn panel(area: &Area<'_>, place: Place, block: &Block<'_>, k: usize, color: RGBColor) -> Drawn {
    let all = || block.rows.iter().filter_map(|r| r[k]);
    let ends = all().filter_map(|r| r.interval).flat_map(|i| [Some(i.value), i.low, i.high]).flatten();
    let values: Vec<f64> = ends.map(|v| v.clamp(-0.5, 1.5)).collect();
    let middle = values.first().copied().unwrap_or(MOST_OF_THE_RISE);
    // Where the verdict turns is always in the picture of the rise.
    let inside = if k == 0 { [MOST_OF_THE_RISE, middle] } else { [middle, middle] };
    let x = Axis::linear_around(values, inside, "");
    let lowest = x.lo;
    let mut panel = Panel::new(area, place, x, Axis::linear(-0.6, block.rows.len() as f64 - 0.2, ""))?;
    panel.labels.left = false;
    let in_force = all().find(|r| r.in_force()).and_then(|r| r.interval);
    if let Some((low, high)) = in_force.and_then(|i| Some((i.low?, i.high?))) {
        panel.shade(low, high, GREY)?;
    }
    if k == 0 {
        panel.upright(MOST_OF_THE_RISE, pen(GREY, 0.7))?;
    }
    for (at, row) in block.rows.iter().enumerate() {
        let at = at as f64;
        if let Some(row) = row[0].filter(|_| k == 0) {
            panel.note((lowest, at), (-5.0, 0.0), &literal(&choice(row.choice.as_ref())), HPos::Right)?;
        }
        let Some(interval) = row[k].and_then(|r| r.interval) else {
            panel.note((lowest, at), (4.0, 0.0), "no value", HPos::Left)?;
            continue;
        };
        let (low, high) = (interval.low.unwrap_or(interval.value), interval.high.unwrap_or(interval.value));
        panel.bar_across(at, low, high, pen(color, 0.7))?;
        let filled = row[k].is_some_and(SensitivityRow::in_force);
        let shape = if row[k].is_some_and(SensitivityRow::decides) { Shape::Circle } else { Shape::Square };
        panel.marker((interval.value, at), Series { color, shape }, filled, 2.0)?;
    }
    panel.frame(&literal(&block.titles[k]))
}

fn table(blocks: &[Block<'_>]) -> Table {
    let rows = blocks.iter().flat_map(|b| b.rows.iter().flatten().flatten());
    column::table(&sensitivity(), &rows.map(|r| (*r).clone()).collect::<Vec<_>>())
}

//! What the control shows after its reversals: the apparent viscosity, which must stay, and the torque that is the
//! instrument's own.

use super::axes::Axis;
use super::legend::{Entry, Legend};
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{GREY, Series, TWO_COLUMNS, pen, series};
use super::{Caption, Figure, nothing, picture};
use crate::text::captions;
use stages::reversal::result::Control;
use stages::states::result::StudyReversal;
use stages::table::Table;

/// Draws the reversals of the control runs in `control`; `reversals` may hold others.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(control: &Control, reversals: &[StudyReversal]) -> Result<Figure, DrawError> {
    let of_control = |r: &&StudyReversal| control.runs.contains(&r.identity.run) && has_something(r);
    let rows: Vec<&StudyReversal> = reversals.iter().filter(of_control).collect();
    let data = table(&rows);
    let title = "The control";
    if rows.is_empty() {
        return nothing(title, "no control run has a reversal with readings after it", data);
    }
    let legend = legend(&rows);
    let top = 4.0 + legend.as_ref().map_or(0.0, Legend::height);
    let size = (TWO_COLUMNS, top + 151.0);
    let svg = picture(size, title, |area| {
        if let Some(legend) = &legend {
            legend.draw(area, 42.0, 2.0)?;
        }
        let place = |left: f64| Place { left, top: top + 13.0, width: 198.0, height: 112.0 };
        ratio(area, place(42.0), &rows)?;
        residual(area, place(42.0 + 198.0 + 58.0), &rows, control.dead_time_s)
    })?;
    let (text, alt) = captions::control(control, &rows);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

fn has_something(r: &StudyReversal) -> bool {
    let read = &r.judged.read;
    !read.torque_residual.is_empty() || read.after.as_ref().is_some_and(|a| !a.bins.is_empty())
}

/// More reversals than this share one look: their clouds lie over each other.
const TOLD_APART: usize = 6;

fn look(i: usize, all: usize) -> Series {
    series(if all <= TOLD_APART { i } else { 0 })
}

/// Names of the reversals, where they are few enough to be told apart.
fn legend(rows: &[&StudyReversal]) -> Option<Legend> {
    let entry = |(i, r): (usize, &&StudyReversal)| {
        let rate = r.judged.read.before.as_ref().map(|b| crate::text::numbers::plain(b.rate_per_s.value));
        let at = rate.map_or_else(String::new, |rate| format!(", {rate} 1/s"));
        Entry { look: look(i, rows.len()), filled: false, text: format!("{}{at}", r.reversal) }
    };
    (rows.len() <= TOLD_APART).then(|| Legend::new(rows.iter().enumerate().map(entry).collect(), TWO_COLUMNS - 50.0))
}

fn ratio(area: &Area<'_>, place: Place, rows: &[&StudyReversal]) -> Drawn {
    let bins = |r: &StudyReversal| r.judged.read.after.as_ref().map_or_else(Vec::new, |a| a.bins.clone());
    let strains = rows.iter().flat_map(|r| bins(r)).map(|b| b.0);
    let ends = rows.iter().flat_map(|r| bins(r)).flat_map(|b| [b.1 - b.2, b.1 + b.2]);
    let x = Axis::log_around(strains, "strain since reversal *γ*");
    let y = Axis::linear_around(ends.filter(|v| (0.0..2.0).contains(v)), [0.9, 1.1], "viscosity *η*/*η*_{before}");
    let mut panel = Panel::new(area, place, x, y)?;
    panel.level(1.0, pen(GREY, 0.5))?;
    for (i, r) in rows.iter().enumerate() {
        let (look, bins) = (look(i, rows.len()), bins(r));
        for (strain, ratio, u) in &bins {
            panel.bar(*strain, ratio - u, ratio + u, pen(look.color, 0.4))?;
        }
        panel.cloud(&bins.iter().map(|b| (b.0, b.1)).collect::<Vec<_>>(), look, 1.4)?;
    }
    panel.frame("(a)")
}

fn residual(area: &Area<'_>, place: Place, rows: &[&StudyReversal], dead_time: Option<f64>) -> Drawn {
    let all = || rows.iter().flat_map(|r| deviations(r)).filter(|p| p.0 > 0.0);
    let x = Axis::log_around(all().map(|p| p.0), "time since reversal *t* / s");
    let label = "deviation of the torque Δ*M*/*M*_{before} / %";
    let y = Axis::linear_around(middle(all().map(|p| p.1)), [-1.0, 1.0], label);
    let mut panel = Panel::new(area, place, x, y)?;
    panel.shade(0.0, dead_time.unwrap_or(0.0), GREY)?;
    panel.level(0.0, pen(GREY, 0.5))?;
    for (i, r) in rows.iter().enumerate() {
        panel.cloud(&deviations(r), look(i, rows.len()), 1.1)?;
    }
    panel.frame("(b)")
}

/// Time in s and deviation of the torque in per cent of its steady value before.
fn deviations(r: &StudyReversal) -> Vec<(f64, f64)> {
    let read = &r.judged.read;
    let Some(before) = read.before.as_ref().filter(|b| b.torque_n_m.abs() > 0.0) else { return Vec::new() };
    read.torque_residual.iter().map(|p| (p.0, 100.0 * p.1 / before.torque_n_m.abs())).collect()
}

/// The middle 96 % of the values, so that a few readings in the turn itself do not flatten all others.
fn middle(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    let cut = values.len() / 50;
    values.get(cut..values.len() - cut).map_or_else(Vec::new, <[f64]>::to_vec)
}

/// A line of the table: a bin of the trace or a deviation of the torque, the other half empty.
#[derive(Default)]
struct Line {
    reversal: String,
    bin: Option<(f64, f64, f64)>,
    deviation: Option<(f64, f64, f64)>,
}

fn table(rows: &[&StudyReversal]) -> Table {
    let mut lines: Vec<Line> = Vec::new();
    for r in rows {
        let line = || Line { reversal: r.reversal.clone(), ..Line::default() };
        let bins = r.judged.read.after.iter().flat_map(|a| &a.bins);
        lines.extend(bins.map(|b| Line { bin: Some(*b), ..line() }));
        lines.extend(r.judged.read.torque_residual.iter().map(|p| Line { deviation: Some(*p), ..line() }));
    }
    Table::new()
        .text("reversal", lines.iter().map(|l| Some(l.reversal.clone())))
        .float("strain_since_reversal", lines.iter().map(|l| Some(l.bin?.0)))
        .float("viscosity_ratio", lines.iter().map(|l| Some(l.bin?.1)))
        .float("u_viscosity_ratio", lines.iter().map(|l| Some(l.bin?.2)))
        .float("time_since_reversal_s", lines.iter().map(|l| Some(l.deviation?.0)))
        .float("torque_deviation_n_m", lines.iter().map(|l| Some(l.deviation?.1)))
        .float("u_torque_deviation_n_m", lines.iter().map(|l| Some(l.deviation?.2)))
}

//! What the control shows after its reversals: the apparent viscosity, which must stay, and the torque that is the
//! instrument's own.

use super::axes::Axis;
use super::captions;
use super::legend::{Entry, Legend};
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{GREY, TWO_COLUMNS, pen, series};
use super::{Caption, Figure, nothing, picture};
use stages::numerics::float;
use stages::reversal::result::Control;
use stages::states::result::StudyReversal;
use stages::table::Table;
use std::collections::BTreeMap;

/// Draws the reversals of the control runs in `control`; `reversals` may hold others.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(control: &Control, reversals: &[StudyReversal]) -> Result<Figure, DrawError> {
    let of_control = |r: &&StudyReversal| control.runs.contains(&r.identity.run) && has_something(r);
    let rows: Vec<&StudyReversal> = reversals.iter().filter(of_control).collect();
    let data = table(&rows, control.dead_time_s.filter(|_| !rows.is_empty()));
    let title = "The control";
    if rows.is_empty() {
        return nothing(title, "no control run has a reversal with readings after it", data);
    }
    let legend = legend(&rows);
    let top = 4.0 + legend.as_ref().map_or(0.0, Legend::height);
    let size = (TWO_COLUMNS, top + 131.0);
    let svg = picture(size, title, |area| {
        if let Some(legend) = &legend {
            legend.draw(area, 42.0, 2.0)?;
        }
        let place = |left: f64| Place { left, top: top + 13.0, width: 198.0, height: 92.0 };
        ratio(area, place(42.0), &rows)?;
        residual(area, place(42.0 + 198.0 + 58.0), &rows, control.dead_time_s)
    })?;
    let (text, alt) = captions::control(control, &rows);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

fn has_something(r: &StudyReversal) -> bool {
    let read = &r.graded.read;
    !read.torque_residual.is_empty() || read.after.as_ref().is_some_and(|a| !a.bins.is_empty())
}

/// More reversals than this are shown by their medians and quartiles.
const TOLD_APART: usize = 6;

/// Names of the reversals, where they are few enough to be told apart.
fn legend(rows: &[&StudyReversal]) -> Option<Legend> {
    let entry = |(i, r): (usize, &&StudyReversal)| {
        let rate = r.graded.read.before.as_ref().map(|b| crate::text::numbers::plain(b.rate_per_s.value));
        let at = rate.map_or_else(String::new, |rate| format!(", {rate} 1/s"));
        Entry { look: series(i), filled: false, text: format!("{}{at}", r.reversal) }
    };
    few(rows).then(|| Legend::new(rows.iter().enumerate().map(entry).collect(), TWO_COLUMNS - 50.0))
}

/// Whether the reversals are few enough to be told apart.
pub fn few(rows: &[&StudyReversal]) -> bool {
    rows.len() <= TOLD_APART
}

fn bins(r: &StudyReversal) -> Vec<(f64, f64, f64)> {
    r.graded.read.after.as_ref().map_or_else(Vec::new, |a| a.bins.clone())
}

/// Strain and ratio of all reversals, gathered.
fn ratios(rows: &[&StudyReversal]) -> Vec<Quartiles> {
    gathered(rows.iter().flat_map(|r| bins(r)).map(|b| (b.0, b.1)))
}

fn ratio(area: &Area<'_>, place: Place, rows: &[&StudyReversal]) -> Drawn {
    let gathered = if few(rows) { Vec::new() } else { ratios(rows) };
    let single = || rows.iter().filter(|_| few(rows)).flat_map(|r| bins(r));
    let strains = single().map(|b| b.0).chain(gathered.iter().map(|q| q.at));
    let ends = single().flat_map(|b| [b.1 - b.2, b.1 + b.2]).chain(gathered.iter().flat_map(|q| [q.low, q.high]));
    let x = Axis::log_around(strains, "strain since reversal *γ*");
    let y = Axis::linear_around(ends.filter(|v| (0.0..2.0).contains(v)), [0.95, 1.05], "viscosity *η*/*η*_{before}");
    let mut panel = Panel::new(area, place, x, y)?;
    panel.level(1.0, pen(GREY, 0.5))?;
    for (i, r) in rows.iter().enumerate().filter(|_| few(rows)) {
        let (look, bins) = (series(i), bins(r));
        for (strain, ratio, u) in &bins {
            panel.bar(*strain, ratio - u, ratio + u, pen(look.color, 0.4))?;
        }
        panel.cloud(&bins.iter().map(|b| (b.0, b.1)).collect::<Vec<_>>(), look, 1.4)?;
    }
    quartiles(&mut panel, &gathered)?;
    panel.frame("(a)")
}

/// A median and its middle half as a bar.
fn quartiles(panel: &mut Panel<'_, '_>, all: &[Quartiles]) -> Drawn {
    for q in all {
        panel.bar(q.at, q.low, q.high, pen(series(0).color, 0.6))?;
    }
    all.iter().try_for_each(|q| panel.marker((q.at, q.median), series(0), false, 1.6))
}

fn residual(area: &Area<'_>, place: Place, rows: &[&StudyReversal], dead_time: Option<f64>) -> Drawn {
    let all = residuals(rows);
    let x = Axis::log_around(all.iter().map(|q| q.at), "time since reversal *t* / s");
    // The first readings, in the turn itself, would flatten all others.
    let behind = all.iter().filter(|q| q.at > dead_time.unwrap_or(0.0)).flat_map(|q| [q.low, q.high]);
    let y = Axis::linear_around(behind, [-1.0, 1.0], "torque Δ*M*/*M*_{before} / %");
    let mut panel = Panel::new(area, place, x, y)?;
    panel.shade(0.0, dead_time.unwrap_or(0.0), GREY)?;
    panel.level(0.0, pen(GREY, 0.5))?;
    quartiles(&mut panel, &all)?;
    panel.frame("(b)")
}

/// Time and deviation of the torque in per cent of its steady value before, of all reversals, gathered.
fn residuals(rows: &[&StudyReversal]) -> Vec<Quartiles> {
    gathered(rows.iter().flat_map(|r| deviations(r)))
}

/// Time in s and deviation of the torque in per cent of its steady value before.
fn deviations(r: &StudyReversal) -> Vec<(f64, f64)> {
    let read = &r.graded.read;
    let Some(before) = read.before.as_ref().filter(|b| b.torque_n_m.abs() > 0.0) else { return Vec::new() };
    read.torque_residual.iter().map(|p| (p.0, 100.0 * p.1 / before.torque_n_m.abs())).collect()
}

/// Values within a stretch of a log axis: where it is, their median and quartiles, their number.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Quartiles {
    at: f64,
    low: f64,
    median: f64,
    high: f64,
    number: usize,
}

/// Stretches of a decade in which values are gathered.
const PER_DECADE: f64 = 8.0;

/// Points gathered in even stretches of the logarithm of their abscissa, at the middle of each.
fn gathered(points: impl Iterator<Item = (f64, f64)>) -> Vec<Quartiles> {
    let mut of: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    for (x, y) in points.filter(|p| p.0 > 0.0 && p.1.is_finite()) {
        of.entry((PER_DECADE * float::log10(x)).floor() as i64).or_default().push(y);
    }
    let of_stretch = |(k, mut values): (i64, Vec<f64>)| {
        values.sort_by(f64::total_cmp);
        let at = float::pow(10.0, (k as f64 + 0.5) / PER_DECADE);
        let [low, median, high] = [0.25, 0.5, 0.75].map(|part| between(&values, part));
        Quartiles { at, low, median, high, number: values.len() }
    };
    of.into_iter().map(of_stretch).collect()
}

/// The value below which a part of sorted values lies, linear between neighbours.
fn between(sorted: &[f64], part: f64) -> f64 {
    let at = part * (sorted.len() - 1) as f64;
    let (below, rest) = (at.floor() as usize, at.fract());
    let above = sorted.get(below + 1).copied().unwrap_or(sorted[below]);
    sorted[below] + rest * (above - sorted[below])
}

/// What is drawn: single bins of few reversals, medians with quartiles else.
fn table(rows: &[&StudyReversal], dead_time: Option<f64>) -> Table {
    let mut lines: Vec<Line> = Vec::new();
    if few(rows) {
        let single = |r: &&&StudyReversal| bins(r).into_iter().map(|b| (r.reversal.clone(), b)).collect::<Vec<_>>();
        lines.extend(rows.iter().flat_map(|r| single(&r)).map(|(of, b)| Line {
            panel: "a",
            of,
            x: b.0,
            y: Some(b.1),
            u: Some(b.2),
            quartiles: None,
        }));
    } else {
        lines.extend(ratios(rows).iter().map(|q| Line::of("a", q)));
    }
    lines.extend(residuals(rows).iter().map(|q| Line::of("b", q)));
    let unused = |t| Line { panel: "b", of: "time not used".to_owned(), x: t, y: None, u: None, quartiles: None };
    lines.extend(dead_time.map(unused));
    let quartile = |of: fn(&Quartiles) -> f64| lines.iter().map(move |l| l.quartiles.as_ref().map(of));
    Table::new()
        .text("panel", lines.iter().map(|l| Some(l.panel.to_owned())))
        .text("reversal", lines.iter().map(|l| Some(l.of.clone())))
        .float("strain_since_reversal", lines.iter().map(|l| (l.panel == "a").then_some(l.x)))
        .float("viscosity_ratio", lines.iter().map(|l| l.y.filter(|_| l.panel == "a")))
        .float("u_viscosity_ratio", lines.iter().map(|l| l.u))
        .float("time_since_reversal_s", lines.iter().map(|l| (l.panel == "b").then_some(l.x)))
        .float("torque_deviation_percent", lines.iter().map(|l| l.y.filter(|_| l.panel == "b")))
        .float("lower_quartile", quartile(|q| q.low))
        .float("upper_quartile", quartile(|q| q.high))
        .int("values", lines.iter().map(|l| l.quartiles.as_ref().map(|q| q.number as i64)))
}

/// A line of the table.
struct Line {
    panel: &'static str,
    of: String,
    x: f64,
    y: Option<f64>,
    u: Option<f64>,
    quartiles: Option<Quartiles>,
}

impl Line {
    fn of(panel: &'static str, q: &Quartiles) -> Self {
        Self { panel, of: "all".to_owned(), x: q.at, y: Some(q.median), u: None, quartiles: Some(*q) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_gathered_by_stretches_of_a_decade() {
        let points = (1..=5).map(|i| (1.1, f64::from(i))).chain([(20.0, 7.0), (0.0, 9.0), (2.0, f64::NAN)]);
        let found = gathered(points);
        assert_eq!(found.len(), 2);
        assert_eq!((found[0].low, found[0].median, found[0].high, found[0].number), (2.0, 3.0, 4.0, 5));
        assert!((1.0..1.34).contains(&found[0].at), "{found:?}");
        assert_eq!((found[1].low, found[1].median, found[1].number), (7.0, 7.0, 1));
    }
}

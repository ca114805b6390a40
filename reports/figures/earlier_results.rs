//! Earlier numbers against new ones, with the identity line; and their differences against their means, with bias and
//! limits of agreement (Bland & Altman 1986, Lancet 327, 307–310).

use super::axes::Axis;
use super::captions;
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{GREY, INK, TWO_COLUMNS, pen, series};
use super::{Caption, Figure, nothing, picture};
use stages::earlier_results::result::{Agreement, EarlierRow, Held, Outcome};
use stages::numerics::normal::Z_95;
use stages::table::Table;

/// Draws one column of an earlier table.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(column: &str, held: &Held) -> Result<Figure, DrawError> {
    let rows: Vec<&EarlierRow> = held.rows.iter().filter(|row| row.column == column).collect();
    let agreement = held.agreements.iter().find(|agreement| agreement.column == column);
    let pairs: Vec<&EarlierRow> = rows.iter().copied().filter(|row| row.difference.is_some()).collect();
    let title = captions::earlier_results_title(column);
    let data = table(&rows);
    let Some(agreement) = agreement.filter(|_| !pairs.is_empty()) else {
        return nothing(&title, "the earlier table and the study have no number in common", data);
    };
    let size = (TWO_COLUMNS, 196.0);
    let place = |left: f64| Place { left, top: 14.0, width: 196.0, height: 150.0 };
    let svg = picture(size, &title, |area| {
        against(area, place(46.0), &pairs)?;
        apart(area, place(TWO_COLUMNS - 202.0), &pairs, agreement)
    })?;
    let (text, alt) = captions::earlier_results(column, &rows, agreement);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

/// Earlier and new value of a pair.
fn both(row: &EarlierRow) -> (f64, f64) {
    (row.old.unwrap_or(f64::NAN), row.new.unwrap_or(f64::NAN))
}

fn against(area: &Area<'_>, place: Place, pairs: &[&EarlierRow]) -> Drawn {
    let values = || pairs.iter().map(|row| both(row)).flat_map(|(old, new)| [old, new]);
    let (low, high) = values().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    // Values over more than a decade are shown on log axes.
    let wide = low > 0.0 && high / low > 10.0;
    let axis = |label| {
        if wide { Axis::log_around(values(), label) } else { Axis::linear_around(values(), [low, high], label) }
    };
    let mut panel = Panel::new(area, place, axis("from the raw exports"), axis("in the earlier table"))?;
    // The identity line, from corner to corner of the frame.
    let ends = if wide { (low / 10.0, high * 10.0) } else { (low - (high - low) - 1.0, high + (high - low) + 1.0) };
    panel.curve(&[(ends.0, ends.0), (ends.1, ends.1)], pen(GREY, 0.6))?;
    for row in pairs {
        let ((old, new), look) = (both(row), series(usize::from(row.outcome == Outcome::Differs)));
        let half = |u: Option<f64>| Z_95 * u.unwrap_or(0.0);
        panel.bar(new, old - half(row.u_old), old + half(row.u_old), pen(look.color, 0.6))?;
        panel.bar_across(old, new - half(row.u_new), new + half(row.u_new), pen(look.color, 0.6))?;
        panel.marker((new, old), look, row.outcome == Outcome::Differs, 2.2)?;
    }
    panel.frame("(a)")
}

fn apart(area: &Area<'_>, place: Place, pairs: &[&EarlierRow], agreement: &Agreement) -> Drawn {
    let mean = |row: &EarlierRow| 0.5 * (both(row).0 + both(row).1);
    let means: Vec<f64> = pairs.iter().map(|row| mean(row)).collect();
    let (low, high) = means.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(*v), b.max(*v)));
    let levels = [agreement.bias, agreement.low, agreement.high];
    let differences = pairs.iter().filter_map(|row| row.difference).chain(levels.into_iter().flatten());
    let x = if low > 0.0 && high / low > 10.0 {
        Axis::log_around(means.iter().copied(), "mean of both")
    } else {
        Axis::linear_around(means.iter().copied(), [low, high], "mean of both")
    };
    let y = Axis::linear_around(differences, [0.0, 0.0], "earlier minus new");
    let mut panel = Panel::new(area, place, x, y)?;
    panel.level(0.0, pen(GREY, 0.4))?;
    for (level, width) in levels.into_iter().zip([1.0, 0.6, 0.6]) {
        level.map_or(Ok(()), |level| panel.level(level, pen(INK, width)))?;
    }
    for row in pairs {
        let look = series(usize::from(row.outcome == Outcome::Differs));
        panel.marker((mean(row), row.difference.unwrap_or(f64::NAN)), look, row.outcome == Outcome::Differs, 2.2)?;
    }
    panel.frame("(b)")
}

fn table(rows: &[&EarlierRow]) -> Table {
    Table::new()
        .text("row", rows.iter().map(|r| Some(r.row.clone())))
        .float("old", rows.iter().map(|r| r.old))
        .float("u_old", rows.iter().map(|r| r.u_old))
        .float("new", rows.iter().map(|r| r.new))
        .float("u_new", rows.iter().map(|r| r.u_new))
        .float("difference", rows.iter().map(|r| r.difference))
        .text("outcome", rows.iter().map(|r| Some(r.outcome.name().to_owned())))
}

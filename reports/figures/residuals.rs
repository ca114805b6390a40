//! What the thickening law leaves of each state, over its standard deviation, against stress and against leverage.

use super::axes::Axis;
use super::captions;
use super::legend::{Entry, Legend};
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{GREY, TWO_COLUMNS, pen, series};
use super::{Caption, Figure, Shown, nothing, picture};
use stages::fit::result::{Fits, Residual};
use stages::numerics::normal::Z_95;
use stages::physics::models::Model;
use stages::physics::models::wyart_cates::WyartCates;
use stages::table::Table;

/// Draws the residuals of the thickening law of `fits`, samples in the order given.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(samples: &[String], fits: &Fits) -> Result<Figure, DrawError> {
    let rows: Vec<&Residual> = fits.residuals.iter().filter(|r| samples.contains(&r.sample)).collect();
    let data = table(&rows);
    let shown: Vec<&Residual> =
        rows.into_iter().filter(|r| r.model == WyartCates.name() && r.standardised.is_some()).collect();
    let title = "Residuals of the fitted thickening law";
    if shown.is_empty() {
        return nothing(title, "no thickening law was fitted", data);
    }
    let entry = |(i, name): (usize, &String)| Entry { look: series(i), filled: true, text: name.clone() };
    let drawn = samples.iter().enumerate().filter(|(_, name)| shown.iter().any(|r| r.sample == **name));
    let legend = Legend::new(drawn.map(entry).collect(), TWO_COLUMNS - 60.0);
    let top = 16.0 + legend.height();
    let size = (TWO_COLUMNS, top + 135.0);
    let width = TWO_COLUMNS / 2.0 - 50.0;
    let place = |left: f64| Place { left, top, width, height: 108.0 };
    let svg = picture(size, title, |area| {
        legend.draw(area, 42.0, 2.0)?;
        let stresses = Axis::log_around(shown.iter().map(|r| r.stress_pa), "shear stress *σ* / Pa");
        panel(area, place(42.0), "(a)", samples, stresses, &points(&shown, |r| r.stress_pa))?;
        let leverage = Axis::linear(0.0, 1.0, "leverage");
        let of = |r: &Residual| r.leverage.unwrap_or(f64::NAN);
        panel(area, place(TWO_COLUMNS / 2.0 + 42.0), "(b)", samples, leverage, &points(&shown, of))
    })?;
    let (text, alt) = captions::residuals(shown.len());
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

/// All fits, not only those that are drawn.
fn table(rows: &[&Residual]) -> Table {
    Table::new()
        .text("model", rows.iter().map(|r| Some(r.model.clone())))
        .text("scope", rows.iter().map(|r| Some(r.scope.name())))
        .text("sample", rows.iter().map(|r| Some(r.sample.clone())))
        .text("set_point", rows.iter().map(|r| Some(r.set_point.clone())))
        .float("volume_fraction", rows.iter().map(|r| Some(r.volume_fraction)))
        .float("stress_pa", rows.iter().map(|r| Some(r.stress_pa)))
        .float("ln_residual", rows.iter().map(|r| Some(r.ln_residual)))
        .float("standardised", rows.iter().map(|r| r.standardised))
        .float("leverage", rows.iter().map(|r| r.leverage))
        .float("weight", rows.iter().map(|r| Some(r.weight)))
}

fn points(rows: &[&Residual], x: impl Fn(&Residual) -> f64) -> Vec<Shown> {
    let point = |r: &&Residual| Shown { series: r.sample.clone(), x: x(r), y: r.standardised, ..Shown::default() };
    rows.iter().map(point).collect()
}

fn panel(area: &Area<'_>, place: Place, tag: &str, samples: &[String], x: Axis, points: &[Shown]) -> Drawn {
    let y = Axis::linear_around(points.iter().filter_map(|p| p.y), [-3.0, 3.0], "standardised residual");
    let mut panel = Panel::new(area, place, x, y)?;
    for level in [-Z_95, 0.0, Z_95] {
        panel.level(level, pen(GREY, 0.5))?;
    }
    for point in points {
        let look = series(samples.iter().position(|s| *s == point.series).unwrap_or(0));
        panel.marker((point.x, point.y.unwrap_or(f64::NAN)), look, true, 2.0)?;
    }
    panel.frame(tag)
}

//! Relative viscosity against solid fraction, at the low and at the high end of the rise, with the fitted laws.

use super::axes::Axis;
use super::legend::{Entry, Legend};
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{ONE_COLUMN, Series, pen, series};
use super::{Caption, Figure, Shown, nothing, picture, shown_table};
use crate::text::captions;
use stages::fit::result::{Fits, LawCurve};
use stages::states::result::{State, States, Thickening};

/// The two ends of the rise: name as in the scope of a law, and which set-point of a sample it is.
type End = (&'static str, fn(&Thickening) -> Option<&String>);
const ENDS: [End; 2] = [("low stress", |t| t.set_point_low.as_ref()), ("high stress", |t| t.set_point_high.as_ref())];

/// A state with its solid fraction and that fraction's uncertainty.
#[derive(Debug, Clone, PartialEq)]
struct Point {
    shown: Shown,
    u_fraction: f64,
}

/// Draws the ends of the rise of every sample, and the laws of `fits`.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(states: &States, fits: &Fits) -> Result<Figure, DrawError> {
    let points: Vec<Point> = ENDS.iter().flat_map(|end| measured(*end, states)).collect();
    let measured: Vec<Shown> = points.iter().map(|p| p.shown.clone()).collect();
    let laws: Vec<Shown> = fits.law_curves.iter().flat_map(law).collect();
    let data = shown_table(&[measured, laws].concat(), "volume_fraction", "relative_viscosity");
    let title = "Relative viscosity against solid volume fraction";
    if points.is_empty() {
        return nothing(title, "no sample has both ends of a rise with a relative viscosity", data);
    }
    let legend = legend();
    let top = 4.0 + legend.height();
    let size = (ONE_COLUMN, top + 191.0);
    let place = Place { left: 42.0, top: top + 2.0, width: ONE_COLUMN - 50.0, height: 164.0 };
    let svg = picture(size, title, |area| {
        legend.draw(area, place.left, 2.0)?;
        panel(area, place, &points, &fits.law_curves)
    })?;
    let (text, alt) = captions::relative_viscosity(points.len(), fits);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

fn legend() -> Legend {
    let entry = |(i, (name, _)): (usize, &End)| Entry { look: series(i), filled: true, text: (*name).to_owned() };
    Legend::new(ENDS.iter().enumerate().map(entry).collect(), ONE_COLUMN - 48.0)
}

fn measured(end: End, states: &States) -> Vec<Point> {
    let of = |t: &Thickening, s: &&State| s.sample == t.sample && Some(&s.set_point) == end.1(t);
    let point = |t: &Thickening| {
        let state = states.states.iter().find(|s| of(t, s))?;
        let (fraction, value) = (state.volume_fraction?, state.relative_viscosity?);
        let shown = Shown {
            series: end.0.to_owned(),
            label: t.sample.clone(),
            x: fraction,
            y: Some(value.value),
            low: value.low,
            high: value.high,
        };
        Some(Point { shown, u_fraction: state.u_volume_fraction.unwrap_or(0.0) })
    };
    states.thickening.iter().filter_map(point).collect()
}

fn law(curve: &LawCurve) -> Vec<Shown> {
    let row = |p: &stages::fit::result::LawPoint| Shown {
        series: format!("{}, {}", curve.scope, curve.model),
        label: String::new(),
        x: p.volume_fraction,
        y: Some(p.relative_viscosity),
        low: Some(p.low),
        high: Some(p.high),
    };
    curve.points.iter().map(row).collect()
}

fn look(scope: &str) -> Series {
    series(ENDS.iter().position(|e| scope.starts_with(e.0)).unwrap_or(0))
}

fn panel(area: &Area<'_>, place: Place, points: &[Point], laws: &[LawCurve]) -> Drawn {
    let fractions =
        points.iter().map(|p| p.shown.x).chain(laws.iter().flat_map(|l| &l.points).map(|p| p.volume_fraction));
    let (low, high) = fractions.fold((f64::INFINITY, 0.0_f64), |(a, b), x| (a.min(x), b.max(x)));
    let x = Axis::linear((low - 0.01).max(0.0), high + 0.01, "solid volume fraction *φ*");
    let values = points.iter().flat_map(|p| [p.shown.y, p.shown.low, p.shown.high]).flatten();
    let y = Axis::log_around(values.chain(laws_within(points, laws)), "relative viscosity *η*_{r}");
    let mut panel = Panel::new(area, place, x, y)?;
    for law in laws {
        let band: Vec<_> = law.points.iter().map(|p| (p.volume_fraction, p.low, p.high)).collect();
        panel.band(&band, look(&law.scope).color)?;
    }
    for law in laws {
        let line: Vec<_> = law.points.iter().map(|p| (p.volume_fraction, p.relative_viscosity)).collect();
        panel.curve(&line, pen(look(&law.scope).color, 0.9))?;
    }
    for Point { shown, u_fraction } in points {
        let (look, y) = (look(&shown.series), shown.y.unwrap_or(f64::NAN));
        panel.bar(shown.x, shown.low.unwrap_or(y), shown.high.unwrap_or(y), pen(look.color, 0.7))?;
        // 95 % of a normal error, as for the other bars.
        panel.bar_across(y, shown.x - 1.96 * u_fraction, shown.x + 1.96 * u_fraction, pen(look.color, 0.7))?;
        panel.marker((shown.x, y), look, true, 2.2)?;
    }
    panel.frame("")
}

/// Values of the laws up to ten times the largest that was measured: a divergence is shown, not all of it.
fn laws_within(points: &[Point], laws: &[LawCurve]) -> Vec<f64> {
    let largest = points.iter().filter_map(|p| p.shown.y).fold(0.0, f64::max);
    let values = laws.iter().flat_map(|l| &l.points).map(|p| p.relative_viscosity);
    values.filter(|v| *v > 0.0 && *v <= 10.0 * largest).collect()
}

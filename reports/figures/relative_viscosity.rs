//! Relative viscosity against solid fraction, at the lowest and at the highest stress of each sample, with the fitted
//! laws: colour and marker tell the series, dashes the law.

use super::axes::Axis;
use super::captions;
use super::legend::{Entry, Legend};
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{Dash, Series, TWO_COLUMNS, dash, pen, series};
use super::{Caption, Figure, Shown, nothing, picture, shown_table};
use crate::text::models;
use serde::{Deserialize, Serialize};
use stages::fit::result::{Fits, LawCurve, LawPoint, Scope, Selection};
use stages::numerics::normal::Z_95;
use stages::states::result::State;

/// Ends of the stress, to which laws are fitted.
const ENDS: [Selection; 2] = [Selection::LowStress, Selection::HighStress];

/// A sample that is no control, and what it is made of: settings role `made_of`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MadeOf {
    /// Its name.
    pub sample: String,
    /// Name of its particles; empty where it has none.
    pub particles: String,
    /// Name of its liquid.
    pub liquid: String,
}

/// A state with its solid fraction and that fraction's uncertainty.
#[derive(Debug, Clone, PartialEq)]
struct Point {
    shown: Shown,
    scope: Scope,
    u_fraction: f64,
}

/// What is drawn: points, the series that they and the laws belong to, the laws and where they diverge.
struct Drawing<'a> {
    points: Vec<Point>,
    series: Vec<Scope>,
    laws: &'a [LawCurve],
    divergences: Vec<Divergence<'a>>,
}

/// Where a law diverges.
struct Divergence<'a> {
    model: &'a str,
    scope: &'a Scope,
    volume_fraction: f64,
}

/// Draws both ends of every sample, and the laws of `fits`.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(samples: &[MadeOf], states: &[State], fits: &Fits) -> Result<Figure, DrawError> {
    let drawing = Drawing::of(samples, states, fits);
    let measured: Vec<Shown> = drawing.points.iter().map(|p| p.shown.clone()).collect();
    let laws: Vec<Shown> =
        fits.law_curves.iter().flat_map(law).chain(drawing.divergences.iter().map(diverges)).collect();
    let fractions = drawing.points.iter().map(|p| Some(p.u_fraction)).chain(laws.iter().map(|_| None));
    let fractions: Vec<Option<f64>> = fractions.collect();
    let data = shown_table(&[measured, laws].concat(), "volume_fraction", "relative_viscosity")
        .float("u_volume_fraction", fractions);
    let title = "Relative viscosity against solid volume fraction";
    if drawing.points.is_empty() {
        return nothing(title, "no state has a relative viscosity and a solid fraction", data);
    }
    let legend = drawing.legend();
    let top = 4.0 + legend.height();
    let size = (TWO_COLUMNS, top + 193.0);
    let place = Place { left: 42.0, top: top + 2.0, width: TWO_COLUMNS - 50.0, height: 166.0 };
    let svg = picture(size, title, |area| {
        legend.draw(area, place.left, 2.0)?;
        drawing.panel(area, place)
    })?;
    let (text, alt) = captions::relative_viscosity(drawing.points.len(), fits);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

/// The series of a sample at an end: the scope of the laws that were, or would have been, fitted to it.
fn scope(end: &Selection, sample: &MadeOf, fits: &Fits) -> Scope {
    let MadeOf { particles, liquid, .. } = sample;
    let scopes = || fits.rows.iter().map(|r| &r.scope).chain(fits.law_curves.iter().map(|c| &c.scope));
    let of_group = |group: Option<String>| Scope { states: end.clone(), group };
    let groups = [format!("{particles} in {liquid}"), particles.clone()];
    let mut all = groups.map(|group| of_group(Some(group))).into_iter();
    all.find(|wanted| scopes().any(|scope| scope == wanted)).unwrap_or_else(|| of_group(None))
}

fn stress(state: &State) -> Option<f64> {
    state.relative_viscosity.and(state.stress_pa).map(|i| i.value)
}

/// The state of lowest (highest) stress of a sample, among those that laws are fitted to.
fn end_of<'a>(sample: &str, high: bool, states: &'a [State]) -> Option<&'a State> {
    let mine = states.iter().filter(|s| s.sample == sample && stress(s).is_some());
    let by_stress = |a: &&State, b: &&State| stress(a).unwrap_or(0.0).total_cmp(&stress(b).unwrap_or(0.0));
    if high { mine.max_by(by_stress) } else { mine.min_by(by_stress) }
}

fn point(series: Scope, state: &State) -> Option<Point> {
    let (fraction, value) = (state.volume_fraction?, state.relative_viscosity?);
    let shown = Shown {
        series: series.name(),
        label: format!("{}, {}", state.sample, state.set_point),
        x: fraction,
        y: Some(value.value),
        low: value.low,
        high: value.high,
    };
    Some(Point { shown, scope: series, u_fraction: state.u_volume_fraction.unwrap_or(0.0) })
}

fn law(curve: &LawCurve) -> Vec<Shown> {
    let row = |p: &LawPoint| Shown {
        series: format!("{}, {}", curve.scope.name(), curve.model),
        label: String::new(),
        x: p.volume_fraction,
        y: Some(p.relative_viscosity),
        low: Some(p.low),
        high: Some(p.high),
    };
    curve.points.iter().map(row).collect()
}

/// Where a law diverges, as a row of the table: a solid fraction without a viscosity.
fn diverges(of: &Divergence<'_>) -> Shown {
    let series = format!("{}, {}", of.scope.name(), of.model);
    Shown { series, label: "diverges".to_owned(), x: of.volume_fraction, ..Shown::default() }
}

fn is_low(scope: &Scope) -> bool {
    scope.states == Selection::LowStress
}

/// The band of a law as far as its lower end rises: every curve of the law does, so that beyond it the error, which is
/// carried linearly, says nothing.
fn band(law: &LawCurve) -> Vec<(f64, f64, f64)> {
    let falls = law.points.windows(2).position(|pair| pair[1].low < pair[0].low).map_or(law.points.len(), |i| i + 1);
    law.points[..falls].iter().map(|p| (p.volume_fraction, p.low, p.high)).collect()
}

impl<'a> Drawing<'a> {
    fn of(samples: &[MadeOf], states: &[State], fits: &'a Fits) -> Self {
        let (mut points, mut series): (Vec<Point>, Vec<Scope>) = (Vec::new(), Vec::new());
        for sample in samples {
            for end in &ENDS {
                let scope = scope(end, sample, fits);
                if !series.contains(&scope) {
                    series.push(scope.clone());
                }
                points.extend(
                    end_of(&sample.sample, *end == Selection::HighStress, states).and_then(|state| point(scope, state)),
                );
            }
        }
        let divergence = |r: &'a stages::fit::result::FitRow| {
            let drawn = fits.law_curves.iter().any(|c| (&c.model, &c.scope) == (&r.model, &r.scope));
            let (model, scope, volume_fraction) = (r.model.as_str(), &r.scope, r.value?);
            (drawn && r.parameter == "phi_max").then_some(Divergence { model, scope, volume_fraction })
        };
        let divergences = fits.rows.iter().filter_map(divergence).collect();
        Self { points, series, laws: &fits.law_curves, divergences }
    }

    fn look(&self, scope: &Scope) -> Series {
        series(self.series.iter().position(|s| s == scope).unwrap_or(0))
    }

    /// Names of the laws in the order of their dashes.
    fn models(&self) -> Vec<&'a str> {
        let mut seen: Vec<&str> = Vec::new();
        for law in self.laws {
            if !seen.contains(&law.model.as_str()) {
                seen.push(&law.model);
            }
        }
        seen
    }

    fn dash(&self, model: &str) -> Dash {
        dash(self.models().iter().position(|m| *m == model).unwrap_or(0))
    }

    fn legend(&self) -> Legend {
        let entry = |scope: &Scope| Entry { look: self.look(scope), filled: !is_low(scope), text: scope.name() };
        let lines = self.models().into_iter().map(|m| (self.dash(m), models::name(m).to_owned())).collect();
        Legend::new(self.series.iter().map(entry).collect(), TWO_COLUMNS - 60.0).with_lines(lines)
    }

    /// Around the points, as far as the laws diverge.
    fn across(&self) -> Axis {
        let fractions = || self.points.iter().map(|p| p.shown.x);
        let (low, high) = fractions().fold((f64::INFINITY, 0.0_f64), |(a, b), x| (a.min(x), b.max(x)));
        let far = self.divergences.iter().map(|d| d.volume_fraction).filter(|x| *x < high + 0.25).fold(high, f64::max);
        Axis::linear((low - 0.06).max(0.0), (far + 0.01).min(1.0), "solid volume fraction *φ*")
    }

    fn panel(&self, area: &Area<'_>, place: Place) -> Drawn {
        let values = self.points.iter().flat_map(|p| [p.shown.y, p.shown.low, p.shown.high]).flatten();
        let y = Axis::log_around(values.chain(self.laws_within()), "relative viscosity *η*_{r}");
        let mut panel = Panel::new(area, place, self.across(), y)?;
        for law in self.laws {
            panel.band(&band(law), self.look(&law.scope).color)?;
        }
        for Divergence { model, scope, volume_fraction } in &self.divergences {
            panel.upright_dashed(*volume_fraction, self.dash(model), pen(self.look(scope).color, 0.4))?;
        }
        for law in self.laws {
            let line: Vec<_> = law.points.iter().map(|p| (p.volume_fraction, p.relative_viscosity)).collect();
            panel.dashed(&line, self.dash(&law.model), pen(self.look(&law.scope).color, 1.0))?;
        }
        for Point { shown, scope, u_fraction } in &self.points {
            let (look, y) = (self.look(scope), shown.y.unwrap_or(f64::NAN));
            panel.bar(shown.x, shown.low.unwrap_or(y), shown.high.unwrap_or(y), pen(look.color, 0.7))?;
            // 95 % of a normal error, as for the other bars.
            panel.bar_across(y, shown.x - Z_95 * u_fraction, shown.x + Z_95 * u_fraction, pen(look.color, 0.7))?;
            // Open and larger, so that both ends are seen where they fall together.
            let (filled, radius) = if is_low(scope) { (false, 3.2) } else { (true, 1.8) };
            panel.marker((shown.x, y), look, filled, radius)?;
        }
        panel.frame("")
    }

    /// Values of the laws up to ten times the largest that was measured: a divergence is shown, not all of it.
    fn laws_within(&self) -> Vec<f64> {
        let largest = self.points.iter().filter_map(|p| p.shown.y).fold(0.0, f64::max);
        let values = self.laws.iter().flat_map(|l| &l.points).map(|p| p.relative_viscosity);
        values.filter(|v| *v > 0.0 && *v <= 10.0 * largest).collect()
    }
}

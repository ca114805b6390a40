//! Relative viscosity of every sample against stress with the fitted thickening law and its band.

use super::axes::Axis;
use super::captions;
use super::groups::{Group, groups};
use super::panel::{Area, DrawError, Drawn, Panel};
use super::style::{TWO_COLUMNS, pen, series};
use super::{Caption, Figure, Shown, nothing, picture, shown_table};
use stages::fit::result::{Fits, FlowCurve};
use stages::states::result::State;

/// Draws the states of the samples in the order given, and the curves of `fits`.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(samples: &[String], states: &[State], fits: &Fits) -> Result<Figure, DrawError> {
    let rows: Vec<Shown> = samples.iter().flat_map(|s| measured(s, states)).collect();
    let curves: Vec<Shown> = fits.flow_curves.iter().flat_map(curve).collect();
    let data = shown_table(&[rows.clone(), curves].concat(), "stress_pa", "relative_viscosity");
    let title = "Flow curves with the fitted thickening law";
    if rows.is_empty() {
        return nothing(title, "no state has a relative viscosity", data);
    }
    let drawn: Vec<_> =
        samples.iter().enumerate().filter(|(_, name)| rows.iter().any(|r| r.series == **name)).collect();
    let (groups, height) = groups(&drawn, 170.0);
    let size = (TWO_COLUMNS, height);
    let svg = picture(size, title, |area| {
        groups.iter().try_for_each(|group| {
            group.legend(area)?;
            panel(area, group, samples, &rows, &fits.flow_curves)
        })
    })?;
    let shown: Vec<String> = drawn.iter().map(|(_, name)| (*name).clone()).collect();
    let bars = rows.iter().any(|r| r.low.is_some() && r.high.is_some());
    let (text, alt) = captions::flow_curves((rows.len(), bars), &shown, fits);
    let text = text + &captions::panels(groups.len());
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

fn measured(sample: &str, states: &[State]) -> Vec<Shown> {
    let row = |s: &State| {
        let (stress, value) = (s.stress_pa?, s.relative_viscosity?);
        let (low, high) = (value.low, value.high);
        Some(Shown {
            series: sample.to_owned(),
            label: s.set_point.clone(),
            x: stress.value,
            y: Some(value.value),
            low,
            high,
        })
    };
    states.iter().filter(|s| s.sample == sample).filter_map(row).collect()
}

fn curve(curve: &FlowCurve) -> Vec<Shown> {
    let row = |p: &stages::fit::result::FlowPoint| Shown {
        series: format!("{}, {}", curve.sample, curve.model),
        label: String::new(),
        x: p.stress_pa,
        y: Some(p.relative_viscosity),
        low: Some(p.low),
        high: Some(p.high),
    };
    curve.points.iter().map(row).collect()
}

fn panel(area: &Area<'_>, group: &Group, samples: &[String], rows: &[Shown], curves: &[FlowCurve]) -> Drawn {
    let x = Axis::log_around(rows.iter().map(|r| r.x), "shear stress *σ* / Pa");
    let values = rows.iter().flat_map(|r| [r.y, r.low, r.high]).flatten();
    let y = Axis::log_around(values, "relative viscosity *η*_{r}");
    let mut panel = Panel::new(area, group.place, x, y)?;
    let look = |sample: &str| series(samples.iter().position(|s| s == sample).unwrap_or(0));
    let here = |sample: &str| group.samples.iter().any(|i| samples[*i] == sample);
    let curves = || curves.iter().filter(|curve| here(&curve.sample));
    for curve in curves() {
        let band: Vec<_> = curve.points.iter().map(|p| (p.stress_pa, p.low, p.high)).collect();
        panel.band(&band, look(&curve.sample).color)?;
    }
    for curve in curves() {
        let line: Vec<_> = curve.points.iter().map(|p| (p.stress_pa, p.relative_viscosity)).collect();
        panel.curve(&line, pen(look(&curve.sample).color, 0.9))?;
    }
    for row in rows.iter().filter(|row| here(&row.series)) {
        let (look, y) = (look(&row.series), row.y.unwrap_or(f64::NAN));
        panel.bar(row.x, row.low.unwrap_or(y), row.high.unwrap_or(y), pen(look.color, 0.7))?;
        panel.marker((row.x, y), look, true, 2.2)?;
    }
    panel.frame("")
}

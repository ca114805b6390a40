//! Viscosity of one sample against stress: the whole, what the liquid carries, what contacts carry.

use super::axes::Axis;
use super::captions;
use super::legend::{Entry, Legend};
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{CONTACT, LIQUID, ONE_COLUMN, Series, Shape, TOTAL, pen};
use super::{Caption, Figure, Shown, nothing, picture, shown_table};
use stages::states::result::{Interval, State};

const WHOLE: Series = Series { color: TOTAL, shape: Shape::Circle };
const OF_CONTACTS: Series = Series { color: CONTACT, shape: Shape::Diamond };
const OF_LIQUID: Series = Series { color: LIQUID, shape: Shape::Square };

/// A series: its look, its name, its value in a state.
type Part = (Series, &'static str, fn(&State) -> Option<Interval>);

const PARTS: [Part; 3] = [
    (WHOLE, "total", |s| s.viscosity_pa_s),
    (OF_LIQUID, "hydrodynamic", |s| s.hydrodynamic_viscosity_pa_s),
    (OF_CONTACTS, "contact", |s| s.contact_viscosity_pa_s),
];

/// Draws the states of one sample; `states` may hold those of others.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(sample: &str, states: &[State]) -> Result<Figure, DrawError> {
    let states: Vec<&State> = states.iter().filter(|s| s.sample == sample).collect();
    let (shown, bounds) = (shown(&states), bounds(&states));
    let data = shown_table(&[shown.clone(), bounds.clone()].concat(), "stress_pa", "viscosity_pa_s");
    let title = captions::viscosity_title(sample);
    if shown.is_empty() {
        return nothing(&title, "no state of this sample has a viscosity at a known stress", data);
    }
    let legend = legend(&shown);
    let top = 4.0 + legend.height();
    let size = (ONE_COLUMN, top + 138.0 + 25.0);
    let place = Place { left: 42.0, top: top + 2.0, width: ONE_COLUMN - 50.0, height: 136.0 };
    let svg = picture(size, &title, |area| {
        legend.draw(area, place.left, 2.0)?;
        panel(area, place, &shown, &bounds)
    })?;
    let text = captions::viscosity(sample, &states);
    let alt = captions::viscosity_alt(sample, &states);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

/// Entries of what is shown.
fn legend(shown: &[Shown]) -> Legend {
    let entry = |(look, name, _): Part| Entry { look, filled: true, text: name.to_owned() };
    let open = Entry { look: WHOLE, filled: false, text: "total, not resolved".to_owned() };
    let all = PARTS.map(entry).into_iter().chain([open]);
    Legend::new(all.filter(|e| shown.iter().any(|r| r.series == e.text)).collect(), ONE_COLUMN - 48.0)
}

/// What is shown with a marker: the three parts of resolved states, the whole of the others.
fn shown(states: &[&State]) -> Vec<Shown> {
    let mut rows = Vec::new();
    for (_, name, value) in PARTS {
        for state in states {
            let (Some(stress), Some(value)) = (state.stress_pa, value(state)) else { continue };
            let resolved = state.contact_share.is_some();
            let series = if resolved { name.to_owned() } else { format!("{name}, not resolved") };
            let (low, high) = (value.low, value.high);
            rows.push(Shown {
                series,
                label: state.set_point.clone(),
                x: stress.value,
                y: Some(value.value),
                low,
                high,
            });
        }
    }
    rows
}

/// What a bound of the contact share says of the two parts: contacts carry at least, the liquid at most.
fn bounds(states: &[&State]) -> Vec<Shown> {
    let mut rows = Vec::new();
    for state in states.iter().filter(|s| s.contact_share.is_none()) {
        let (Some(stress), Some(whole), Some(bound)) =
            (state.stress_pa, state.viscosity_pa_s, state.contact_share_bound)
        else {
            continue;
        };
        let row = |series: &str, low: Option<f64>, high: Option<f64>| Shown {
            series: series.to_owned(),
            label: state.set_point.clone(),
            x: stress.value,
            y: None,
            low,
            high,
        };
        rows.push(row("contact, bound", Some(bound * whole.value), None));
        rows.push(row("hydrodynamic, bound", None, Some((1.0 - bound) * whole.value)));
    }
    rows
}

fn panel(area: &Area<'_>, place: Place, shown: &[Shown], bounds: &[Shown]) -> Drawn {
    let values = shown.iter().flat_map(|r| [r.y, r.low, r.high]).chain(bounds.iter().flat_map(|r| [r.low, r.high]));
    // A lower end at or near zero would stretch a log axis without end: three decades below the largest at most.
    let values: Vec<f64> = values.flatten().collect();
    let largest = values.iter().copied().fold(0.0, f64::max);
    let x = Axis::log_around(shown.iter().chain(bounds).map(|r| r.x), "shear stress *σ* / Pa");
    let kept = values.into_iter().filter(|v| *v > largest / 1000.0);
    let y = Axis::log_around(kept, "viscosity *η* / (Pa s)");
    let mut panel = Panel::new(area, place, x, y)?;
    for (look, name, _) in PARTS {
        let line: Vec<_> = shown.iter().filter(|r| r.series == name).map(|r| (r.x, r.y.unwrap_or(f64::NAN))).collect();
        panel.curve(&line, pen(look.color, 0.5))?;
    }
    for row in shown {
        let look = look_of(&row.series);
        if let (Some(low), Some(high)) = (row.low, row.high) {
            panel.bar(row.x, low, high, pen(look.color, 0.7))?;
        }
        panel.marker((row.x, row.y.unwrap_or(f64::NAN)), look, !row.series.ends_with("not resolved"), 2.1)?;
    }
    for row in bounds {
        let line = pen(look_of(&row.series).color, 0.8);
        if let Some(low) = row.low {
            panel.arrow((row.x, low), true, -3.5, line)?;
        }
        if let Some(high) = row.high {
            panel.arrow((row.x, high), false, 3.5, line)?;
        }
    }
    panel.frame("")
}

fn look_of(series: &str) -> Series {
    PARTS.iter().find(|p| series.starts_with(p.1)).map_or(WHOLE, |p| p.0)
}

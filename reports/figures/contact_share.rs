//! Contact share against stress for all samples, unresolved states as bounds.

use super::axes::Axis;
use super::legend::{Entry, Legend};
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{GREY, TWO_COLUMNS, pen, series};
use super::{Caption, Figure, Shown, nothing, picture, shown_table};
use crate::text::captions;
use stages::states::result::State;

/// Draws the states of the samples in the order given.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(samples: &[String], states: &[State]) -> Result<Figure, DrawError> {
    let rows: Vec<Shown> = samples.iter().flat_map(|sample| rows(sample, states)).collect();
    let data = shown_table(&rows, "stress_pa", "contact_share");
    let title = "Contact share against shear stress";
    if rows.is_empty() {
        return nothing(title, "no state has a contact share or a bound at a known stress", data);
    }
    let entry = |(i, name): (usize, &String)| Entry { look: series(i), filled: true, text: name.clone() };
    let drawn = samples.iter().enumerate().filter(|(_, name)| rows.iter().any(|r| r.series == **name));
    let legend = Legend::new(drawn.map(entry).collect(), TWO_COLUMNS - 60.0);
    let top = 4.0 + legend.height();
    let size = (TWO_COLUMNS, top + 183.0);
    let place = Place { left: 42.0, top: top + 2.0, width: TWO_COLUMNS - 50.0, height: 156.0 };
    let svg = picture(size, title, |area| {
        legend.draw(area, place.left, 2.0)?;
        panel(area, place, samples, &rows)
    })?;
    let (text, alt) = captions::contact_share(states);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

/// States with a value or a bound.
fn rows(sample: &str, states: &[State]) -> Vec<Shown> {
    let row = |s: &State| {
        let stress = s.stress_pa?;
        s.contact_share.map(|x| x.value).or(s.contact_share_bound)?;
        Some(Shown {
            series: sample.to_owned(),
            label: s.set_point.clone(),
            x: stress.value,
            y: s.contact_share.map(|x| x.value),
            low: s.contact_share.map_or(s.contact_share_bound, |x| x.low),
            high: s.contact_share.and_then(|x| x.high),
        })
    };
    states.iter().filter(|s| s.sample == sample).filter_map(row).collect()
}

fn panel(area: &Area<'_>, place: Place, samples: &[String], rows: &[Shown]) -> Drawn {
    let x = Axis::log_around(rows.iter().map(|r| r.x), "shear stress *σ* / Pa");
    let values = rows.iter().flat_map(|r| [r.y, r.low, r.high]).flatten();
    // Ends far outside 0 to 1 say only that nothing is known.
    let y = Axis::linear_around(values.map(|v| v.clamp(-0.5, 1.5)), [0.0, 1.0], "contact share *X*");
    let mut panel = Panel::new(area, place, x, y)?;
    panel.level(0.0, pen(GREY, 0.3))?;
    panel.level(1.0, pen(GREY, 0.3))?;
    for (i, sample) in samples.iter().enumerate() {
        let (look, rows) = (series(i), rows.iter().filter(|r| r.series == *sample));
        let line: Vec<_> = rows.clone().filter_map(|r| Some((r.x, r.y?))).collect();
        panel.curve(&line, pen(look.color, 0.4))?;
        for row in rows {
            match (row.y, row.low, row.high) {
                (Some(y), low, high) => {
                    panel.bar(row.x, low.unwrap_or(y), high.unwrap_or(y), pen(look.color, 0.7))?;
                    panel.marker((row.x, y), look, true, 2.2)?;
                }
                (None, Some(bound), _) => panel.arrow((row.x, bound), true, 0.0, pen(look.color, 0.8))?,
                _ => {}
            }
        }
    }
    panel.frame("")
}

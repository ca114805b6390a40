//! Contact share against stress for all samples, unresolved states as bounds.

use super::axes::Axis;
use super::captions;
use super::groups::{Group, groups};
use super::panel::{Area, DrawError, Drawn, Panel};
use super::style::{GREY, TWO_COLUMNS, pen, series};
use super::{Caption, Figure, Shown, nothing, picture, shown_table};
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
    let drawn: Vec<_> =
        samples.iter().enumerate().filter(|(_, name)| rows.iter().any(|r| r.series == **name)).collect();
    let (groups, height) = groups(&drawn, 156.0);
    let size = (TWO_COLUMNS, height);
    let svg = picture(size, title, |area| {
        groups.iter().try_for_each(|group| {
            group.legend(area)?;
            panel(area, group, samples, &rows)
        })
    })?;
    let (text, alt) = captions::contact_share(states);
    let text = text + &captions::panels(groups.len());
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

fn panel(area: &Area<'_>, group: &Group, samples: &[String], rows: &[Shown]) -> Drawn {
    let x = Axis::log_around(rows.iter().map(|r| r.x), "shear stress *σ* / Pa");
    let values = rows.iter().flat_map(|r| [r.y, r.low, r.high]).flatten();
    // Ends far outside 0 to 1 say only that nothing is known.
    let y = Axis::linear_around(values.map(|v| v.clamp(-0.5, 1.5)), [0.0, 1.0], "contact share *X*");
    let mut panel = Panel::new(area, group.place, x, y)?;
    panel.level(0.0, pen(GREY, 0.3))?;
    panel.level(1.0, pen(GREY, 0.3))?;
    for i in &group.samples {
        let (look, rows) = (series(*i), rows.iter().filter(|r| r.series == samples[*i]));
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

//! Flow-state diagram: the borders that the fitted thickening law gives, over solid fraction and stress, with the
//! measured states; a panel for each kind of particles.

use super::axes::Axis;
use super::captions;
use super::legend::{Entry, Legend};
use super::panel::{Area, DrawError, Drawn, Panel, Place};
use super::style::{Dash, GREY, INK, ONE_COLUMN, dash, pen, series};
use super::{Caption, Figure, Shown, nothing, picture, shown_table};
use stages::fit::result::{BorderKind, Fits, FlowDiagram, FlowState};

/// Width of a legend that stands above a frame, pt.
const LEGEND: f64 = ONE_COLUMN - 44.0;
/// Height of a panel's frame and of what stands around it, pt.
const FRAME: (f64, f64) = (164.0, 42.0);

/// Draws the diagrams of `fits` with the states of the samples in the order given.
///
/// # Errors
/// If something could not be drawn: a mistake in the program.
pub fn draw(samples: &[String], fits: &Fits) -> Result<Figure, DrawError> {
    let states: Vec<Shown> = fits.flow_states.iter().map(measured).collect();
    let borders: Vec<Shown> = fits.diagrams.iter().flat_map(border).collect();
    let guides: Vec<Shown> = fits.diagrams.iter().flat_map(guides).collect();
    let data = shown_table(&[states, borders, guides].concat(), "volume_fraction", "stress_pa");
    let title = "Flow-state diagram of the fitted thickening law";
    if fits.diagrams.is_empty() {
        return nothing(title, "no thickening law was fitted with all its parameters", data);
    }
    let entry = |(i, name): (usize, &String)| Entry { look: series(i), filled: true, text: name.clone() };
    let lines: Vec<(Dash, String)> =
        BorderKind::ALL.iter().enumerate().map(|(i, kind)| (dash(i), kind.name().to_owned())).collect();
    let drawn = samples.iter().enumerate().filter(|(_, name)| fits.flow_states.iter().any(|s| s.sample == **name));
    let legend = Legend::new(drawn.map(entry).collect(), LEGEND).with_lines(lines);
    let top = 4.0 + legend.height();
    let size = (ONE_COLUMN, top + (FRAME.0 + FRAME.1) * fits.diagrams.len() as f64);
    let svg = picture(size, title, |area| {
        legend.draw(area, 42.0, 2.0)?;
        for (at, diagram) in fits.diagrams.iter().enumerate() {
            let top = top + 14.0 + at as f64 * (FRAME.0 + FRAME.1);
            let place = Place { left: 42.0, top, width: ONE_COLUMN - 50.0, height: FRAME.0 - 4.0 };
            let own: Vec<&FlowState> = fits.flow_states.iter().filter(|s| s.scope == diagram.scope).collect();
            panel(area, place, samples, diagram, &own)?;
        }
        Ok(())
    })?;
    let (text, alt) = captions::flow_state(fits);
    Ok(Figure { svg, data, caption: Caption { text, alt, empty: None, width: size.0, height: size.1, row: None } })
}

fn measured(state: &FlowState) -> Shown {
    Shown {
        series: state.sample.clone(),
        label: format!("{}, {}", state.set_point, state.regime.name()),
        x: state.volume_fraction,
        y: Some(state.stress_pa),
        ..Shown::default()
    }
}

fn border(diagram: &FlowDiagram) -> Vec<Shown> {
    let row = |name: &str, (x, y): &(f64, f64)| Shown {
        series: format!("{name}, {}", diagram.scope.name()),
        x: *x,
        y: Some(*y),
        ..Shown::default()
    };
    diagram.borders.iter().flat_map(|b| b.points.iter().map(|p| row(b.kind.name(), p))).collect()
}

/// The thin lines of a diagram as rows of the table: a stress or a solid fraction, the other one not a number.
fn guides(diagram: &FlowDiagram) -> [Shown; 3] {
    let row = |name: &str, x: f64, y: Option<f64>| Shown {
        series: format!("{name}, {}", diagram.scope.name()),
        x,
        y,
        ..Shown::default()
    };
    [
        row("onset stress", f64::NAN, Some(diagram.onset_stress_pa)),
        row("jamming without friction", diagram.frictionless_jamming, None),
        row("jamming with friction", diagram.frictional_jamming, None),
    ]
}

fn panel(area: &Area<'_>, place: Place, samples: &[String], diagram: &FlowDiagram, states: &[&FlowState]) -> Drawn {
    let fractions = || states.iter().map(|s| s.volume_fraction);
    let (low, high) = (fractions().fold(f64::INFINITY, f64::min), fractions().fold(0.0, f64::max));
    let [low, high] = [low, high.max(diagram.frictionless_jamming)].map(|x| x.clamp(0.0, 1.0));
    let x = Axis::linear(low - 0.02, high + 0.02, "solid volume fraction *φ*");
    let y =
        Axis::log_around(states.iter().flat_map(|s| [s.stress_pa / 2.0, 2.0 * s.stress_pa]), "shear stress *σ* / Pa");
    let mut panel = Panel::new(area, place, x, y)?;
    panel.level(diagram.onset_stress_pa, pen(GREY, 0.5))?;
    panel.upright(diagram.frictionless_jamming, pen(GREY, 0.5))?;
    panel.upright(diagram.frictional_jamming, pen(GREY, 0.5))?;
    for border in &diagram.borders {
        let kind = BorderKind::ALL.iter().position(|kind| *kind == border.kind).unwrap_or(0);
        panel.dashed(&border.points, dash(kind), pen(INK, 0.8))?;
    }
    for state in states {
        let look = series(samples.iter().position(|s| *s == state.sample).unwrap_or(0));
        panel.marker((state.volume_fraction, state.stress_pa), look, state.remark.is_none(), 2.2)?;
    }
    panel.frame(&super::svg::literal(&diagram.scope.name()))
}

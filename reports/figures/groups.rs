//! Series of samples in one panel, or spread over several of the same axes where they are too many to tell apart.

use super::legend::{Entry, Legend};
use super::panel::{Area, Drawn, Place};
use super::style::{TWO_COLUMNS, series};

/// So many samples share one panel.
const ONE_PANEL: usize = 8;
/// At most so many do where there are several panels.
const SHARED: usize = 6;
/// Room for tick and axis labels on the left, and between two panels, pt.
const LEFT: f64 = 42.0;
const BETWEEN: f64 = 46.0;
/// Room for tick and axis labels below a panel, pt.
const BELOW: f64 = 27.0;

/// A panel with the samples in it, as places in the order of the study.
pub struct Group {
    /// Places of its samples.
    pub samples: Vec<usize>,
    /// Its frame.
    pub place: Place,
    legend: Legend,
}

/// The panels of a figure, and how high it is, pt. `drawn` are the places and names of samples that have anything to
/// show; `height` is that of one panel over the whole width.
pub fn groups(drawn: &[(usize, &String)], height: f64) -> (Vec<Group>, f64) {
    let several = drawn.len() > ONE_PANEL;
    let parts = if several { drawn.len().div_ceil(SHARED) } else { 1 };
    let width = if several { (TWO_COLUMNS - LEFT - BETWEEN - 8.0) / 2.0 } else { TWO_COLUMNS - LEFT - 8.0 };
    let legend = |part: &[(usize, &String)]| {
        let entry = |(i, name): &(usize, &String)| Entry { look: series(*i), filled: true, text: (*name).clone() };
        Legend::new(part.iter().map(entry).collect(), width)
    };
    let parts: Vec<&[(usize, &String)]> = drawn.chunks(drawn.len().div_ceil(parts).max(1)).collect();
    let legends: Vec<Legend> = parts.iter().map(|part| legend(part)).collect();
    let head = 4.0 + legends.iter().map(Legend::height).fold(0.0, f64::max);
    let row = head + height + BELOW;
    let place = |n: usize| {
        let (column, line) = if several { (n % 2, n / 2) } else { (0, n) };
        let left = LEFT + column as f64 * (width + BETWEEN);
        Place { left, top: line as f64 * row + head + 2.0, width, height }
    };
    let lines = if several { parts.len().div_ceil(2) } else { 1 };
    let parts_with_legends = parts.iter().zip(legends).enumerate();
    let all = parts_with_legends
        .map(|(n, (part, legend))| Group { samples: part.iter().map(|(i, _)| *i).collect(), place: place(n), legend })
        .collect();
    (all, lines as f64 * row)
}

impl Group {
    /// Draws its legend, right above its frame.
    ///
    /// # Errors
    /// If something could not be drawn.
    pub fn legend(&self, area: &Area<'_>) -> Drawn {
        self.legend.draw(area, self.place.left, self.place.top - 2.0 - self.legend.height())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn samples(n: usize) -> Vec<String> {
        (1..=n).map(|i| format!("S{i:02}")).collect()
    }

    fn of(n: usize) -> (Vec<usize>, f64) {
        let names = samples(n);
        let drawn: Vec<(usize, &String)> = names.iter().enumerate().collect();
        let (groups, height) = groups(&drawn, 150.0);
        (groups.iter().map(|g| g.samples.len()).collect(), height)
    }

    #[test]
    fn many_samples_are_spread_and_none_is_lost() {
        assert_eq!(of(4).0, [4]);
        assert_eq!(of(8).0, [8]);
        assert_eq!(of(9).0, [5, 4]);
        assert_eq!(of(20).0, [5, 5, 5, 5]);
        assert_eq!(of(60).0.iter().sum::<usize>(), 60);
        // Four panels stand in two rows, which fit on a page.
        assert!(of(20).1 > of(8).1 && of(20).1 < 500.0, "{}", of(20).1);
    }

    #[test]
    fn samples_of_a_panel_have_looks_of_their_own() {
        let looks: Vec<_> = (0..24).map(series).collect();
        for (i, a) in looks.iter().enumerate() {
            assert!(looks[i + 1..].iter().all(|b| a != b), "{i}");
        }
    }
}

//! The design of a study as a table: sample × set-point × loading × repeat, with the number of reversals in each.
//! Where the names come from is the caller's to say; nothing is read or computed here but counts.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// One reversal and where it belongs.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cell {
    /// Name of the sample.
    pub sample: String,
    /// Label of the set-point.
    pub set_point: String,
    /// Name of the loading.
    pub loading: String,
    /// Name of the repeat, where there is one.
    pub repeat: Option<String>,
}

/// The table, built once and shown where it is needed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Design {
    /// By sample in the order of their names: its set-points as they came, its loadings in the order of their names.
    samples: BTreeMap<String, Sample>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Sample {
    set_points: Vec<String>,
    loadings: BTreeSet<String>,
    /// Reversals by set-point, loading and repeat.
    counts: BTreeMap<(String, String), BTreeMap<Option<String>, usize>>,
}

impl Design {
    /// Counts reversals. Set-points stand in the order in which they come.
    pub fn from_cells(cells: impl IntoIterator<Item = Cell>) -> Self {
        let mut design = Self::default();
        for cell in cells {
            let sample = design.samples.entry(cell.sample).or_default();
            if !sample.set_points.contains(&cell.set_point) {
                sample.set_points.push(cell.set_point.clone());
            }
            sample.loadings.insert(cell.loading.clone());
            *sample.counts.entry((cell.set_point, cell.loading)).or_default().entry(cell.repeat).or_default() += 1;
        }
        design
    }

    /// Whether there is no reversal.
    pub fn is_empty(&self) -> bool {
        self.samples.is_empty()
    }

    /// Head and rows: sample, set-point, then a column for each loading of the study. A cell is the number of
    /// reversals, by repeats where there are several (`2+2`), `·` where there is none.
    pub fn rows(&self) -> (Vec<String>, Vec<Vec<String>>) {
        let loadings: BTreeSet<&String> = self.samples.values().flat_map(|sample| &sample.loadings).collect();
        let mut head = vec!["sample".to_owned(), "set-point".to_owned()];
        head.extend(loadings.iter().map(|loading| format!("loading {loading}")));
        let mut rows = Vec::new();
        for (name, sample) in &self.samples {
            for set_point in &sample.set_points {
                let cells = loadings.iter().map(|loading| sample.cell(set_point, loading));
                rows.push([name.clone(), set_point.clone()].into_iter().chain(cells).collect());
            }
        }
        (head, rows)
    }

    /// The table as text of equal columns, a line a row, indented by two blanks.
    pub fn in_columns(&self) -> String {
        let (head, rows) = self.rows();
        let mut out = String::new();
        for line in columns(&[vec![head], rows].concat()) {
            let _ = writeln!(out, "  {line}");
        }
        out
    }
}

impl Sample {
    fn cell(&self, set_point: &str, loading: &str) -> String {
        let Some(repeats) = self.counts.get(&(set_point.to_owned(), loading.to_owned())) else {
            return "·".to_owned();
        };
        repeats.values().map(ToString::to_string).collect::<Vec<_>>().join("+")
    }
}

/// Rows as lines in which every column has one width.
pub fn columns(rows: &[Vec<String>]) -> Vec<String> {
    let width = |at: usize| rows.iter().filter_map(|row| row.get(at)).map(|cell| cell.chars().count()).max();
    let widths: Vec<usize> = (0..).map_while(width).collect();
    let line = |row: &Vec<String>| {
        let cells = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}"));
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned()
    };
    rows.iter().map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(sample: &str, set_point: &str, loading: &str, repeat: Option<&str>) -> Cell {
        let repeat = repeat.map(str::to_owned);
        Cell { sample: sample.into(), set_point: set_point.into(), loading: loading.into(), repeat }
    }

    #[test]
    fn counts_stand_by_loading_and_repeat() {
        let design = Design::from_cells([
            cell("B", "1 Pa", "2", None),
            cell("A", "10 Pa", "1", Some("1")),
            cell("A", "10 Pa", "1", Some("1")),
            cell("A", "10 Pa", "1", Some("2")),
            cell("A", "3 Pa", "2", None),
        ]);
        let expected = "  sample  set-point  loading 1  loading 2\n  A       10 Pa      2+1        ·\n  \
                        A       3 Pa       ·          1\n  B       1 Pa       ·          1\n";
        assert_eq!(design.in_columns(), expected);
        assert!(Design::from_cells([]).is_empty());
    }
}

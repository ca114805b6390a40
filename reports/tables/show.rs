//! A table of the results in a terminal: rounded by its uncertainties, `u_x` folded into `x`, ends of an interval
//! in one column. It must not know which table it shows.

use crate::text::numbers;
use stages::states::result::Interval;
use stages::table::{Table, Values};

/// A printed column: its heading and its cells.
struct Shown {
    head: String,
    cells: Vec<String>,
    right: bool,
}

/// The table as lines of text with aligned columns; a remark below where there are no rows.
pub fn show(table: &Table) -> String {
    let columns = columns(table);
    let mut lines = vec![line(&columns, |c| &c.head)];
    lines.extend((0..table.height()).map(|row| line(&columns, |c| &c.cells[row])));
    if table.height() == 0 {
        lines.push("(no rows)".to_owned());
    }
    lines.iter().map(|l| format!("{}\n", l.trim_end())).collect()
}

fn line<'a>(columns: &'a [Shown], cell: impl Fn(&'a Shown) -> &'a String) -> String {
    columns.iter().map(|c| pad(cell(c), width(c), c.right)).collect::<Vec<_>>().join("  ")
}

fn width(column: &Shown) -> usize {
    column.cells.iter().chain([&column.head]).map(|t| printed_width(t)).max().unwrap_or(0)
}

/// Characters that take a place of their own; marks that combine with the one before take none.
fn printed_width(text: &str) -> usize {
    text.chars().filter(|c| !('\u{300}'..='\u{36f}').contains(c)).count()
}

fn pad(text: &str, width: usize, right: bool) -> String {
    let space = " ".repeat(width.saturating_sub(printed_width(text)));
    if right { format!("{space}{text}") } else { format!("{text}{space}") }
}

fn columns(table: &Table) -> Vec<Shown> {
    let named = |name: &str| table.column(name).is_some();
    let folded = |name: &str| {
        let base = name.strip_prefix("u_").or(name.strip_suffix("_low")).or(name.strip_suffix("_high"));
        base.is_some_and(named)
    };
    let mut out = Vec::new();
    for (name, values) in table.columns().iter().filter(|(name, _)| !folded(name)) {
        out.push(Shown {
            head: name.clone(),
            cells: cells(table, name, values),
            right: matches!(values, Values::Float(_) | Values::Int(_)),
        });
        if named(&format!("{name}_low")) {
            out.push(ends(table, name));
        }
    }
    out
}

fn cells(table: &Table, name: &str, values: &Values) -> Vec<String> {
    let missing = || numbers::MISSING.to_owned();
    match values {
        Values::Text(v) => v.iter().map(|t| t.as_deref().map_or_else(missing, printable)).collect(),
        Values::Int(v) => v.iter().map(|n| n.map_or_else(missing, |n| n.to_string())).collect(),
        Values::Bool(v) => v.iter().map(|b| b.map_or_else(missing, |b| if b { "yes" } else { "no" }.into())).collect(),
        Values::Float(v) => {
            let u = uncertainties(table, name);
            v.iter().zip(u).map(|(x, u)| x.map_or_else(missing, |x| numbers::plus_minus(x, u))).collect()
        }
    }
}

fn uncertainties(table: &Table, name: &str) -> Vec<f64> {
    table.floats(&format!("u_{name}")).unwrap_or_else(|| vec![f64::NAN; table.height()])
}

/// The interval in one column; where there is no value, the bound that stands in `_low`.
fn ends(table: &Table, name: &str) -> Shown {
    let column = |n: String| table.floats(&n).unwrap_or_else(|| vec![f64::NAN; table.height()]);
    let (value, u) = (column(name.to_owned()), uncertainties(table, name));
    let (low, high) = (column(format!("{name}_low")), column(format!("{name}_high")));
    let some = |x: f64| Some(x).filter(|x| x.is_finite());
    let cell = |i: usize| match (some(value[i]), some(low[i])) {
        (None, Some(bound)) => format!("≥ {}", numbers::significant(bound, 2)),
        _ => numbers::interval(&Interval { value: value[i], u: u[i], low: some(low[i]), high: some(high[i]) }),
    };
    Shown { head: "95 %".to_owned(), cells: (0..table.height()).map(cell).collect(), right: false }
}

/// Control characters never reach a terminal.
fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { '·' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn uncertainties_are_folded_and_round() {
        let table = Table::new()
            .text("sample", [Some("A".to_owned()), Some("B\u{1b}[2J".to_owned())])
            .float("x", [Some(0.86321), None])
            .float("u_x", [Some(0.0123), None])
            .float("x_low", [Some(0.8391), Some(0.3)])
            .float("x_high", [Some(0.8873), None]);
        let text = show(&table);
        let lines: Vec<_> = text.lines().collect();
        assert_eq!(lines.len(), 3);
        assert!(lines[0].contains("sample") && !lines[0].contains("u_x"), "{text}");
        assert!(lines[1].contains("0.863 ± 0.012  [0.839, 0.887]"), "{text}");
        assert!(lines[2].contains("≥ 0.30") && !text.contains('\u{1b}'), "{text}");
    }

    #[test]
    fn an_empty_table_says_so() {
        assert_eq!(show(&Table::new().float("x", [])), "x\n(no rows)\n");
    }
}

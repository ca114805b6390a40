//! The design as a run ends with it, read off the published tables: sample × set-point × loading × repeat with counts,
//! so that a wrong grouping is seen at once.

use crate::tables::cells::{bool_at, text_at};
use serde_json::{Value, json};
use stages::table::Table;
use std::collections::BTreeMap;

/// More lines than this are counted, not shown.
const SHOWN: usize = 40;
/// More loadings than this, or a longer line, are counted, not named.
const NAMED: usize = 72;

/// Resolved and found reversals of one cell.
type Count = (u32, u32);

/// One row of the design.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Row {
    sample: String,
    what: String,
    cells: BTreeMap<(String, String), Count>,
}

/// Lines for people and the same for programs.
pub fn design(reversals: &Table, runs: &Table) -> (Vec<String>, Value) {
    let rows = rows(reversals);
    let mut lines = Vec::new();
    if !rows.is_empty() {
        lines.push("design: sample, set-point; loading / repeat: reversals resolved of found".to_owned());
    }
    let width = |of: fn(&Row) -> &String| rows.iter().map(|r| of(r).chars().count()).max().unwrap_or(0);
    let (sample, what) = (width(|r| &r.sample), width(|r| &r.what));
    lines.extend(rows.iter().take(SHOWN).map(|r| format!("  {:sample$}  {:>what$}  {}", r.sample, r.what, cells(r))));
    if rows.len() > SHOWN {
        lines.push(format!("  … and {} more rows (all of them with --json)", rows.len() - SHOWN));
    }
    lines.extend(without_reversal(reversals, runs));
    let json = rows.iter().flat_map(|r| {
        r.cells.iter().map(|((loading, repeat), (resolved, found))| {
            json!({"sample": r.sample, "set_point": r.what, "loading": loading, "repeat": repeat,
                   "resolved": resolved, "found": found})
        })
    });
    (lines, Value::Array(json.collect()))
}

/// Rows in the order in which sample and set-point first appear.
fn rows(reversals: &Table) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for at in 0..reversals.height() {
        let text = |name: &str| text_at(reversals, name, at).to_owned();
        let control = bool_at(reversals, "control", at) == Some(true);
        let what = match text("set_point") {
            _ if control => "(control)".to_owned(),
            none if none.is_empty() => "no set-point".to_owned(),
            set_point => set_point,
        };
        let sample = text("sample");
        let place = rows.iter().position(|r| r.sample == sample && r.what == what).unwrap_or_else(|| {
            rows.push(Row { sample, what, cells: BTreeMap::new() });
            rows.len() - 1
        });
        let count = rows[place].cells.entry((text("loading"), text("repeat"))).or_default();
        count.0 += u32::from(bool_at(reversals, "resolved", at) == Some(true));
        count.1 += 1;
    }
    // Set-points of a sample stand together, in the order of their first appearance.
    let mut order: Vec<String> = Vec::new();
    rows.iter().for_each(|r| {
        if !order.contains(&r.sample) {
            order.push(r.sample.clone())
        }
    });
    rows.sort_by_key(|r| order.iter().position(|sample| *sample == r.sample));
    rows
}

/// `1: 2/2  2 / a: 1/2`, or the number of loadings where that is too long.
fn cells(row: &Row) -> String {
    let name = |(loading, repeat): &(String, String)| match repeat.is_empty() {
        true => loading.clone(),
        false => format!("{loading} / {repeat}"),
    };
    let each: Vec<String> = row.cells.iter().map(|(key, (r, f))| format!("{}: {r}/{f}", name(key))).collect();
    let line = each.join("  ");
    if line.chars().count() <= NAMED {
        return line;
    }
    let loadings: std::collections::BTreeSet<&String> = row.cells.keys().map(|(loading, _)| loading).collect();
    let sum = row.cells.values().fold((0, 0), |sum, count| (sum.0 + count.0, sum.1 + count.1));
    format!("{} loadings: {}/{}", loadings.len(), sum.0, sum.1)
}

fn without_reversal(reversals: &Table, runs: &Table) -> Vec<String> {
    let has = |run: &str| (0..reversals.height()).any(|at| text_at(reversals, "run", at) == run);
    let names = (0..runs.height()).map(|at| text_at(runs, "run", at));
    let empty: Vec<&str> = names.filter(|run| !has(run)).collect();
    let more = empty.len().saturating_sub(6);
    let named = empty.iter().take(6).copied().collect::<Vec<_>>().join(", ");
    let tail = if more > 0 { format!(" and {more} more") } else { String::new() };
    if empty.is_empty() { Vec::new() } else { vec![format!("no reversal found in: {named}{tail}")] }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reversals() -> Table {
        let text = |values: [&str; 5]| values.map(|v| (!v.is_empty()).then(|| v.to_owned()));
        Table::new()
            .text("run", text(["a", "a", "b", "b", "c"]))
            .text("sample", text(["A", "A", "A", "A", "oil"]))
            .text("set_point", text(["1 Pa", "1 Pa", "1 Pa", "3 Pa", ""]))
            .text("loading", text(["1", "1", "2", "2", "c"]))
            .text("repeat", text(["", "", "x", "x", ""]))
            .bool("control", [false, false, false, false, true].map(Some))
            .bool("resolved", [true, false, true, true, true].map(Some))
    }

    #[test]
    fn each_cell_has_its_counts_and_what_is_empty_is_named() {
        let runs = Table::new().text("run", ["a", "b", "c", "d"].map(|r| Some(r.to_owned())));
        let (lines, json) = design(&reversals(), &runs);
        assert_eq!(
            lines,
            [
                "design: sample, set-point; loading / repeat: reversals resolved of found",
                "  A         1 Pa  1: 1/2  2 / x: 1/1",
                "  A         3 Pa  2 / x: 1/1",
                "  oil  (control)  c: 1/1",
                "no reversal found in: d",
            ]
        );
        assert_eq!(json.as_array().map(Vec::len), Some(4));
        assert_eq!(json[0]["found"], 2);
    }

    #[test]
    fn a_study_without_reversals_has_no_table() {
        assert!(design(&Table::new(), &Table::new()).0.is_empty());
    }
}

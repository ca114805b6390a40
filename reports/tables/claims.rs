//! `claims`: each number that was or will be printed somewhere, looked up in the tables of the study.
//! It compares; it computes nothing new.

use super::column::{Column, float, table, text, truth};
use pipeline::diagnostic::Diagnostic;
use serde::{Deserialize, Serialize};
use stages::table::{Table, Values};
use std::collections::BTreeMap;

/// A claim as the study file states it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Claim {
    /// The sentence that was or will be printed.
    pub says: String,
    /// Published table that holds the number.
    pub table: String,
    /// Column and what it must hold; a set-point matches by number and unit.
    #[serde(rename = "where")]
    pub place: BTreeMap<String, String>,
    /// Column of the number.
    pub column: String,
    /// The number that was printed, in the unit of the column.
    pub value: f64,
    /// How far the study's number may lie from it.
    pub within: f64,
}

/// A claim held against the study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClaimRow {
    /// The sentence.
    pub says: String,
    /// The number that was printed.
    pub value: f64,
    /// The number of the study; none where the study gives none.
    pub found: Option<f64>,
    /// Its standard uncertainty.
    pub u_found: Option<f64>,
    /// How far it may lie.
    pub within: f64,
    /// Whether it does.
    pub holds: bool,
}

/// Columns of `claims`.
pub fn columns() -> Vec<Column<ClaimRow>> {
    vec![
        text("says", "The sentence that was or will be printed", |c: &ClaimRow| Some(c.says.clone())),
        float("value", "", "The number in it, in the unit of the column it names", |c| Some(c.value)),
        float("found", "", "What the study gives; null where it gives no number", |c| c.found),
        float("u_found", "", "Standard uncertainty of found", |c| c.u_found),
        float("within", "", "How far found may lie from value", |c| Some(c.within)),
        truth("holds", "Whether it lies within", |c| Some(c.holds)),
    ]
}

/// The table `claims`.
pub fn claims_table(rows: &[ClaimRow]) -> Table {
    table(&columns(), rows)
}

/// Looks `claim` up in its table.
///
/// # Errors
/// If a column is not there, or no row or several match: what there is to match is listed.
pub fn check(claim: &Claim, table: &Table) -> Result<ClaimRow, Diagnostic> {
    let row = only_row(claim, table)?;
    let number = |name: &str| table.floats(name).and_then(|v| v.get(row).copied()).filter(|v| v.is_finite());
    if table.floats(&claim.column).is_none() {
        return Err(problem(claim, format!("table {} has no column {} of numbers", claim.table, claim.column)));
    }
    let found = number(&claim.column);
    let holds = found.is_some_and(|f| (f - claim.value).abs() <= claim.within);
    let u_found = number(&format!("u_{}", claim.column));
    Ok(ClaimRow { says: claim.says.clone(), value: claim.value, found, u_found, within: claim.within, holds })
}

fn problem(claim: &Claim, what: String) -> Diagnostic {
    Diagnostic::new(format!("claim \"{}\": {what}", claim.says)).help("correct the claim in the study file")
}

fn only_row(claim: &Claim, table: &Table) -> Result<usize, Diagnostic> {
    if let Some(missing) = claim.place.keys().find(|name| table.column(name).is_none()) {
        return Err(problem(claim, format!("table {} has no column {missing}", claim.table)));
    }
    let fits = |row: &usize| claim.place.iter().all(|(name, wanted)| matches(name, wanted, &cell(table, name, *row)));
    let rows: Vec<usize> = (0..table.height()).filter(fits).collect();
    match rows[..] {
        [row] => Ok(row),
        [] => Err(problem(claim, format!("no row of {} matches; there are {}", claim.table, listed(claim, table)))),
        _ => Err(problem(claim, format!("{} rows of {} match, one is needed", rows.len(), claim.table))),
    }
}

fn cell(table: &Table, name: &str, row: usize) -> String {
    match table.column(name) {
        Some(Values::Text(v)) => v.get(row).cloned().flatten(),
        Some(Values::Float(v)) => v.get(row).copied().flatten().map(|x| x.to_string()),
        Some(Values::Int(v)) => v.get(row).copied().flatten().map(|x| x.to_string()),
        Some(Values::Bool(v)) => v.get(row).copied().flatten().map(|x| x.to_string()),
        None => None,
    }
    .unwrap_or_default()
}

/// Two set-points are one up to a ratio of 1.05, the width of a set-point's own group.
const SAME_SET_POINT: f64 = 1.05;

fn matches(name: &str, wanted: &str, found: &str) -> bool {
    if wanted == found {
        return true;
    }
    let (Some((a, unit_a)), Some((b, unit_b))) = (number_and_unit(wanted), number_and_unit(found)) else {
        return false;
    };
    if name.starts_with("set_point") {
        let ratio = if a > b { a / b } else { b / a };
        return unit_a == unit_b && a > 0.0 && b > 0.0 && ratio <= SAME_SET_POINT;
    }
    unit_a.is_empty() && unit_b.is_empty() && a == b
}

fn number_and_unit(text: &str) -> Option<(f64, &str)> {
    let (number, unit) = text.trim().split_once(char::is_whitespace).unwrap_or((text.trim(), ""));
    Some((number.parse().ok()?, unit.trim()))
}

/// The combinations that the columns of the claim have in the table, at most twelve.
fn listed(claim: &Claim, table: &Table) -> String {
    let row = |r: usize| claim.place.keys().map(|n| cell(table, n, r)).collect::<Vec<_>>().join(", ");
    let mut all: Vec<String> = Vec::new();
    for text in (0..table.height()).map(row) {
        if !all.contains(&text) {
            all.push(text);
        }
    }
    let more = all.len().saturating_sub(12);
    all.truncate(12);
    let tail = if more > 0 { format!(" and {more} more") } else { String::new() };
    if all.is_empty() { "none".to_owned() } else { format!("{}{tail}", all.join("; ")) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn states() -> Table {
        let text = |v: [&str; 3]| v.map(|t| Some(t.to_owned()));
        Table::new()
            .text("sample", text(["A", "A", "B"]))
            .text("set_point", text(["101 Pa", "10 1/s", "100 Pa"]))
            .float("contact_share", [Some(0.85), Some(0.5), None])
            .float("u_contact_share", [Some(0.01), Some(0.02), None])
    }

    fn claim(sample: &str, set_point: &str, within: f64) -> Claim {
        let place = [("sample", sample), ("set_point", set_point)];
        Claim {
            says: "contacts carry 86 %".into(),
            table: "states".into(),
            place: place.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect(),
            column: "contact_share".into(),
            value: 0.86,
            within,
        }
    }

    #[test]
    fn set_points_match_by_number_and_unit() {
        let row = check(&claim("A", "100 Pa", 0.03), &states()).unwrap();
        assert_eq!((row.found, row.u_found, row.holds), (Some(0.85), Some(0.01), true));
        assert!(!check(&claim("A", "100 Pa", 0.001), &states()).unwrap().holds);
        assert!(check(&claim("A", "100 1/s", 0.03), &states()).is_err());
    }

    #[test]
    fn a_number_that_is_not_there_does_not_hold() {
        let row = check(&claim("B", "100 Pa", 0.03), &states()).unwrap();
        assert_eq!((row.found, row.holds), (None, false));
    }

    #[test]
    fn no_match_lists_those_there_are() {
        let error = check(&claim("C", "100 Pa", 0.03), &states()).unwrap_err();
        assert!(error.message.contains("B, 100 Pa"), "{error}");
    }
}

//! Finds the row that a claim means and holds its number against it; pure.

use super::params::Claim;
use super::result::ClaimRow;
use crate::physics::set_point;
use crate::table::{Table, Values};
use std::collections::BTreeMap;

/// The row of one claim.
pub(super) fn check(claim: &Claim, tables: &BTreeMap<String, Table>) -> ClaimRow {
    let found = match find(claim, tables) {
        Ok(found) => found,
        Err(remarks) => return row(claim, None, None, false, remarks),
    };
    let holds = within(claim, found.value);
    let remarks = if holds { against(claim, &found, tables) } else { "differs by more than stated".to_owned() };
    row(claim, Some(found.value), found.u, holds, remarks)
}

fn within(claim: &Claim, value: f64) -> bool {
    (value - claim.value).abs() <= claim.within
}

fn row(claim: &Claim, found: Option<f64>, u_found: Option<f64>, holds: bool, remarks: String) -> ClaimRow {
    ClaimRow { says: claim.says.clone(), value: claim.value, found, u_found, within: claim.within, holds, remarks }
}

/// The one row that fits.
struct Found<'a> {
    table: &'a Table,
    at: usize,
    value: f64,
    u: Option<f64>,
}

impl Found<'_> {
    fn text(&self, column: &str) -> Option<&str> {
        self.table.texts(column)?[self.at].as_deref()
    }
}

/// The one row that fits, or why there is none.
fn find<'a>(claim: &Claim, tables: &'a BTreeMap<String, Table>) -> Result<Found<'a>, String> {
    let table = tables.get(&claim.table).ok_or_else(|| {
        let names: Vec<&str> = tables.keys().map(String::as_str).collect();
        format!("there is no table {}; there are {}", claim.table, names.join(", "))
    })?;
    let value = number_column(table, &claim.column)?;
    let rows = fitting_rows(claim, table)?;
    match rows[..] {
        [] => Err(no_row(claim, table)),
        [at] => {
            let value = value[at].ok_or("the study gives no value there (not resolved)")?;
            let u = number_column(table, &format!("u_{}", claim.column)).ok().and_then(|u| u[at]);
            Ok(Found { table, at, value, u })
        }
        _ => Err(format!("{} rows fit; name more columns under `where`", rows.len())),
    }
}

/// Under which other choices of settings the claim would miss; empty where it stands under all.
fn against(claim: &Claim, found: &Found<'_>, tables: &BTreeMap<String, Table>) -> String {
    let Some(table) = tables.get("sensitivity").filter(|_| claim.hangs_on_sensitivity()) else { return String::new() };
    let text = |column: &str, at: usize| table.texts(column).and_then(|t| t[at].as_deref());
    let same = |at: &usize| {
        text("quantity", *at) == Some(&claim.column)
            && text("sample", *at) == found.text("sample")
            && text("set_point", *at) == found.text("set_point")
    };
    let decides = |at: &usize| matches!(table.column("decides"), Some(Values::Bool(v)) if v[*at] == Some(true));
    let values = number_column(table, "value").unwrap_or_default();
    let own = (0..table.height()).filter(same).filter(decides);
    let misses = own.filter(|at| values.get(*at).copied().flatten().is_some_and(|v| !within(claim, v)));
    let names: Vec<String> = misses.filter_map(|at| Some(format!("“{}”", text("choice", at)?))).collect();
    match names.len() {
        0 => String::new(),
        1 => format!("would miss under the choice {}", names[0]),
        _ => format!("would miss under the choices {}", names.join(", ")),
    }
}

fn number_column(table: &Table, name: &str) -> Result<Vec<Option<f64>>, String> {
    match table.column(name) {
        Some(Values::Float(values)) => Ok(values.clone()),
        Some(Values::Int(values)) => Ok(values.iter().map(|v| v.map(|v| v as f64)).collect()),
        Some(_) => Err(format!("column {name} holds no numbers")),
        None => Err(format!("there is no column {name}")),
    }
}

fn fitting_rows(claim: &Claim, table: &Table) -> Result<Vec<usize>, String> {
    let mut rows: Vec<usize> = (0..table.height()).collect();
    for (name, wanted) in &claim.filter {
        let column = table.column(name).ok_or_else(|| format!("there is no column {name} to pick a row by"))?;
        rows.retain(|at| fits(column, *at, wanted));
    }
    Ok(rows)
}

fn fits(column: &Values, at: usize, wanted: &str) -> bool {
    match column {
        Values::Text(values) => {
            values[at].as_deref().is_some_and(|text| text == wanted || set_point::same(text, wanted))
        }
        Values::Int(values) => values[at].is_some_and(|v| wanted.parse() == Ok(v)),
        Values::Bool(values) => values[at].is_some_and(|v| wanted.parse() == Ok(v)),
        Values::Float(values) => values[at].is_some_and(|v| wanted.parse() == Ok(v)),
    }
}

/// What the rows offer instead, column by column.
fn no_row(claim: &Claim, table: &Table) -> String {
    if table.height() == 0 {
        return format!("table {} has no rows in this study", claim.table);
    }
    let mut offers = Vec::new();
    for name in claim.filter.keys() {
        if let Some(texts) = table.texts(name) {
            let mut there: Vec<&str> = texts.iter().flatten().map(String::as_str).collect();
            there.sort_unstable();
            there.dedup();
            offers.push(format!("{name}: {}", there.join(", ")));
        }
    }
    format!("no row fits; there are {}", offers.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tables() -> BTreeMap<String, Table> {
        let text = |values: [&str; 3]| values.map(|v| Some(v.to_owned()));
        let states = Table::new()
            .text("sample", text(["A", "A", "B"]))
            .text("set_point", text(["9.98 Pa", "100 Pa", "100 Pa"]))
            .float("contact_share", [Some(0.5), Some(0.86), None])
            .float("u_contact_share", [Some(0.01), Some(0.02), None]);
        BTreeMap::from([("states".to_owned(), states)])
    }

    fn claim(sample: &str, set_point: &str, value: f64) -> Claim {
        let filter = [("sample", sample), ("set_point", set_point)];
        Claim {
            says: "so it is".into(),
            table: "states".into(),
            filter: filter.map(|(k, v)| (k.to_owned(), v.to_owned())).into(),
            column: "contact_share".into(),
            value,
            within: 0.03,
        }
    }

    #[test]
    fn a_claim_within_its_limit_holds() {
        let row = check(&claim("A", "100 Pa", 0.84), &tables());
        assert_eq!((row.found, row.u_found, row.holds), (Some(0.86), Some(0.02), true));
        assert!(!check(&claim("A", "100 Pa", 0.80), &tables()).holds);
    }

    #[test]
    fn set_points_match_by_number_and_unit() {
        assert!(check(&claim("A", "10 Pa", 0.5), &tables()).holds);
        assert!(!check(&claim("A", "10 1/s", 0.5), &tables()).holds);
    }

    #[test]
    fn a_claim_is_held_against_other_choices_too() {
        let all = |value: &str| [0; 4].map(|_| Some(value.to_owned()));
        let choice = ["settings in force", "window before 4", "straight line", "minimum"];
        let sensitivity = Table::new()
            .text("quantity", all("contact_share"))
            .text("sample", all("A"))
            .text("set_point", all("100 Pa"))
            .text("choice", choice.map(|c| Some(c.to_owned())))
            .bool("decides", [Some(true), Some(true), Some(true), Some(false)])
            .float("value", [Some(0.86), Some(0.85), Some(0.90), Some(0.97)]);
        let mut tables = tables();
        tables.insert("sensitivity".to_owned(), sensitivity);
        let row = check(&claim("A", "100 Pa", 0.86), &tables);
        // 0.90 is further than 0.03 from 0.86; the minimum is another quantity.
        assert_eq!((row.holds, row.remarks.as_str()), (true, "would miss under the choice “straight line”"));
        assert_eq!(check(&claim("A", "10 Pa", 0.5), &tables).remarks, "");
    }

    #[test]
    fn whole_numbers_can_be_claimed_and_words_cannot() {
        let text = |values: [&str; 2]| values.map(|v| Some(v.to_owned()));
        let models = Table::new()
            .text("model", text(["wyart-cates", "maron-pierce"]))
            .int("starts_agreeing", [Some(9), Some(1)])
            .text("ending", text(["converged", "converged"]));
        let tables = BTreeMap::from([("models".to_owned(), models)]);
        let filter = BTreeMap::from([("model".to_owned(), "wyart-cates".to_owned())]);
        let of = |column: &str| Claim {
            table: "models".into(),
            column: column.into(),
            filter: filter.clone(),
            value: 9.0,
            within: 0.0,
            ..claim("", "", 0.0)
        };
        let row = check(&of("starts_agreeing"), &tables);
        assert_eq!((row.found, row.u_found, row.holds), (Some(9.0), None, true));
        assert!(check(&of("ending"), &tables).remarks.contains("holds no numbers"));
    }

    #[test]
    fn what_cannot_be_found_says_what_there_is() {
        let row = check(&claim("C", "100 Pa", 0.5), &tables());
        assert!(row.remarks.contains("sample: A, B"), "{}", row.remarks);
        assert!(check(&claim("B", "100 Pa", 0.5), &tables()).remarks.contains("not resolved"));
        let mut many = claim("A", "100 Pa", 0.5);
        many.filter.remove("set_point");
        assert!(check(&many, &tables()).remarks.contains("2 rows"));
    }
}

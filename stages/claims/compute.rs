//! Finds the row that a claim means and holds its number against it; pure.

use super::params::Claim;
use super::result::{ClaimRow, Offer, Remark};
use crate::physics::set_point;
use crate::table::{Table, Values};
use std::collections::BTreeMap;

/// The row of one claim.
pub(super) fn check(claim: &Claim, tables: &BTreeMap<String, Table>) -> ClaimRow {
    let (found, remark) = match find(claim, tables) {
        Err(remark) => (None, Some(remark)),
        Ok(found) if within(claim, found.value) => (Some(found), misses_under(claim, &found, tables)),
        Ok(found) => (Some(found), Some(Remark::Differs)),
    };
    ClaimRow {
        says: claim.says.clone(),
        value: claim.value,
        found: found.map(|f| f.value),
        u_found: found.and_then(|f| f.u),
        within: claim.within,
        holds: found.is_some_and(|f| within(claim, f.value)),
        remark,
    }
}

fn within(claim: &Claim, value: f64) -> bool {
    (value - claim.value).abs() <= claim.within
}

/// The one row that fits.
#[derive(Clone, Copy)]
struct Found<'a> {
    table: &'a Table,
    row: usize,
    value: f64,
    u: Option<f64>,
}

impl Found<'_> {
    fn text_in(&self, column: &str) -> Option<&str> {
        self.table.texts(column)?[self.row].as_deref()
    }
}

/// The one row that fits, or why there is none.
fn find<'a>(claim: &Claim, tables: &'a BTreeMap<String, Table>) -> Result<Found<'a>, Remark> {
    let no_table = || Remark::NoTable { table: claim.table.clone(), known: tables.keys().cloned().collect() };
    let table = tables.get(&claim.table).ok_or_else(no_table)?;
    let value = number_column(table, &claim.column)?;
    match fitting_rows(claim, table)?[..] {
        [] => Err(no_row(claim, table)),
        [row] => {
            let value = value[row].ok_or(Remark::NotResolved)?;
            let u = number_column(table, &format!("u_{}", claim.column)).ok().and_then(|u| u[row]);
            Ok(Found { table, row, value, u })
        }
        ref many => Err(Remark::ManyRows { rows: many.len() as u64 }),
    }
}

/// Under which other choices of settings the claim would miss; none where it stands under all.
fn misses_under(claim: &Claim, found: &Found<'_>, tables: &BTreeMap<String, Table>) -> Option<Remark> {
    let table = tables.get("sensitivity").filter(|_| claim.hangs_on_sensitivity())?;
    let text = |column: &str, row: usize| table.texts(column).and_then(|t| t[row].as_deref());
    let same = |row: &usize| {
        text("quantity", *row) == Some(&claim.column)
            && text("sample", *row) == found.text_in("sample")
            && text("set_point", *row) == found.text_in("set_point")
    };
    let decides = |row: &usize| matches!(table.column("decides"), Some(Values::Bool(v)) if v[*row] == Some(true));
    let values = number_column(table, "value").unwrap_or_default();
    let own = (0..table.height()).filter(same).filter(decides);
    let misses = own.filter(|row| values.get(*row).copied().flatten().is_some_and(|v| !within(claim, v)));
    let choices: Vec<String> = misses.filter_map(|row| text("choice", row).map(str::to_owned)).collect();
    (!choices.is_empty()).then_some(Remark::MissesUnder { choices })
}

fn number_column(table: &Table, name: &str) -> Result<Vec<Option<f64>>, Remark> {
    match table.column(name) {
        Some(Values::Float(values)) => Ok(values.clone()),
        Some(Values::Int(values)) => Ok(values.iter().map(|v| v.map(|v| v as f64)).collect()),
        Some(_) => Err(Remark::NoNumbers { column: name.to_owned() }),
        None => Err(Remark::NoColumn { column: name.to_owned() }),
    }
}

fn fitting_rows(claim: &Claim, table: &Table) -> Result<Vec<usize>, Remark> {
    let mut rows: Vec<usize> = (0..table.height()).collect();
    for (name, wanted) in &claim.filter {
        let column = table.column(name).ok_or_else(|| Remark::NoColumn { column: name.clone() })?;
        rows.retain(|row| fits(column, *row, wanted));
    }
    Ok(rows)
}

fn fits(column: &Values, row: usize, wanted: &str) -> bool {
    match column {
        Values::Text(values) => {
            values[row].as_deref().is_some_and(|text| text == wanted || set_point::same(text, wanted))
        }
        Values::Int(values) => values[row].is_some_and(|v| wanted.parse() == Ok(v)),
        Values::Bool(values) => values[row].is_some_and(|v| wanted.parse() == Ok(v)),
        Values::Float(values) => values[row].is_some_and(|v| wanted.parse() == Ok(v)),
    }
}

/// What the rows offer instead, column by column.
fn no_row(claim: &Claim, table: &Table) -> Remark {
    if table.height() == 0 {
        return Remark::EmptyTable { table: claim.table.clone() };
    }
    let offer = |column: &String| {
        let mut texts: Vec<String> = table.texts(column)?.iter().flatten().cloned().collect();
        texts.sort_unstable();
        texts.dedup();
        Some(Offer { column: column.clone(), texts })
    };
    Remark::NoRow { offers: claim.filter.keys().filter_map(offer).collect() }
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
        let misses = Remark::MissesUnder { choices: vec!["straight line".to_owned()] };
        assert_eq!((row.holds, row.remark), (true, Some(misses)));
        assert_eq!(check(&claim("A", "10 Pa", 0.5), &tables).remark, None);
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
        assert_eq!(check(&of("ending"), &tables).remark, Some(Remark::NoNumbers { column: "ending".into() }));
    }

    #[test]
    fn what_cannot_be_found_says_what_there_is() {
        let row = check(&claim("C", "100 Pa", 0.5), &tables());
        let Some(Remark::NoRow { offers }) = row.remark else { panic!("{row:?}") };
        assert!(offers.contains(&Offer { column: "sample".into(), texts: vec!["A".into(), "B".into()] }), "{offers:?}");
        assert_eq!(check(&claim("B", "100 Pa", 0.5), &tables()).remark, Some(Remark::NotResolved));
        let mut many = claim("A", "100 Pa", 0.5);
        many.filter.remove("set_point");
        assert_eq!(check(&many, &tables()).remark, Some(Remark::ManyRows { rows: 2 }));
    }
}

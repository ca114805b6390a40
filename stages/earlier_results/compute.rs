//! Matches old rows with ours and holds number against number; pure.

use super::file::Sheet;
use super::params::{EarlierTable, Key, Number};
use super::result::{Agreement, EarlierRow, Outcome};
use crate::physics::set_point;
use crate::physics::units::parse_unit;
use crate::table::{Table, Values};
use std::collections::BTreeMap;

/// More standard uncertainties of the difference than this are a difference (common practice, about 95 %).
const WITHIN: f64 = 2.0;
/// Where neither side has an uncertainty, numbers agree within this part of themselves (empirical: a table of three
/// digits).
const ROUNDED: f64 = 5e-3;

/// Holds the earlier table against ours. `units` are those of our columns.
pub(super) fn hold(
    name: &str,
    old: &EarlierTable,
    sheet: &Sheet,
    table: &Table,
    units: &BTreeMap<String, String>,
) -> Result<Vec<EarlierRow>, String> {
    let keys = keys(old, sheet)?;
    let numbers = numbers(old, sheet, units)?;
    let mut taken = vec![false; table.height()];
    let mut rows = Vec::new();
    for (line, cells) in &sheet.rows {
        if cells.iter().all(String::is_empty) {
            continue;
        }
        let wanted: Vec<(&String, String)> =
            keys.iter().map(|(ours, column, key)| (*ours, key_text(cells, *column, key))).collect();
        let fits = |at: &usize| wanted.iter().all(|(ours, text)| same(table, ours, *at, text, sheet.decimal));
        let found: Vec<usize> = (0..table.height()).filter(fits).collect();
        let label = wanted.iter().map(|(_, text)| text.clone()).collect::<Vec<_>>().join(", ");
        let at = match found[..] {
            [] => None,
            [at] => Some(at),
            _ => {
                return Err(format!(
                    "row {line} ({label}) fits {} of our rows; map more columns under `rows`",
                    found.len()
                ));
            }
        };
        if at.is_some_and(|at| std::mem::replace(&mut taken[at], true)) {
            return Err(format!("row {line} ({label}) is there twice"));
        }
        for column in &numbers {
            let there = column.read(cells, *line, sheet.decimal)?;
            rows.extend(row(name, &label, column.ours, there, at.map(|at| ours(table, column.ours, at))));
        }
    }
    for at in (0..table.height()).filter(|at| !taken[*at]) {
        let label =
            keys.iter().map(|(name, ..)| text(table, name, at).unwrap_or_default()).collect::<Vec<_>>().join(", ");
        rows.extend(
            numbers
                .iter()
                .filter_map(|column| row(name, &label, column.ours, (None, None), Some(ours(table, column.ours, at)))),
        );
    }
    Ok(rows)
}

fn find(sheet: &Sheet, name: &str) -> Result<usize, String> {
    let found = sheet.head.iter().position(|head| head == name);
    found.ok_or_else(|| format!("there is no column `{name}`; there are {}", sheet.head.join(", ")))
}

type FoundKey<'a> = (&'a String, usize, &'a Key);

fn keys<'a>(old: &'a EarlierTable, sheet: &Sheet) -> Result<Vec<FoundKey<'a>>, String> {
    old.rows.iter().map(|(ours, key)| Ok((ours, find(sheet, &key.column)?, key))).collect()
}

/// A column of numbers, found.
struct Column<'a> {
    ours: &'a str,
    at: usize,
    u: Option<usize>,
    to_ours: Box<dyn Fn(f64) -> f64>,
    spread: f64,
}

fn numbers<'a>(
    old: &'a EarlierTable,
    sheet: &Sheet,
    units: &BTreeMap<String, String>,
) -> Result<Vec<Column<'a>>, String> {
    let column = |(ours, number): (&'a String, &'a Number)| {
        let theirs = parse_unit(&number.unit)?;
        let unit = units.get(ours).map_or("1", String::as_str);
        let unit = if unit.is_empty() { "1".to_owned() } else { unit.replace(' ', ".") };
        let unit = parse_unit(&unit)?;
        if theirs.dimension != unit.dimension {
            return Err(format!("`{}` is no unit of {ours}", number.unit));
        }
        let (zero, one) = (unit.to_si(0.0), unit.to_si(1.0));
        let to_ours = move |x: f64| (theirs.to_si(x) - zero) / (one - zero);
        let spread = to_ours(1.0) - to_ours(0.0);
        let u = number.u.as_ref().map(|name| find(sheet, name)).transpose()?;
        Ok(Column { ours, at: find(sheet, &number.column)?, u, to_ours: Box::new(to_ours), spread })
    };
    old.numbers.iter().map(column).collect()
}

impl Column<'_> {
    /// Number and uncertainty of a row, in our unit.
    fn read(&self, cells: &[String], line: u64, decimal: char) -> Result<(Option<f64>, Option<f64>), String> {
        let value = number(cells.get(self.at), line, decimal)?.map(|x| (self.to_ours)(x));
        let u = match self.u {
            Some(at) => number(cells.get(at), line, decimal)?.map(|u| u * self.spread),
            None => None,
        };
        Ok((value, u))
    }
}

/// A cell as a number; empty, or a dash, is none.
fn number(cell: Option<&String>, line: u64, decimal: char) -> Result<Option<f64>, String> {
    let text = cell.map_or("", |text| text.trim());
    if matches!(text, "" | "-" | "–" | "—" | "n/a" | "N/A" | "NA" | "nan" | "NaN") {
        return Ok(None);
    }
    match plain(text, decimal) {
        Some(value) => Ok(Some(value)),
        None => Err(format!("`{text}` in row {line} is no number with the decimal sign `{decimal}`")),
    }
}

/// A number with this decimal sign. The other sign may be one of thousands, so it is no number of ours.
fn plain(text: &str, decimal: char) -> Option<f64> {
    let other = if decimal == ',' { '.' } else { ',' };
    let text = text.replace('\u{2212}', "-");
    let value = if text.contains(other) { None } else { text.replace(decimal, ".").parse::<f64>().ok() };
    value.filter(|value| value.is_finite())
}

/// What an old row says for a key: under our name, and with its unit.
fn key_text(cells: &[String], column: usize, key: &Key) -> String {
    let text = cells.get(column).cloned().unwrap_or_default();
    let text = key.names.get(&text).cloned().unwrap_or(text);
    match &key.unit {
        Some(unit) => format!("{} {unit}", text.replace(',', ".")),
        None => text,
    }
}

fn text(table: &Table, name: &str, at: usize) -> Option<String> {
    match table.column(name)? {
        Values::Text(values) => values[at].clone(),
        Values::Int(values) => values[at].map(|v| v.to_string()),
        Values::Float(values) => values[at].map(|v| v.to_string()),
        Values::Bool(values) => values[at].map(|v| v.to_string()),
    }
}

fn same(table: &Table, name: &str, at: usize, wanted: &str, decimal: char) -> bool {
    if let Some(Values::Float(values)) = table.column(name) {
        return values[at].zip(plain(wanted, decimal)).is_some_and(|(ours, theirs)| ours == theirs);
    }
    text(table, name, at).is_some_and(|ours| ours == wanted || (name == "set_point" && set_point::same(&ours, wanted)))
}

fn ours(table: &Table, name: &str, at: usize) -> (Option<f64>, Option<f64>) {
    let get = |name: &str| match table.column(name) {
        Some(Values::Float(values)) => values[at],
        Some(Values::Int(values)) => values[at].map(|v| v as f64),
        _ => None,
    };
    (get(name), get(&format!("u_{name}")))
}

type Side = (Option<f64>, Option<f64>);

/// The row of two sides; none where neither has a number.
fn row(name: &str, label: &str, column: &str, old: Side, new: Option<Side>) -> Option<EarlierRow> {
    let (new, u_new) = new.unwrap_or((None, None));
    let (old, u_old) = old;
    let difference = old.zip(new).map(|(old, new)| old - new);
    let u = match (u_old, u_new) {
        (None, None) => None,
        (a, b) => Some((a.unwrap_or(0.0) * a.unwrap_or(0.0) + b.unwrap_or(0.0) * b.unwrap_or(0.0)).sqrt()),
    };
    let in_u = difference.zip(u).filter(|(_, u)| *u > 0.0).map(|(d, u)| d.abs() / u);
    let outcome = match (old, new) {
        (None, None) => return None,
        (Some(_), None) => Outcome::OnlyOld,
        (None, Some(_)) => Outcome::OnlyNew,
        (Some(old), Some(new)) => {
            let agrees = in_u.map_or((old - new).abs() <= ROUNDED * old.abs().max(new.abs()), |d| d <= WITHIN);
            if agrees { Outcome::Matched } else { Outcome::Differs }
        }
    };
    let (name, row, column) = (name.to_owned(), label.to_owned(), column.to_owned());
    Some(EarlierRow { name, row, column, old, u_old, new, u_new, difference, in_u, outcome })
}

/// Mean difference and limits of agreement, bias ± 1.96 standard deviations of the differences
/// (Bland & Altman 1986, Lancet 327, 307–310).
pub(super) fn agreement(column: &str, rows: &[EarlierRow]) -> Agreement {
    let differences: Vec<f64> =
        rows.iter().filter(|row| row.column == column).filter_map(|row| row.difference).collect();
    let n = differences.len() as f64;
    let bias = (n > 0.0).then(|| differences.iter().sum::<f64>() / n);
    let spread = bias.filter(|_| n >= 3.0).map(|bias| {
        let squares: f64 = differences.iter().map(|d| (d - bias) * (d - bias)).sum();
        1.96 * (squares / (n - 1.0)).sqrt()
    });
    let limit = |sign: f64| bias.zip(spread).map(|(bias, spread)| bias + sign * spread);
    Agreement { column: column.to_owned(), pairs: differences.len(), bias, low: limit(-1.0), high: limit(1.0) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::earlier_results::file;

    fn old(decimal: &str, separator: &str) -> EarlierTable {
        let key = |column: &str, unit: Option<&str>, names: &[(&str, &str)]| Key {
            column: column.into(),
            unit: unit.map(str::to_owned),
            names: names.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect(),
        };
        EarlierTable {
            file: "old/t.csv".into(),
            sheet: None,
            separator: separator.into(),
            decimal: decimal.into(),
            table: "states".into(),
            rows: [
                ("sample".to_owned(), key("Probe", None, &[("alt", "A")])),
                ("set_point".to_owned(), key("sigma", Some("Pa"), &[])),
            ]
            .into(),
            numbers: [
                ("contact_share".to_owned(), Number { column: "share".into(), unit: "%".into(), u: Some("us".into()) }),
                ("viscosity_pa_s".to_owned(), Number { column: "eta".into(), unit: "mPa.s".into(), u: None }),
            ]
            .into(),
        }
    }

    fn states() -> Table {
        let text = |values: [&str; 3]| values.map(|v| Some(v.to_owned()));
        Table::new()
            .text("sample", text(["A", "A", "B"]))
            .text("set_point", text(["9.98 Pa", "100 Pa", "100 Pa"]))
            .float("contact_share", [Some(0.5), Some(0.86), None])
            .float("u_contact_share", [Some(0.01), Some(0.02), None])
            .float("viscosity_pa_s", [Some(1.5), Some(2.0), Some(3.0)])
    }

    fn units() -> BTreeMap<String, String> {
        [("contact_share", ""), ("viscosity_pa_s", "Pa s")].map(|(a, b)| (a.to_owned(), b.to_owned())).into()
    }

    fn held(text: &str, mapping: &EarlierTable) -> Result<Vec<EarlierRow>, String> {
        hold("thesis", mapping, &file::read(text.as_bytes(), mapping).unwrap(), &states(), &units())
    }

    fn outcomes(rows: &[EarlierRow]) -> Vec<(&str, &str, Outcome)> {
        rows.iter().map(|r| (r.row.as_str(), r.column.as_str(), r.outcome)).collect()
    }

    #[test]
    fn rows_are_matched_and_units_turned_into_ours() {
        let rows =
            held("Probe;sigma;share;us;eta\nalt;10;51,0;1,0;1501\nA;100;95;2;1800\nC;7;10;1;5\n", &old(",", ";"))
                .unwrap();
        use Outcome::{Differs, Matched, OnlyNew, OnlyOld};
        let wanted = [
            ("A, 10 Pa", "contact_share", Matched),
            ("A, 10 Pa", "viscosity_pa_s", Matched),
            ("A, 100 Pa", "contact_share", Differs),
            ("A, 100 Pa", "viscosity_pa_s", Differs),
            ("C, 7 Pa", "contact_share", OnlyOld),
            ("C, 7 Pa", "viscosity_pa_s", OnlyOld),
            ("B, 100 Pa", "viscosity_pa_s", OnlyNew),
        ];
        assert_eq!(outcomes(&rows), wanted);
        // 0.95 − 0.86 over √(0.02² + 0.02²).
        assert!((rows[2].in_u.unwrap() - 0.09 / (2.0_f64.sqrt() * 0.02)).abs() < 1e-9);
        assert!((rows[1].old.unwrap() - 1.501).abs() < 1e-12);
    }

    /// A workbook that was written by openpyxl 3.1: a sheet of notes, then the table with numbers, a number as text, an
    /// empty row and a dash.
    #[test]
    fn a_workbook_gives_what_the_same_csv_gives() {
        let mut mapping = old(",", ";");
        let csv = held("Probe;sigma;share;us;eta\nalt;10;51,0;1;1501,0\n\nA;100;95;2;1800,5\nC;7;10;1;–\n", &mapping)
            .unwrap();
        let book: &[u8] = include_bytes!("reference/thesis.xlsx");
        let of = |mapping: &EarlierTable| {
            file::read(book, mapping).and_then(|sheet| hold("thesis", mapping, &sheet, &states(), &units()))
        };
        mapping.sheet = Some("shares".into());
        assert_eq!(of(&mapping).unwrap(), csv);
        assert_eq!(csv.len(), 6);
        mapping.sheet = None;
        assert!(of(&mapping).unwrap_err().contains("no column `Probe`"));
        mapping.sheet = Some("results".into());
        assert!(of(&mapping).unwrap_err().contains("there are notes, shares"));
        mapping = EarlierTable { sheet: Some("shares".into()), decimal: ".".into(), ..mapping };
        assert!(of(&mapping).unwrap_err().contains("`1501,0` in row 2"));
    }

    #[test]
    fn a_sign_of_thousands_is_no_decimal_sign() {
        assert_eq!(plain("1.234", '.'), Some(1.234));
        assert_eq!(plain("1,234", ','), Some(1.234));
        assert_eq!(plain("−1,5", ','), Some(-1.5));
        for (text, decimal) in [("1.234", ','), ("1,234", '.'), ("1.234,5", ','), ("inf", '.'), ("1e999", '.')] {
            assert_eq!(plain(text, decimal), None, "{text}");
        }
    }

    /// Differences 1, 2, 3, 4: mean 2.5, standard deviation √(5/3).
    #[test]
    fn limits_of_agreement_are_those_of_the_formula() {
        let pair = |d: f64| row("t", "r", "c", (Some(10.0 + d), None), Some((Some(10.0), None))).unwrap();
        let rows: Vec<EarlierRow> = [1.0, 2.0, 3.0, 4.0].map(pair).into();
        let found = agreement("c", &rows);
        let half = 1.96 * (5.0_f64 / 3.0).sqrt();
        assert_eq!((found.pairs, found.bias), (4, Some(2.5)));
        assert!(
            (found.low.unwrap() - (2.5 - half)).abs() < 1e-12 && (found.high.unwrap() - (2.5 + half)).abs() < 1e-12
        );
        assert_eq!(agreement("c", &rows[..2]).low, None);
    }

    #[test]
    fn what_cannot_be_read_is_told_with_its_row() {
        let mapping = old(".", ",");
        assert!(held("Probe,sigma,share,us\nA,10,1,1\n", &mapping).unwrap_err().contains("no column `eta`"));
        assert!(held("Probe,sigma,share,us,eta\nA,10,much,1,1\n", &mapping).unwrap_err().contains("`much` in row 2"));
        assert!(held("Probe,sigma,share,us,eta\nA,10,50,1,1\nA,10,51,1,1\n", &mapping).unwrap_err().contains("twice"));
        let mut other = mapping.clone();
        other.rows.remove("set_point");
        assert!(held("Probe,sigma,share,us,eta\nA,10,50,1,1\n", &other).unwrap_err().contains("fits 2 of our rows"));
        let mut wrong = mapping;
        wrong.numbers.get_mut("viscosity_pa_s").unwrap().unit = "Pa".into();
        assert!(held("Probe,sigma,share,us,eta\n", &wrong).unwrap_err().contains("no unit of viscosity_pa_s"));
    }
}

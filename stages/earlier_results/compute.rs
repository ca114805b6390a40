//! Matches earlier rows with ours and holds number against number; pure.

use super::file::{Cells, Sheet};
use super::params::{EarlierTable, Key, Number};
use super::result::{Agreement, DIFFERS_BEYOND, EarlierRow, Outcome, ROUNDED};
use crate::numerics::interval::quadrature;
use crate::numerics::normal::Z_95;
use crate::physics::set_point;
use crate::physics::units::parse_unit;
use crate::table::{Table, Values};
use std::collections::BTreeMap;

/// Fewest pairs that have limits of agreement: two have one difference between them, which says nothing of a spread.
const LEAST_PAIRS: usize = 3;

/// Holds the earlier table against ours. `units` are those of our columns.
pub(super) fn hold(
    name: &str,
    earlier: &EarlierTable,
    sheet: &Sheet,
    table: &Table,
    units: &BTreeMap<String, String>,
) -> Result<Vec<EarlierRow>, String> {
    let pairing = Pairing { name, sheet, table, keys: keys(earlier, sheet)?, numbers: numbers(earlier, sheet, units)? };
    let mut taken = vec![false; table.height()];
    let mut rows = Vec::new();
    for cells in sheet.rows.iter().filter(|cells| !cells.texts.iter().all(String::is_empty)) {
        let wanted = pairing.wanted(cells);
        let label = wanted.join(", ");
        let ours = pairing.our_row(&wanted).map_err(|found| {
            format!("row {} ({label}) fits {found} of our rows; map more columns under `rows`", cells.line)
        })?;
        if ours.is_some_and(|row| std::mem::replace(&mut taken[row], true)) {
            return Err(format!("row {} ({label}) is there twice", cells.line));
        }
        for column in &pairing.numbers {
            let theirs = column.read(cells, sheet.decimal)?;
            rows.extend(pairing.compared(&label, column, theirs, ours));
        }
    }
    for row in (0..table.height()).filter(|row| !taken[*row]) {
        let label = pairing.label_of_ours(row);
        let alone = |column| pairing.compared(&label, column, Side::default(), Some(row));
        rows.extend(pairing.numbers.iter().filter_map(alone));
    }
    Ok(rows)
}

/// Both tables, and how their columns go together.
struct Pairing<'a> {
    name: &'a str,
    sheet: &'a Sheet,
    table: &'a Table,
    keys: Vec<FoundKey<'a>>,
    numbers: Vec<Column<'a>>,
}

/// A column that picks a row: ours, and where the earlier table has it.
struct FoundKey<'a> {
    ours: &'a str,
    place: usize,
    key: &'a Key,
}

/// A column of numbers: ours, and where the earlier table has it.
struct Column<'a> {
    ours: &'a str,
    place: usize,
    u_place: Option<usize>,
    to_ours: Box<dyn Fn(f64) -> f64>,
    /// One of their units in ours, for a difference.
    step: f64,
}

/// A number of one of the two tables with its standard uncertainty, in our unit.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Side {
    value: Option<f64>,
    u: Option<f64>,
}

impl Pairing<'_> {
    /// What picks our row for one of theirs, key by key.
    fn wanted(&self, cells: &Cells) -> Vec<String> {
        self.keys.iter().map(|found| key_text(&cells.texts, found.place, found.key)).collect()
    }

    /// Our row for these texts, if there is one.
    ///
    /// # Errors
    /// How many rows fit, where it is more than one.
    fn our_row(&self, wanted: &[String]) -> Result<Option<usize>, usize> {
        let fits = |row: &usize| {
            let mut pairs = self.keys.iter().zip(wanted);
            pairs.all(|(found, text)| same(self.table, found.ours, *row, text, self.sheet.decimal))
        };
        let found: Vec<usize> = (0..self.table.height()).filter(fits).collect();
        if found.len() > 1 { Err(found.len()) } else { Ok(found.first().copied()) }
    }

    fn label_of_ours(&self, row: usize) -> String {
        let text = |found: &FoundKey<'_>| cell_text(self.table, found.ours, row).unwrap_or_default();
        self.keys.iter().map(text).collect::<Vec<_>>().join(", ")
    }

    fn compared(&self, label: &str, column: &Column<'_>, theirs: Side, ours: Option<usize>) -> Option<EarlierRow> {
        let ours = ours.map_or_else(Side::default, |row| our_number(self.table, column.ours, row));
        compared(self.name, label, column.ours, theirs, ours)
    }
}

fn find(sheet: &Sheet, name: &str) -> Result<usize, String> {
    let found = sheet.head.iter().position(|head| head == name);
    found.ok_or_else(|| format!("there is no column `{name}`; there are {}", sheet.head.join(", ")))
}

fn keys<'a>(earlier: &'a EarlierTable, sheet: &Sheet) -> Result<Vec<FoundKey<'a>>, String> {
    earlier.rows.iter().map(|(ours, key)| Ok(FoundKey { ours, place: find(sheet, &key.column)?, key })).collect()
}

fn numbers<'a>(
    earlier: &'a EarlierTable,
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
        let step = to_ours(1.0) - to_ours(0.0);
        let u_place = number.u.as_ref().map(|name| find(sheet, name)).transpose()?;
        Ok(Column { ours, place: find(sheet, &number.column)?, u_place, to_ours: Box::new(to_ours), step })
    };
    earlier.numbers.iter().map(column).collect()
}

impl Column<'_> {
    fn read(&self, cells: &Cells, decimal: char) -> Result<Side, String> {
        let value = number(cells, self.place, decimal)?.map(|x| (self.to_ours)(x));
        let u = match self.u_place {
            Some(place) => number(cells, place, decimal)?.map(|u| u * self.step),
            None => None,
        };
        Ok(Side { value, u })
    }
}

/// A cell as a number; empty, or a dash, is none.
fn number(cells: &Cells, place: usize, decimal: char) -> Result<Option<f64>, String> {
    let text = cells.texts.get(place).map_or("", |text| text.trim());
    if matches!(text, "" | "-" | "–" | "—" | "n/a" | "N/A" | "NA" | "nan" | "NaN") {
        return Ok(None);
    }
    match plain(text, decimal) {
        Some(value) => Ok(Some(value)),
        None => Err(format!("`{text}` in row {} is no number with the decimal sign `{decimal}`", cells.line)),
    }
}

/// A number with this decimal sign. The other sign may be one of thousands, so it is no number of ours.
fn plain(text: &str, decimal: char) -> Option<f64> {
    let other = if decimal == ',' { '.' } else { ',' };
    let text = text.replace('\u{2212}', "-");
    let value = if text.contains(other) { None } else { text.replace(decimal, ".").parse::<f64>().ok() };
    value.filter(|value| value.is_finite())
}

/// What an earlier row says for a key: under our name, and with its unit.
fn key_text(cells: &[String], place: usize, key: &Key) -> String {
    let text = cells.get(place).cloned().unwrap_or_default();
    let text = key.names.get(&text).cloned().unwrap_or(text);
    match &key.unit {
        Some(unit) => format!("{} {unit}", text.replace(',', ".")),
        None => text,
    }
}

fn cell_text(table: &Table, name: &str, row: usize) -> Option<String> {
    match table.column(name)? {
        Values::Text(values) => values[row].clone(),
        Values::Int(values) => values[row].map(|v| v.to_string()),
        Values::Float(values) => values[row].map(|v| v.to_string()),
        Values::Bool(values) => values[row].map(|v| v.to_string()),
    }
}

fn same(table: &Table, name: &str, row: usize, wanted: &str, decimal: char) -> bool {
    if let Some(Values::Float(values)) = table.column(name) {
        return values[row].zip(plain(wanted, decimal)).is_some_and(|(ours, theirs)| ours == theirs);
    }
    cell_text(table, name, row)
        .is_some_and(|ours| ours == wanted || (name == "set_point" && set_point::same(&ours, wanted)))
}

fn our_number(table: &Table, name: &str, row: usize) -> Side {
    let get = |name: &str| match table.column(name) {
        Some(Values::Float(values)) => values[row],
        Some(Values::Int(values)) => values[row].map(|v| v as f64),
        _ => None,
    };
    Side { value: get(name), u: get(&format!("u_{name}")) }
}

/// The row of two sides; none where neither has a number.
fn compared(name: &str, label: &str, column: &str, theirs: Side, ours: Side) -> Option<EarlierRow> {
    let difference = theirs.value.zip(ours.value).map(|(theirs, ours)| theirs - ours);
    let u = match (theirs.u, ours.u) {
        (None, None) => None,
        (a, b) => Some(quadrature(a.unwrap_or(0.0), b.unwrap_or(0.0))),
    };
    let in_u = difference.zip(u).filter(|(_, u)| *u > 0.0).map(|(d, u)| d.abs() / u);
    let outcome = match (theirs.value, ours.value) {
        (None, None) => return None,
        (Some(_), None) => Outcome::OnlyOld,
        (None, Some(_)) => Outcome::OnlyNew,
        (Some(old), Some(new)) => {
            let alike = (old - new).abs() <= ROUNDED * old.abs().max(new.abs());
            if in_u.map_or(alike, |d| d <= DIFFERS_BEYOND) { Outcome::Matched } else { Outcome::Differs }
        }
    };
    Some(EarlierRow {
        name: name.to_owned(),
        row: label.to_owned(),
        column: column.to_owned(),
        old: theirs.value,
        u_old: theirs.u,
        new: ours.value,
        u_new: ours.u,
        difference,
        in_u,
        outcome,
    })
}

/// Mean difference and limits of agreement, bias ± 1.96 standard deviations of the differences
/// (Bland & Altman 1986, Lancet 327, 307–310).
pub(super) fn agreement(column: &str, rows: &[EarlierRow]) -> Agreement {
    let own = rows.iter().filter(|row| row.column == column);
    let differences: Vec<f64> = own.filter_map(|row| row.difference).collect();
    let n = differences.len() as f64;
    let bias = (!differences.is_empty()).then(|| differences.iter().sum::<f64>() / n);
    let spread = bias.filter(|_| differences.len() >= LEAST_PAIRS).map(|bias| {
        let squares: f64 = differences.iter().map(|d| (d - bias) * (d - bias)).sum();
        Z_95 * (squares / (n - 1.0)).sqrt()
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
        let known = |value| Side { value: Some(value), u: None };
        let pair = |d: f64| compared("t", "r", "c", known(10.0 + d), known(10.0)).unwrap();
        let rows: Vec<EarlierRow> = [1.0, 2.0, 3.0, 4.0].map(pair).into();
        let found = agreement("c", &rows);
        let half = 1.959_964 * (5.0_f64 / 3.0).sqrt();
        assert_eq!((found.pairs, found.bias), (4, Some(2.5)));
        assert!((found.low.unwrap() - (2.5 - half)).abs() < 1e-6 && (found.high.unwrap() - (2.5 + half)).abs() < 1e-6);
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

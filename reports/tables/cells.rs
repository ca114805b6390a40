//! Two tables held against each other, cell by cell: what moved, by how much, and in units of its uncertainty.
//! It must not decide what a difference means.

use super::published;
use serde::Serialize;
use stages::physics::set_point;
use stages::table::{Table, Values};
use std::collections::BTreeMap;

/// The columns that name a row of a published table; a table that is not listed has its rows in order.
pub fn key_columns(table: &str) -> &'static [&'static str] {
    published::named(table).map_or(&[], |table| table.key)
}

/// Set-points that moved by less than this ratio may still be one (empirical: those of a sweep stand further apart, ten
/// to the decade at 1.26).
const SHIFTED: f64 = 1.25;

/// A cell that is not the same on both sides.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Moved {
    /// The row, by what names it.
    pub row: String,
    /// The column.
    pub column: String,
    /// First side, as text; none for null.
    pub old: Option<String>,
    /// Second side.
    pub new: Option<String>,
    /// Difference of numbers, second less first.
    pub change: Option<f64>,
    /// Size of the change in standard uncertainties of the first side, or of the second where the first has none.
    pub in_u: Option<f64>,
    /// Size of the change relative to the larger of the two.
    pub relative: Option<f64>,
}

/// What differs between two tables.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Differences {
    /// Columns of the first only.
    pub columns_gone: Vec<String>,
    /// Columns of the second only.
    pub columns_new: Vec<String>,
    /// Rows of the first only.
    pub rows_gone: Vec<String>,
    /// Rows of the second only.
    pub rows_new: Vec<String>,
    /// Cells that differ.
    pub moved: Vec<Moved>,
}

impl Differences {
    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Whether only numbers differ, and each by no more than this part of itself or of its uncertainty.
    pub fn within(&self, relative: f64, of_u: f64) -> bool {
        let small = |m: &Moved| m.relative.is_some_and(|r| r <= relative) || m.in_u.is_some_and(|d| d <= of_u);
        self.columns_gone.is_empty()
            && self.columns_new.is_empty()
            && self.rows_gone.is_empty()
            && self.rows_new.is_empty()
            && self.moved.iter().all(small)
    }

    /// The cell that moved most: in uncertainties where one is known, else relatively.
    pub fn largest(&self) -> Option<&Moved> {
        let by = |get: fn(&Moved) -> Option<f64>| {
            let known = self.moved.iter().filter_map(|m| Some((get(m)?, m)));
            known.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, m)| m)
        };
        by(|m| m.in_u).or_else(|| by(|m| m.relative)).or(self.moved.first())
    }
}

/// Holds `new` against `old`; rows are matched by the columns `key`, or by their order where it is empty.
/// Set-points of the key match by number and unit where no row has the same text, and where all of them shifted, as with
/// another radius, by their order.
pub fn differences(old: &Table, new: &Table, key: &[&str]) -> Differences {
    let names = |table: &Table| -> Vec<String> { table.columns().iter().map(|(name, _)| name.clone()).collect() };
    let (before, after) = (names(old), names(new));
    let only = |a: &[String], b: &[String]| a.iter().filter(|name| !b.contains(name)).cloned().collect();
    let pairs = Pairs::new(old, new, key);
    let mut found = Differences {
        columns_gone: only(&before, &after),
        columns_new: only(&after, &before),
        rows_gone: pairs.gone.iter().map(|row| label(old, *row, key)).collect(),
        rows_new: pairs.new.iter().map(|row| label(new, *row, key)).collect(),
        moved: Vec::new(),
    };
    for (a, b) in pairs.both {
        let columns = old.columns().iter().filter_map(|(name, values)| Some((name, values, new.column(name)?)));
        for (name, was, is) in columns.filter(|(name, ..)| !key.contains(&name.as_str())) {
            found.moved.extend(moved((old, was, a), (new, is, b), name, key));
        }
    }
    found
}

/// Rows of two tables that belong together.
struct Pairs {
    both: Vec<(usize, usize)>,
    gone: Vec<usize>,
    new: Vec<usize>,
}

impl Pairs {
    fn new(old: &Table, new: &Table, key: &[&str]) -> Self {
        let mut free: Vec<bool> = vec![true; new.height()];
        let mut pairs = Self { both: Vec::new(), gone: Vec::new(), new: Vec::new() };
        let mut waiting = Vec::new();
        for row in 0..old.height() {
            match partner(old, row, new, &free, key, false) {
                Some(at) => pairs.take(row, at, &mut free),
                None => waiting.push(row),
            }
        }
        for row in waiting {
            match partner(old, row, new, &free, key, true) {
                Some(at) => pairs.take(row, at, &mut free),
                None => pairs.gone.push(row),
            }
        }
        if key.contains(&"set_point") {
            pairs.shifted(old, new, &mut free, key);
        }
        pairs.both.sort_unstable();
        pairs.new = (0..new.height()).filter(|at| free[*at]).collect();
        pairs
    }

    /// Pairs what is left over, where all that differs is the set-point and both sides have as many: in their order.
    fn shifted(&mut self, old: &Table, new: &Table, free: &mut [bool], key: &[&str]) {
        let others = |table: &Table, row: usize| -> Vec<Option<String>> {
            key.iter().filter(|name| **name != "set_point").map(|name| cell(table, name, row)).collect()
        };
        let mut left = BTreeMap::<_, (Vec<usize>, Vec<usize>)>::new();
        self.gone.iter().for_each(|row| left.entry(others(old, *row)).or_default().0.push(*row));
        let open = (0..new.height()).filter(|at| free[*at]);
        open.for_each(|at| left.entry(others(new, at)).or_default().1.push(at));
        for (before, after) in left.into_values().filter(|(before, after)| before.len() == after.len()) {
            let pairs: Vec<(usize, usize)> = before.into_iter().zip(after).collect();
            let near = |(a, b): &(usize, usize)| {
                let both = cell(old, "set_point", *a).zip(cell(new, "set_point", *b));
                both.and_then(|(a, b)| set_point::ratio(&a, &b)).is_some_and(|ratio| ratio < SHIFTED)
            };
            if pairs.iter().all(near) {
                self.gone.retain(|row| pairs.iter().all(|(a, _)| a != row));
                pairs.into_iter().for_each(|(a, b)| self.take(a, b, free));
            }
        }
    }

    fn take(&mut self, row: usize, at: usize, free: &mut [bool]) {
        self.both.push((row, at));
        free[at] = false;
    }
}

fn partner(old: &Table, row: usize, new: &Table, free: &[bool], key: &[&str], near: bool) -> Option<usize> {
    if key.is_empty() {
        return (row < new.height() && !near).then_some(row);
    }
    let same = |name: &&str, at: usize| {
        let (a, b) = (cell(old, name, row), cell(new, name, at));
        let close =
            || near && *name == "set_point" && a.as_ref().zip(b.as_ref()).is_some_and(|(a, b)| set_point::same(a, b));
        a == b || close()
    };
    // Most tables keep their order, so the search begins where the row would stand.
    let n = new.height();
    (0..n).map(|step| (row + step) % n).find(|at| free[*at] && key.iter().all(|name| same(name, *at)))
}

/// A cell as text; none for null or where there is no such column.
pub fn cell(table: &Table, name: &str, row: usize) -> Option<String> {
    match table.column(name)? {
        Values::Text(values) => values.get(row)?.clone(),
        Values::Float(values) => (*values.get(row)?).map(|v| v.to_string()),
        Values::Int(values) => (*values.get(row)?).map(|v| v.to_string()),
        Values::Bool(values) => (*values.get(row)?).map(|v| v.to_string()),
    }
}

/// A cell as a number.
pub fn number_at(table: &Table, name: &str, row: usize) -> Option<f64> {
    match table.column(name)? {
        Values::Float(values) => *values.get(row)?,
        Values::Int(values) => (*values.get(row)?).map(|v| v as f64),
        _ => None,
    }
}

/// A cell of text; empty for null or where there is no such column.
pub fn text_at<'a>(table: &'a Table, name: &str, row: usize) -> &'a str {
    table.texts(name).and_then(|values| values.get(row)?.as_deref()).unwrap_or("")
}

/// A truth value; none for null or where there is no such column.
pub fn bool_at(table: &Table, name: &str, row: usize) -> Option<bool> {
    match table.column(name)? {
        Values::Bool(values) => *values.get(row)?,
        _ => None,
    }
}

/// What names a row, for people.
pub fn label(table: &Table, row: usize, key: &[&str]) -> String {
    let part = |name: &&str| {
        let text = cell(table, name, row)?;
        Some(if *name == "step" { format!("step {text}") } else { text })
    };
    let parts: Vec<String> = key.iter().filter_map(part).collect();
    if parts.is_empty() { format!("row {}", row + 1) } else { parts.join(", ") }
}

/// What names two rows that belong together; a set-point that shifted is named on both sides.
fn label_of_both((old, a): (&Table, usize), (new, b): (&Table, usize), key: &[&str]) -> String {
    let now = cell(new, "set_point", b);
    match cell(old, "set_point", a).zip(now).filter(|(was, is)| !set_point::same(was, is)) {
        Some((was, is)) if key.contains(&"set_point") => {
            label(old, a, key).replacen(&was, &format!("{was} (now {is})"), 1)
        }
        _ => label(old, a, key),
    }
}

/// The standard uncertainty that goes with a cell: of the quantity for its interval's ends as well.
fn uncertainty(table: &Table, name: &str, row: usize) -> Option<f64> {
    let quantity = name.trim_end_matches("_low").trim_end_matches("_high");
    let of = |name: &str| number_at(table, &format!("u_{name}"), row);
    of(name).or_else(|| of(quantity)).filter(|u| *u > 0.0)
}

type Side<'a> = (&'a Table, &'a Values, usize);

fn moved(old: Side<'_>, new: Side<'_>, name: &str, key: &[&str]) -> Option<Moved> {
    let ((before, was, a), (after, is, b)) = (old, new);
    if same(was, a, is, b) {
        return None;
    }
    let (x, y) = (number_at(before, name, a), number_at(after, name, b));
    let change = x.zip(y).map(|(x, y)| y - x);
    let u = uncertainty(before, name, a).or_else(|| uncertainty(after, name, b));
    let size = x.zip(y).map(|(x, y)| x.abs().max(y.abs()));
    Some(Moved {
        row: label_of_both((before, a), (after, b), key),
        column: name.to_owned(),
        old: cell(before, name, a),
        new: cell(after, name, b),
        change,
        in_u: change.zip(u).map(|(d, u)| d.abs() / u),
        relative: change.zip(size).filter(|(_, size)| *size > 0.0).map(|(d, size)| d.abs() / size),
    })
}

fn same(was: &Values, a: usize, is: &Values, b: usize) -> bool {
    match (was, is) {
        (Values::Float(x), Values::Float(y)) => x.get(a) == y.get(b),
        (Values::Int(x), Values::Int(y)) => x.get(a) == y.get(b),
        (Values::Text(x), Values::Text(y)) => x.get(a) == y.get(b),
        (Values::Bool(x), Values::Bool(y)) => x.get(a) == y.get(b),
        _ => false,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn states(names: &[&str], shares: &[Option<f64>]) -> Table {
        Table::new()
            .text("sample", names.iter().map(|_| Some("A".to_owned())))
            .text("set_point", names.iter().map(|n| Some((*n).to_owned())))
            .text("controlled", names.iter().map(|_| Some("stress".to_owned())))
            .float("contact_share", shares.iter().copied())
            .float("u_contact_share", shares.iter().map(|s| s.map(|_| 0.02)))
    }

    #[test]
    fn the_same_table_does_not_differ() {
        let table = states(&["1.00 Pa", "10.0 Pa"], &[Some(0.5), None]);
        assert!(differences(&table, &table, key_columns("states")).is_empty());
    }

    #[test]
    fn moves_are_counted_in_uncertainties_and_rows_found_by_their_key() {
        let old = states(&["1.00 Pa", "10.0 Pa", "30.0 Pa"], &[Some(0.5), Some(0.6), Some(0.7)]);
        let new = states(&["10.2 Pa", "1.00 Pa", "99.0 Pa"], &[Some(0.65), Some(0.5), Some(0.9)]);
        let found = differences(&old, &new, key_columns("states"));
        assert_eq!(found.rows_gone, ["A, 30.0 Pa, stress"]);
        assert_eq!(found.rows_new, ["A, 99.0 Pa, stress"]);
        let moved = found.moved.iter().find(|m| m.column == "contact_share").unwrap();
        assert!((moved.in_u.unwrap() - 2.5).abs() < 1e-9 && moved.row == "A, 10.0 Pa, stress", "{moved:?}");
        assert!(!found.within(1.0, 10.0));
    }

    #[test]
    fn set_points_that_all_shifted_are_paired_in_their_order() {
        let shares = [Some(0.5), Some(0.6), Some(0.7)];
        let old = states(&["1.00 1/s", "2.00 1/s", "5.00 1/s"], &shares);
        let found = differences(&old, &states(&["0.930 1/s", "1.86 1/s", "4.65 1/s"], &shares), key_columns("states"));
        assert!(found.is_empty(), "{found:?}");
        let moved = states(&["0.930 1/s", "1.86 1/s", "4.65 1/s"], &[Some(0.5), Some(0.6), Some(0.8)]);
        let found = differences(&old, &moved, key_columns("states"));
        assert_eq!(found.moved[0].row, "A, 5.00 1/s (now 4.65 1/s), stress");
        let fewer = states(&["0.930 1/s", "1.86 1/s"], &shares[..2]);
        assert_eq!(differences(&old, &fewer, key_columns("states")).rows_gone.len(), 3);
    }

    #[test]
    fn a_reversal_is_known_by_its_export_and_step_whatever_its_number() {
        let reversals = |numbers: [&str; 2]| {
            Table::new()
                .text("reversal", numbers.map(|n| Some(n.to_owned())))
                .text("run", ["raw/a.txt", "raw/b.txt"].map(|n| Some(n.to_owned())))
                .int("step", [Some(2), Some(2)])
                .float("contact_share", [Some(0.5), Some(0.7)])
        };
        let found = differences(&reversals(["R1", "R2"]), &reversals(["R4", "R5"]), key_columns("reversals"));
        assert!(found.moved.iter().all(|m| m.column == "reversal"), "{found:?}");
        assert_eq!(found.moved[0].row, "raw/a.txt, step 2");
    }

    #[test]
    fn a_lost_value_is_never_within_a_tolerance() {
        let found = differences(&states(&["1 Pa"], &[Some(0.5)]), &states(&["1 Pa"], &[None]), key_columns("states"));
        assert_eq!(found.moved.len(), 2);
        assert!(!found.within(1.0, 1e9));
    }

    #[test]
    fn rows_without_a_key_stand_in_order() {
        let table = |n: usize| Table::new().int("row", (0..n).map(|i| Some(i as i64)));
        let found = differences(&table(3), &table(2), &[]);
        assert_eq!((found.rows_gone.len(), found.rows_new.len(), found.moved.len()), (1, 0, 0));
    }
}

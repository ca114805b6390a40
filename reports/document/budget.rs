//! The budget of uncertainty as it is printed: the headline quantities, their largest sources in words. All
//! quantities and sources are in the published table.

use super::printed::{Printed, or_missing, printed};
use crate::text::{numbers, sources};
use stages::states::result::Thickening;
use stages::uncertainty::result::{BudgetRow, HeadlineQuantity};

/// A row per headline quantity: the share of the rise, and what a sample is at both ends of it.
pub(super) fn budget(rows: &[BudgetRow], thickening: &[Thickening]) -> Printed {
    let columns =
        [("sample", "name"), ("quantity", "left"), ("set-point", "left"), ("u", "right"), ("largest sources", "text")];
    let same =
        |a: &BudgetRow, b: &BudgetRow| (&a.quantity, &a.sample, &a.set_point) == (&b.quantity, &b.sample, &b.set_point);
    let row = |rows: &[BudgetRow]| {
        let (first, squares) = (&rows[0], rows.iter().map(|b| b.u * b.u).sum::<f64>());
        vec![
            first.sample.clone(),
            quantity(first.quantity).to_owned(),
            or_missing(first.set_point.clone()),
            numbers::significant(squares.sqrt(), 2),
            largest_sources(rows),
        ]
    };
    let headline = rows.chunk_by(same).filter(|rows| is_headline(&rows[0], thickening));
    let mut lines: Vec<Vec<String>> = headline.map(row).collect();
    // The lines of a sample stand together, samples in their order.
    lines.sort_by_key(|line| thickening.iter().position(|t| t.sample == line[0]));
    printed(&columns, lines).grouped(&[0])
}

fn is_headline(row: &BudgetRow, thickening: &[Thickening]) -> bool {
    let at_an_end = |t: &Thickening| [&t.set_point_low, &t.set_point_high].contains(&&row.set_point);
    row.set_point.is_none() || thickening.iter().any(|t| t.sample == row.sample && at_an_end(t))
}

/// A quantity by its printed name and unit.
fn quantity(quantity: HeadlineQuantity) -> &'static str {
    match quantity {
        HeadlineQuantity::ViscosityPaS => "η / (Pa s)",
        HeadlineQuantity::RelativeViscosity => "relative viscosity",
        HeadlineQuantity::ContactShare => "contact share",
        HeadlineQuantity::ContactShareOfRise => "share of the rise",
    }
}

/// Most sources that are named.
const NAMED: usize = 4;
/// Least part of the variance of a source that is named: less does not show in two digits of u (own choice).
const LEAST_PART: f64 = 0.01;

/// The largest sources, largest first.
fn largest_sources(rows: &[BudgetRow]) -> String {
    let mut sorted: Vec<&BudgetRow> = rows.iter().filter(|b| b.share >= LEAST_PART).collect();
    sorted.sort_by(|a, b| b.share.total_cmp(&a.share));
    let of = |b: &&BudgetRow| format!("{} {}", sources::words(&b.source), numbers::percent(b.share));
    or_missing(Some(sorted.iter().take(NAMED).map(of).collect::<Vec<_>>().join(", ")))
}

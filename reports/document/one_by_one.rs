//! The table of every reversal as it is printed: below a head for each run, the three measurands side by side.

use super::printed::{Printed, or_missing, printed};
use crate::tables::reversals::{contact_share, share_at_minimum};
use crate::text::numbers::{self, MISSING};
use stages::states::result::StudyReversal;

/// Every reversal. Neighbours of a run of which nothing could be read share a row.
pub(super) fn reversals(rows: &[StudyReversal]) -> Printed {
    let columns = [
        ("reversal", "name"),
        ("step", "right"),
        ("set-point", "left"),
        ("η before / (Pa s)", "right"),
        ("zero strain", "right"),
        ("plateau", "right"),
        ("minimum", "right"),
        ("first strain", "right"),
        ("grade", "left"),
    ];
    let run = |rows: &[StudyReversal]| {
        let lines = rows.chunk_by(|a, b| empty(a) && empty(b) && a.graded.grade == b.graded.grade).map(line);
        std::iter::once(vec![head(&rows[0])]).chain(lines).collect::<Vec<_>>()
    };
    printed(&columns, rows.chunk_by(|a, b| a.identity.run == b.identity.run).flat_map(run).collect())
}

fn head(r: &StudyReversal) -> String {
    let identity = &r.identity;
    let repeat = identity.repeat.as_ref().map_or_else(String::new, |repeat| format!(", repeat {repeat}"));
    let control = if identity.control { " (control)" } else { "" };
    format!("{}: {}{control}, loading {}{repeat}", identity.run, identity.sample, identity.loading)
}

/// Nothing of it was read.
fn empty(r: &StudyReversal) -> bool {
    r.graded.read.before.is_none() && r.graded.read.after.is_none()
}

fn line(rows: &[StudyReversal]) -> Vec<String> {
    let (first, last) = (&rows[0], &rows[rows.len() - 1]);
    if rows.len() > 1 {
        let steps = format!("{}–{}", first.graded.read.step, last.graded.read.step);
        let names = format!("{}–{}", first.reversal, last.reversal);
        let none = std::iter::repeat_n(MISSING.to_owned(), 6);
        let grade = std::iter::once(first.graded.grade.name().to_owned());
        return [names, steps].into_iter().chain(none).chain(grade).collect();
    }
    let read = &first.graded.read;
    let (before, after) = (read.before.as_ref(), read.after.as_ref());
    let share = contact_share(first);
    let zero = match (share, first.graded.contact_share_low.filter(|_| !first.graded.resolved)) {
        (Some(x), _) => numbers::concise(x.value, x.u),
        (None, Some(bound)) => format!("≥ {}", numbers::significant(bound, 2)),
        (None, None) => MISSING.to_owned(),
    };
    // What stands beside the value has its decimals; alone, or beside a power of ten, it has two digits.
    let like = |x: f64| share.map(|s| numbers::like(x, s.value, s.u)).filter(|text| !text.contains('×'));
    let secondary = |x: f64| like(x).unwrap_or_else(|| numbers::significant(x, 2));
    vec![
        first.reversal.clone(),
        read.step.to_string(),
        or_missing(first.set_point.clone()),
        or_missing(before.map(|b| numbers::concise(b.viscosity_pa_s.value, b.viscosity_pa_s.u))),
        zero,
        or_missing(after.and_then(|a| a.plateau).map(|p| secondary(p.1))),
        or_missing(share_at_minimum(first).map(secondary)),
        or_missing(before.map(|_| numbers::significant(read.dead.first_usable(), 2))),
        first.graded.grade.name().to_owned(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    #[test]
    fn every_run_has_a_head_and_every_reversal_a_line() {
        let rows = fixture::states().reversals;
        let table = reversals(&rows);
        let heads = table.rows.iter().filter(|row| row.len() == 1).count();
        let runs = rows.chunk_by(|a, b| a.identity.run == b.identity.run).count();
        let empty = rows.iter().filter(|r| empty(r)).count();
        assert_eq!(heads, runs);
        assert!(table.rows.len() - heads <= rows.len() && table.rows.len() - heads + empty >= rows.len());
        assert!(table.rows.iter().all(|row| row.len() == 1 || row.len() == table.head.len()));
    }

    #[test]
    fn reversals_of_which_nothing_was_read_share_a_line() {
        let mut rows = fixture::states().reversals;
        rows.truncate(3);
        for (i, r) in rows.iter_mut().enumerate() {
            r.identity = fixture::states().reversals[0].identity.clone();
            r.graded.grade = stages::reversal::result::Grade::F;
            (r.graded.read.before, r.graded.read.after) = (None, None);
            (r.reversal, r.graded.read.step) = (format!("R{i}"), i as i64);
        }
        let table = reversals(&rows);
        assert_eq!(table.rows.len(), 2);
        assert_eq!(table.rows[1][..3], ["R0–R2", "0–2", "–"]);
    }
}

//! The plain rules: each looks at readings and says which of them it would set aside, never deleting any. Rules with
//! more to them have files of their own; `compute.rs` applies them in turn.

use super::params::SetAside;

/// Readings that lack one of the given columns.
pub(super) fn missing(columns: &[&[f64]]) -> Vec<usize> {
    let rows = columns.first().map_or(0, |c| c.len());
    (0..rows).filter(|at| columns.iter().any(|c| c[*at].is_nan())).collect()
}

/// Readings whose time lies before that of an earlier reading, and readings that repeat the last time.
pub(super) fn clock(time: &[f64]) -> (Vec<usize>, Vec<usize>) {
    let (mut back, mut repeated) = (Vec::new(), Vec::new());
    let mut last = f64::NEG_INFINITY;
    for (at, now) in time.iter().enumerate().filter(|(_, now)| !now.is_nan()) {
        match now.total_cmp(&last) {
            std::cmp::Ordering::Less => back.push(at),
            std::cmp::Ordering::Equal => repeated.push(at),
            std::cmp::Ordering::Greater => last = *now,
        }
    }
    (back, repeated)
}

/// Readings that somebody set aside.
pub(super) fn set_aside(time: &[f64], step: &[i64], by_hand: &SetAside) -> Vec<usize> {
    let held = |at: &usize| {
        by_hand.step.is_none_or(|s| s == step[*at])
            && by_hand.from_s.is_none_or(|from| time[*at] >= from)
            && by_hand.to_s.is_none_or(|to| time[*at] <= to)
    };
    (0..time.len()).filter(held).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_blank_in_any_column_is_missing() {
        assert_eq!(missing(&[&[1.0, f64::NAN, 3.0], &[1.0, 2.0, f64::NAN]]), [1, 2]);
    }

    #[test]
    fn clocks_that_go_back_or_stand_still() {
        assert_eq!(clock(&[0.0, 1.0, 1.0, f64::NAN, 0.5, 0.9, 2.0]), (vec![4, 5], vec![2]));
    }

    #[test]
    fn what_is_set_aside_by_hand() {
        let by_hand = |step, from_s, to_s| SetAside { step, from_s, to_s, because: "bubble".into() };
        let (time, step) = ([0.0, 1.0, 2.0, 3.0], [1, 1, 2, 2]);
        assert_eq!(set_aside(&time, &step, &by_hand(Some(2), None, None)), [2, 3]);
        assert_eq!(set_aside(&time, &step, &by_hand(Some(2), Some(2.5), None)), [3]);
        assert_eq!(set_aside(&time, &step, &by_hand(None, Some(1.0), Some(2.0))), [1, 2]);
        assert_eq!(set_aside(&time, &step, &by_hand(None, None, None)).len(), 4);
    }
}

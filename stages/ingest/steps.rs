//! Which step each row belongs to.

/// Steps from the export's own numbers; a row without one carries that of the row before. Gives also how many did.
///
/// None where the first row has no number.
pub(super) fn numbered(numbers: &[Option<i64>]) -> Option<(Vec<i64>, usize)> {
    let mut last = None;
    let steps: Option<Vec<i64>> = numbers
        .iter()
        .map(|number| {
            last = number.or(last);
            last
        })
        .collect();
    Some((steps?, numbers.iter().filter(|n| n.is_none()).count()))
}

/// Steps counted from 1, a new one where `changes` says so of a row and the one before.
pub(super) fn counted(rows: usize, changes: impl Fn(usize, usize) -> bool) -> Vec<i64> {
    let mut step = 1;
    (0..rows)
        .map(|row| {
            step += i64::from(row > 0 && changes(row - 1, row));
            step
        })
        .collect()
}

/// Adds to the times of each step the last time of the one before; gives how many steps were moved.
pub(super) fn lay_end_to_end(times: &mut [f64], steps: &[i64]) -> usize {
    let (mut offset, mut moved) = (0.0, 0);
    for row in 0..times.len() {
        if row > 0 && steps[row] != steps[row - 1] {
            offset = times[row - 1];
            moved += 1;
        }
        times[row] += offset;
    }
    moved
}

/// Whether a set-point changed from `a` to `b` by more than the part `least` of the larger one.
pub(super) fn set_point_changed(a: f64, b: f64, least: f64) -> bool {
    if a.is_nan() || b.is_nan() {
        return a.is_nan() != b.is_nan();
    }
    (b - a).abs() > least * a.abs().max(b.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_carried_on() {
        assert_eq!(numbered(&[Some(3), None, Some(4), Some(3)]), Some((vec![3, 3, 4, 3], 1)));
        assert_eq!(numbered(&[None, Some(1)]), None);
    }

    #[test]
    fn times_that_begin_anew_are_laid_end_to_end() {
        let mut times = [0.5, 1.0, 0.5, 1.0, 0.25];
        assert_eq!(lay_end_to_end(&mut times, &[1, 1, 2, 2, 3]), 2);
        assert_eq!(times, [0.5, 1.0, 1.5, 2.0, 2.25]);
    }

    #[test]
    fn set_points_begin_steps_when_they_change() {
        let set = [1.0, 1.005, 10.0, -10.0, f64::NAN, f64::NAN, 0.0, 0.0];
        let steps = counted(set.len(), |a, b| set_point_changed(set[a], set[b], 0.01));
        assert_eq!(steps, [1, 1, 2, 3, 4, 4, 5, 5]);
    }
}

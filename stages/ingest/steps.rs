//! Which step each row belongs to.

use super::layout::Layout;

/// How rows are told to belong to a step.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
enum By {
    /// Numbers of a column.
    Number,
    /// Lines that begin steps.
    Line,
    /// Names of a column.
    Label,
    /// Set-points that change.
    #[default]
    SetPoint,
}

/// The steps of the rows, as these pass by.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Steps {
    by: By,
    /// One for each row; none yet where set-points tell.
    of: Vec<i64>,
    /// That of the rows at hand.
    now: i64,
    label: String,
    /// Rows without a number, which carry that of the row before.
    carried: usize,
    /// Whether the first row had none.
    unknown: bool,
}

impl Steps {
    pub(super) fn new(layout: &Layout) -> Self {
        let by = match layout {
            _ if layout.columns.step.is_some() => By::Number,
            _ if layout.step_starts.is_some() => By::Line,
            _ if layout.columns.label.is_some() => By::Label,
            _ => By::SetPoint,
        };
        Self { by, now: 1, ..Self::default() }
    }

    /// A line begins a step, with this number or the next one.
    pub(super) fn begin(&mut self, number: Option<i64>) {
        if self.by == By::Line {
            let empty = self.of.last() != Some(&self.now);
            self.now = number.unwrap_or(if empty { self.now } else { self.now + 1 });
        }
    }

    /// The row at hand has this number, or none.
    pub(super) fn number(&mut self, number: Option<i64>) {
        self.carried += usize::from(number.is_none());
        self.unknown |= number.is_none() && self.of.is_empty();
        self.now = number.unwrap_or(self.now);
    }

    /// The row at hand has this name.
    pub(super) fn label(&mut self, label: &str) {
        if self.by == By::Label && self.label != label {
            self.now += i64::from(!self.of.is_empty());
            label.clone_into(&mut self.label);
        }
    }

    /// The row at hand is kept.
    pub(super) fn row(&mut self) {
        if self.by != By::SetPoint {
            self.of.push(self.now);
        }
    }

    /// The step of each row, and how many rows carry that of the row before; none where the first row has no number.
    pub(super) fn finish(self, rows: usize, set: &[&[f64]], least: f64) -> Option<(Vec<i64>, usize)> {
        if self.by != By::SetPoint {
            return (!self.unknown).then_some((self.of, self.carried));
        }
        let mut step = 1;
        let steps = (0..rows).map(|row| {
            step += i64::from(row > 0 && set.iter().any(|v| set_point_changed(v[row - 1], v[row], least)));
            step
        });
        Some((steps.collect(), 0))
    }
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
fn set_point_changed(a: f64, b: f64, least: f64) -> bool {
    if a.is_nan() || b.is_nan() {
        return a.is_nan() != b.is_nan();
    }
    (b - a).abs() > least * a.abs().max(b.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn by(by: By) -> Steps {
        Steps { by, now: 1, ..Steps::default() }
    }

    #[test]
    fn numbers_are_carried_on() {
        let steps = |numbers: &[Option<i64>]| {
            let mut steps = by(By::Number);
            numbers.iter().for_each(|number| {
                steps.number(*number);
                steps.row();
            });
            steps.finish(numbers.len(), &[], 0.0)
        };
        assert_eq!(steps(&[Some(3), None, Some(4), Some(3)]), Some((vec![3, 3, 4, 3], 1)));
        assert_eq!(steps(&[None, Some(1)]), None);
    }

    #[test]
    fn names_begin_steps_when_they_change() {
        let mut steps = by(By::Label);
        for label in ["up", "up", "down", "up"] {
            steps.label(label);
            steps.row();
        }
        assert_eq!(steps.finish(4, &[], 0.0), Some((vec![1, 1, 2, 3], 0)));
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
        let steps = by(By::SetPoint).finish(set.len(), &[&set], 0.01);
        assert_eq!(steps, Some((vec![1, 1, 2, 3, 4, 4, 5, 5], 0)));
    }
}

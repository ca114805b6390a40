//! Axes: their range, their ticks and tick labels. Log axes take log₁₀ here, so that what draws sees linear
//! coordinates only. No drawing.

use crate::text::numbers;
use stages::numerics::float;

/// An axis; `lo` and `hi` are coordinates, on a log axis decimal logarithms.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Coordinate at the low end.
    pub lo: f64,
    /// Coordinate at the high end.
    pub hi: f64,
    /// Whether coordinates are logarithms.
    pub log: bool,
    /// Label with unit, in the markup of `svg.rs`.
    pub label: &'static str,
}

/// A tick at a coordinate; those without label are short.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Coordinate.
    pub at: f64,
    /// Its label.
    pub label: Option<String>,
}

/// Smallest and largest of the finite values.
fn extent(values: impl IntoIterator<Item = f64>) -> Option<(f64, f64)> {
    let finite = values.into_iter().filter(|v| v.is_finite());
    finite.fold(None, |range, v| match range {
        None => Some((v, v)),
        Some((lo, hi)) => Some((f64::min(lo, v), f64::max(hi, v))),
    })
}

impl Axis {
    /// A log axis around the positive values of `values`, with a little air; a decade around 1 if there are none.
    pub fn log_around(values: impl IntoIterator<Item = f64>, label: &'static str) -> Self {
        let logs = values.into_iter().filter(|v| *v > 0.0).map(float::log10);
        let (lo, hi) = extent(logs).unwrap_or((-0.5, 0.5));
        // At least a third of a decade, and 6 % of air on each side (common practice).
        let short = (0.35 - (hi - lo)).max(0.0) / 2.0;
        let air = 0.06 * (hi - lo + 2.0 * short);
        Self { lo: lo - short - air, hi: hi + short + air, log: true, label }
    }

    /// A log axis from `lo` to `hi`, both positive.
    pub fn log(lo: f64, hi: f64, label: &'static str) -> Self {
        Self { lo: float::log10(lo), hi: float::log10(hi), log: true, label }
    }

    /// A linear axis from `lo` to `hi`.
    pub const fn linear(lo: f64, hi: f64, label: &'static str) -> Self {
        Self { lo, hi, log: false, label }
    }

    /// A linear axis around `values` and what is asked to be inside; ends lie on ticks.
    pub fn linear_around(values: impl IntoIterator<Item = f64>, inside: [f64; 2], label: &'static str) -> Self {
        let (lo, hi) = extent(values.into_iter().chain(inside)).unwrap_or((0.0, 1.0));
        let (step, _) = step(hi - lo);
        let axis = |lo: f64, hi: f64| Self { lo, hi, log: false, label };
        if hi > lo {
            axis((lo / step + 1e-9).floor() * step, (hi / step - 1e-9).ceil() * step)
        } else {
            axis(lo - 0.5, hi + 0.5)
        }
    }

    /// Coordinate of a value; not finite where a log axis has no place for it.
    pub fn at(&self, value: f64) -> f64 {
        if self.log { float::log10(value) } else { value }
    }

    /// Whether a coordinate lies on the axis.
    pub fn holds(&self, at: f64) -> bool {
        at >= self.lo && at <= self.hi
    }

    /// The ticks, from low to high within each kind.
    pub fn ticks(&self) -> Vec<Tick> {
        let slack = 1e-9 * (self.hi - self.lo);
        let mut ticks = if self.log { self.log_ticks() } else { self.linear_ticks() };
        ticks.retain(|t| t.at >= self.lo - slack && t.at <= self.hi + slack);
        ticks
    }

    fn linear_ticks(&self) -> Vec<Tick> {
        let (step, decimals) = step(self.hi - self.lo);
        let (first, last) = ((self.lo / step).floor() as i64, (self.hi / step).ceil() as i64);
        let major = (first..=last).map(|k| {
            // A counter times the step: no error adds up.
            let at = k as f64 * step;
            Tick { at, label: Some(real_minus(&format!("{at:.decimals$}"))) }
        });
        let minor = (first..=last).map(|k| Tick { at: (k as f64 + 0.5) * step, label: None });
        major.chain(minor).collect()
    }

    fn log_ticks(&self) -> Vec<Tick> {
        let powers_alone = self.hi - self.lo >= 2.0;
        let labelled = if powers_alone { &[10][..] } else { self.labelled() };
        let tick = |k: i32, m: u32| {
            let label = labelled.contains(&m).then(|| match powers_alone {
                true => real_minus(&format!("10^{{{k}}}")),
                false => shifted(m, k - 1),
            });
            Tick { at: log_at(k, m), label }
        };
        // Minor ticks at whole numbers; between these only where they are labelled.
        let marks = (10..100).filter(|m| m % 10 == 0 || labelled.contains(m));
        self.decades().flat_map(|k| marks.clone().map(move |m| tick(k, m))).collect()
    }

    fn decades(&self) -> std::ops::RangeInclusive<i32> {
        self.lo.floor() as i32..=self.hi.ceil() as i32
    }

    /// Which tenths of a power of ten carry a label on an axis of less than two decades: as few as leave three of them.
    fn labelled(&self) -> &'static [u32] {
        const SETS: [&[u32]; 3] =
            [&[10, 20, 50], &[10, 20, 30, 40, 50, 60, 80], &[10, 12, 15, 20, 25, 30, 40, 50, 60, 70, 80, 90]];
        let inside = |set: &&&[u32]| {
            let ticks = self.decades().flat_map(|k| set.iter().map(move |m| log_at(k, *m)));
            ticks.filter(|at| self.holds(*at)).count() >= 3
        };
        SETS.iter().find(inside).copied().unwrap_or(SETS[2])
    }
}

/// Decimal logarithm of `m` tenths of 10^`k`.
fn log_at(k: i32, m: u32) -> f64 {
    f64::from(k) + float::log10(f64::from(m) / 10.0)
}

/// `m`·10^`k`: `0.05`, `1.5`, `20`, and `2×10^{−7}` where zeros would be many.
fn shifted(m: u32, k: i32) -> String {
    let (m, k) = if m.is_multiple_of(10) { (m / 10, k + 1) } else { (m, k) };
    match k {
        0..=4 => numbers::whole(u64::from(m) * 10_u64.pow(k.unsigned_abs())),
        -4..=-1 => {
            let decimals = k.unsigned_abs() as usize;
            let digits = format!("{m:0>width$}", width = decimals + 1);
            let (before, behind) = digits.split_at(digits.len() - decimals);
            format!("{before}.{behind}")
        }
        _ if m < 10 => real_minus(&format!("{m}×10^{{{k}}}")),
        _ => real_minus(&format!("{}.{}×10^{{{}}}", m / 10, m % 10, k + 1)),
    }
}

fn real_minus(text: &str) -> String {
    let zero = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
    text.replace('-', if zero { "" } else { "\u{2212}" })
}

/// Step of labelled ticks for a span, 1, 2 or 5 times a power of ten, four to nine in it; and its decimals.
fn step(span: f64) -> (f64, usize) {
    if !(span > 0.0 && span.is_finite()) {
        return (1.0, 0);
    }
    let k = float::log10(span / 4.0).floor();
    let power = float::pow(10.0, k);
    let m = [5.0, 2.0].into_iter().find(|m| span / (m * power) >= 4.0).unwrap_or(1.0);
    (m * power, (-k).max(0.0) as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<String> {
        axis.ticks().into_iter().filter_map(|t| t.label).collect()
    }

    #[test]
    fn linear_ticks_have_real_minus_signs_and_no_negative_zero() {
        assert_eq!(labels(&Axis::linear(-0.2, 0.2, "")), ["\u{2212}0.2", "\u{2212}0.1", "0.0", "0.1", "0.2"]);
        assert_eq!(labels(&Axis::linear(0.0, 4e-7, "")).len(), 5);
    }

    #[test]
    fn log_ticks_are_powers_of_ten_with_minor_ticks() {
        let axis = Axis::log(0.01, 10.0, "");
        assert_eq!(labels(&axis), ["10^{\u{2212}2}", "10^{\u{2212}1}", "10^{0}", "10^{1}"]);
        assert_eq!(axis.ticks().len(), 3 * 9 + 1);
    }

    #[test]
    fn a_short_log_axis_can_still_be_read() {
        assert_eq!(labels(&Axis::log(3.0, 60.0, "")), ["5", "10", "20", "50"]);
        assert_eq!(labels(&Axis::log(11.6, 29.0, "")), ["12", "15", "20", "25"]);
        assert_eq!(
            labels(&Axis::log(0.012, 0.03, "")),
            ["0.012", "0.015", "0.020", "0.025", "0.03"].map(|t| t.trim_end_matches('0'))
        );
        assert_eq!(
            [shifted(15, -8), shifted(20, -8), shifted(15, -1)],
            ["1.5×10^{\u{2212}7}", "2×10^{\u{2212}7}", "1.5"]
        );
        assert!(labels(&Axis::log_around([2.0], "")).len() >= 3);
    }

    #[test]
    fn nothing_to_show_still_gives_an_axis() {
        assert!(Axis::log_around([f64::NAN, -1.0], "").hi > 0.0);
        assert!(Axis::linear_around([], [0.0, 1.0], "").holds(0.5));
    }
}

//! Bias, error and coverage of estimates against the truth. It reads nothing.

/// One estimate against its truth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Result {
    /// Estimate less truth.
    pub(crate) error: f64,
    /// Whether the 95 % interval holds the truth; none where there is no interval.
    pub(crate) holds: Option<bool>,
    /// Half the interval's width.
    pub(crate) half_width: f64,
}

impl Result {
    /// An estimate with its interval.
    pub(crate) fn new(value: f64, interval: Option<(f64, f64)>, truth: f64) -> Self {
        Self {
            error: value - truth,
            holds: interval.map(|(low, high)| low <= truth && truth <= high),
            half_width: interval.map_or(f64::NAN, |(low, high)| 0.5 * (high - low)),
        }
    }
}

/// What many results say together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Score {
    /// Number of estimates.
    pub(crate) count: usize,
    /// Mean error, and its standard error.
    pub(crate) bias: (f64, f64),
    /// Root of the mean squared error.
    pub(crate) rms: f64,
    /// Share of intervals that hold, with its 95 % interval; none without intervals.
    pub(crate) coverage: Option<(f64, f64, f64)>,
}

impl Score {
    /// The score of all results; NaN of none.
    pub(crate) fn of(results: &[Result]) -> Self {
        let n = results.len() as f64;
        let mean = |f: &dyn Fn(&Result) -> f64| results.iter().map(f).sum::<f64>() / n;
        let bias = mean(&|r| r.error);
        let variance = mean(&|r| (r.error - bias) * (r.error - bias));
        let known: Vec<bool> = results.iter().filter_map(|r| r.holds).collect();
        let held = known.iter().filter(|h| **h).count();
        Self {
            count: results.len(),
            bias: (bias, (variance / n).sqrt()),
            rms: mean(&|r| r.error * r.error).sqrt(),
            coverage: (!known.is_empty()).then(|| share(held, known.len())),
        }
    }
}

/// A share with its 95 % interval by E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209.
pub(crate) fn share(successes: usize, of: usize) -> (f64, f64, f64) {
    const Z: f64 = 1.959_964;
    let (n, p) = (of as f64, successes as f64 / of as f64);
    let centre = (p + 0.5 * Z * Z / n) / (1.0 + Z * Z / n);
    let half = Z / (1.0 + Z * Z / n) * (p * (1.0 - p) / n + 0.25 * Z * Z / (n * n)).sqrt();
    (p, centre - half, centre + half)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_have_the_published_interval() {
        // Newcombe, Stat. Med. 17 (1998) 857, table I: 15 of 148 gives 0.0624 to 0.1605.
        let (_, low, high) = share(15, 148);
        assert!((low - 0.0624).abs() < 5e-5 && (high - 0.1605).abs() < 5e-5, "{low} {high}");
    }

    #[test]
    fn bias_and_coverage_are_counted() {
        let results = [Result::new(0.6, Some((0.4, 0.7)), 0.5), Result::new(0.5, Some((0.55, 0.6)), 0.5)];
        let score = Score::of(&results);
        assert!((score.bias.0 - 0.05).abs() < 1e-12 && score.coverage.unwrap().0 == 0.5);
    }
}

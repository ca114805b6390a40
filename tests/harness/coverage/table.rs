//! The tally as a Markdown table.

use super::score::{QUANTITIES, Score, Scores};

/// Head of the table.
pub(super) const HEAD: &str = "\
| design | quantity | holds | interval of that | perfect reader | bias | scatter | mean half-width | median | perfect: mean | median | no interval |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |";

/// Rows of one design: the reader beside the perfect reader.
pub(super) fn rows(design: &str, studies: usize, tally: &[Scores; 2]) -> String {
    let row = |(q, name): (usize, &&str)| {
        let (own, perfect) = (&tally[0][q], &tally[1][q]);
        let (low, high) = binomial(coverage(own), given_studies(own, studies));
        let n = own.given.max(1) as f64;
        let (bias, mean_square) = (own.error / n, own.square / n);
        format!(
            "| {design} | {name} | {:.3} | {low:.3}–{high:.3} | {:.3} | {bias:+.4} | {:.4} | {:.4} | {:.4} | {:.4} | {:.4} | {:.1} % |",
            coverage(own),
            coverage(perfect),
            (mean_square - bias * bias).max(0.0).sqrt(),
            mean(own),
            median(own),
            mean(perfect),
            median(perfect),
            100.0 * (1.0 - own.given as f64 / own.asked.max(1) as f64),
        )
    };
    QUANTITIES.iter().enumerate().map(row).collect::<Vec<_>>().join("\n")
}

/// Part of the given intervals that hold the truth.
pub(super) fn coverage(score: &Score) -> f64 {
    score.held as f64 / score.given.max(1) as f64
}

fn mean(score: &Score) -> f64 {
    score.half_widths.iter().sum::<f64>() / score.given.max(1) as f64
}

/// With two loadings that differ by chance the width of an interval has no mean worth the name.
fn median(score: &Score) -> f64 {
    let mut sorted = score.half_widths.clone();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN)
}

/// States of one study share their loadings, so studies are counted, not states.
fn given_studies(score: &Score, studies: usize) -> f64 {
    studies as f64 * score.given as f64 / score.asked.max(1) as f64
}

/// 95 % interval of a probability by Wilson's score (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209).
pub(super) fn binomial(part: f64, n: f64) -> (f64, f64) {
    let z2 = 1.959_964 * 1.959_964;
    let centre = (part + 0.5 * z2 / n) / (1.0 + z2 / n);
    let half = (z2 * (part * (1.0 - part) / n + 0.25 * z2 / (n * n))).sqrt() / (1.0 + z2 / n);
    (centre - half, centre + half)
}

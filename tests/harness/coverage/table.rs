//! The tally as a Markdown table.

use super::pool::PoolState;
use super::score::{PERFECT, QUANTITIES, READERS, RESAMPLING, STAGES, Score, Scores};
use stages::numerics::student_t;

/// Head of the table.
pub(super) const HEAD: &str = "\
| design | quantity | holds | binomial | by pools | perfect reader | resampled | bias | scatter | mean half-width | median | perfect: mean | median | no interval |
| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |";

/// Rows of one design: the stages beside the other readers.
pub(super) fn rows(design: &str, studies: usize, pools: &[[Scores; READERS]]) -> String {
    let row = |(q, name): (usize, &&str)| {
        let (own, perfect) = (sum(pools, STAGES, q), sum(pools, PERFECT, q));
        let n = own.given.max(1) as f64;
        let (bias, mean_square) = (own.error / n, own.square / n);
        format!(
            "| {design} | {name} | {:.3} | {} | {} | {:.3} | {} | {bias:+.4} | {:.4} | {:.4} | {:.4} | {:.4} | {:.4} | {:.1} % |",
            coverage(&own),
            range(Some(binomial(coverage(&own), given_studies(&own, studies)))),
            range(by_pools(pools, q)),
            coverage(&perfect),
            told(&sum(pools, RESAMPLING, q)),
            (mean_square - bias * bias).max(0.0).sqrt(),
            mean(&own),
            median(&own),
            mean(&perfect),
            median(&perfect),
            100.0 * (1.0 - own.given as f64 / own.asked.max(1) as f64),
        )
    };
    QUANTITIES.iter().enumerate().map(row).collect::<Vec<_>>().join("\n")
}

/// All pools together.
pub(super) fn sum(pools: &[[Scores; READERS]], reader: usize, quantity: usize) -> Score {
    let mut sum = Score::default();
    pools.iter().for_each(|p| sum.join(&p[reader][quantity]));
    sum
}

fn told(score: &Score) -> String {
    if score.asked > 0 { format!("{:.3}", coverage(score)) } else { "–".to_owned() }
}

fn range(ends: Option<(f64, f64)>) -> String {
    ends.map_or_else(|| "–".to_owned(), |(low, high)| format!("{low:.3}–{high:.3}"))
}

/// 95 % interval of the coverage from its scatter between pools, whose errors are made apart; none for one pool.
fn by_pools(pools: &[[Scores; READERS]], q: usize) -> Option<(f64, f64)> {
    let each: Vec<f64> = pools.iter().map(|p| coverage(&p[STAGES][q])).collect();
    let n = each.len() as f64;
    let mean = each.iter().sum::<f64>() / n;
    let variance = each.iter().map(|c| (c - mean) * (c - mean)).sum::<f64>() / (n * (n - 1.0));
    let half = student_t::factor_95(n - 1.0) * variance.sqrt();
    (each.len() > 1).then_some((mean - half, (mean + half).min(1.0)))
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

/// Head of the table of read errors.
pub(super) const READ_HEAD: &str = "\
| design | reversals | entering | bias of z | z error / u: rms | shared by a state / u | ln η error / u: rms | the same by blocks |
| --- | --- | --- | --- | --- | --- | --- | --- |";

/// What the pool of one design shows of the readings themselves: errors of z in units of their stated standard
/// uncertainty, and the part of them that all reversals of a state have in common.
pub(super) fn read_errors(design: &str, pool: &[PoolState]) -> String {
    let (mut all, mut errors, mut reduced, mut shared) = (0, Vec::new(), Vec::new(), Vec::new());
    let (mut viscosity, mut by_blocks) = (Vec::new(), Vec::new());
    for state in pool {
        let mut own = Vec::new();
        for read in state.loadings.iter().flat_map(|l| &l.reversals) {
            all += 1;
            let before = read.graded.read.before.as_ref();
            viscosity.extend(before.map(|b| read.ln_viscosity * b.viscosity_pa_s.value / b.viscosity_pa_s.u));
            by_blocks.extend(before.map(|_| read.ln_viscosity / read.u_by_blocks));
            let Some((share, error)) = read.graded.contact_share.filter(|_| read.graded.resolved).zip(read.z) else {
                continue;
            };
            errors.push(error);
            own.push(error * (1.0 - share.value) / share.u);
        }
        reduced.extend(own.iter().copied());
        shared.extend(products(&own));
    }
    let rms = |v: &[f64]| (v.iter().map(|x| x * x).sum::<f64>() / v.len() as f64).sqrt();
    let average = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    format!(
        "| {design} | {all} | {} | {:+.4} | {:.2} | {:.2} | {:.2} | {:.2} |",
        errors.len(),
        average(&errors),
        rms(&reduced),
        average(&shared).max(0.0).sqrt(),
        rms(&viscosity),
        rms(&by_blocks),
    )
}

/// Mean product of two different members: the variance of what all have in common, without bias by what they have not.
fn products(own: &[f64]) -> Option<f64> {
    let (n, sum) = (own.len() as f64, own.iter().sum::<f64>());
    let squares: f64 = own.iter().map(|x| x * x).sum();
    (own.len() > 1).then(|| (sum * sum - squares) / (n * (n - 1.0)))
}

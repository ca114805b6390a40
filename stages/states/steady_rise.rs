//! Whether a sample thickens at all, by its steady viscosities alone: those of states without a contact share count too.
//!
//! The two states between which the viscosity rises most were chosen by the data, so their difference is tested as the
//! largest of many. Loadings are blocks: over the loadings that two states share, d is the mean of ln(η_j/η_i). Its scatter
//! is pooled over all pairs of states; in a complete study that is twice the residual mean square of states × loadings
//! (two-way layout without interaction). t = d/√(v/n) has Student's distribution, and among m pairs the largest t is
//! judged by m times its tail (Bonferroni), which is right for any dependence of the pairs. With equal scatter this loses a
//! tenth of the width against the studentised range. Where loadings follow trends of their own, or the scatter differs
//! between states, pooling is wrong for the pair at hand: its own scatter, with one degree of freedom less than there are
//! loadings, must speak for a rise as well ([`ENDS_CHOSEN`]), and the larger probability counts. Over samples the
//! probabilities are those of Holm (1979, Scand. J. Statist. 6, 65–70).

use super::result::{ENDS_CHOSEN, State};
use crate::numerics::interval::mean;
use crate::numerics::student_t;
use std::collections::BTreeSet;

/// The rise from one state to another at a higher set-point, over the loadings that have both.
struct Pair {
    differences: Vec<f64>,
}

impl Pair {
    fn between(low: &State, high: &State) -> Self {
        let difference = |l: &super::result::LoadingMean| {
            let h = high.loading_means.iter().find(|h| h.loading == l.loading)?;
            Some(h.ln_viscosity - l.ln_viscosity)
        };
        Self { differences: low.loading_means.iter().filter_map(difference).collect() }
    }

    fn squares(&self) -> f64 {
        let middle = mean(&self.differences);
        self.differences.iter().map(|d| (d - middle) * (d - middle)).sum()
    }
}

/// Probability that a largest rise as steep as that from state `low` to state `high` is scatter between loadings; none
/// where the study cannot tell: no loading has both states, or nothing shows the scatter.
pub(super) fn probability_of_scatter(states: &[&State], low: usize, high: usize) -> Option<f64> {
    let pairs: Vec<Pair> = (0..states.len())
        .flat_map(|i| (i + 1..states.len()).map(move |j| (i, j)))
        .map(|(i, j)| Pair::between(states[i], states[j]))
        .filter(|pair| !pair.differences.is_empty())
        .collect();
    let chosen = Pair::between(states[low], states[high]);
    let n = chosen.differences.len();
    let dof = residual_degrees_of_freedom(states)?;
    let doubled: usize = pairs.iter().map(|pair| pair.differences.len() - 1).sum();
    if n == 0 || doubled == 0 {
        return None;
    }
    let variance = pairs.iter().map(Pair::squares).sum::<f64>() / doubled as f64;
    let rise = mean(&chosen.differences);
    if rise <= 0.0 {
        return Some(1.0);
    }
    let pooled = pairs.len() as f64 * upper_tail(rise, variance / n as f64, dof);
    let own_dof = (n - 1) as f64;
    let own = if n > 1 { ENDS_CHOSEN * upper_tail(rise, chosen.squares() / own_dof / n as f64, own_dof) } else { 0.0 };
    Some(pooled.max(own).min(1.0))
}

/// Tail of Student's distribution above `rise` over the root of its variance; zero at infinity, without any scatter.
fn upper_tail(rise: f64, variance: f64, dof: f64) -> f64 {
    let t = rise / variance.sqrt();
    if t.is_finite() { student_t::cumulative(-t, dof) } else { 0.0 }
}

/// Loading means less one for each state and each loading but the first; none where nothing is left over.
fn residual_degrees_of_freedom(states: &[&State]) -> Option<f64> {
    let cells: usize = states.iter().map(|s| s.loading_means.len()).sum();
    let rows = states.iter().filter(|s| !s.loading_means.is_empty()).count();
    let loadings: BTreeSet<&str> =
        states.iter().flat_map(|s| &s.loading_means).map(|mean| mean.loading.as_str()).collect();
    let left = (cells + 1).checked_sub(rows + loadings.len())?;
    (left > 0).then_some(left as f64)
}

/// The probabilities of several samples as those of one family (Holm 1979): each times the number of those that are not
/// smaller, and never less than that of a smaller one.
pub(super) fn of_family(alone: &[Option<f64>]) -> Vec<Option<f64>> {
    let mut order: Vec<(usize, f64)> = alone.iter().enumerate().filter_map(|(k, p)| Some((k, (*p)?))).collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    let mut adjusted = alone.to_vec();
    let mut largest: f64 = 0.0;
    for (rank, (k, p)) in order.iter().enumerate() {
        largest = largest.max((p * (order.len() - rank) as f64).min(1.0));
        adjusted[*k] = Some(largest);
    }
    adjusted
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;
    use crate::fixture;

    /// States of these ln η, a row for each loading.
    fn states<const K: usize>(loadings: &[[f64; K]]) -> Vec<State> {
        let mean = |k: usize, (l, row): (usize, &[f64; K])| fixture::loading_mean(&format!("L{l}"), row[k], None);
        let state = |k: usize| {
            let means = loadings.iter().enumerate().map(|row| mean(k, row)).collect();
            fixture::state(&fixture::sample("S"), &format!("{k} Pa"), means)
        };
        (0..K).map(state).collect()
    }

    fn probability(states: &[State], low: usize, high: usize) -> Option<f64> {
        probability_of_scatter(&states.iter().collect::<Vec<_>>(), low, high)
    }

    #[test]
    fn two_states_are_compared_as_pairs() {
        // Differences 1, 2, 3: t = 2/(1/√3) = 3.4641, whose upper tail with two degrees of freedom is
        // ½ − t/(2√(2 + t²)) = 0.037 09 (closed form of Student's distribution); twice that, as the ends were chosen.
        let found = probability(&states(&[[0.0, 1.0], [5.0, 7.0], [-3.0, 0.0]]), 0, 1).unwrap();
        let t = 2.0 * 3f64.sqrt();
        assert!((found - 2.0 * (0.5 - t / (2.0 * (2.0 + t * t).sqrt()))).abs() < 1e-12, "{found}");
    }

    #[test]
    fn the_scatter_is_that_of_a_two_way_layout() {
        // Residuals of states × loadings with four degrees of freedom. The tail of Student's distribution is there
        // ½ − ¾ s(1 − s²/3) with s = t/√(4 + t²) (closed form), and there are three pairs.
        let layout = [[0.5, 0.5, 2.5], [0.0, 1.0, 2.0], [0.25, 0.75, 2.25]];
        let found = probability(&states(&layout), 0, 2);
        let of_state = |k: usize| layout.iter().map(|row| row[k]).sum::<f64>() / 3.0;
        let residual =
            |row: &[f64; 3], k: usize| row[k] - row.iter().sum::<f64>() / 3.0 - of_state(k) + mean(&layout.concat());
        let squares: f64 = layout.iter().flat_map(|row| (0..3).map(|k| residual(row, k).powi(2))).sum();
        let t = (of_state(2) - of_state(0)) / (2.0 * (squares / 4.0) / 3.0).sqrt();
        let s = t / (4.0 + t * t).sqrt();
        let tail = 0.5 - 0.75 * s * (1.0 - s * s / 3.0);
        assert!((found.unwrap() / (3.0 * tail) - 1.0).abs() < 1e-9, "{found:?} {tail}");
    }

    #[test]
    fn what_cannot_be_told_has_no_probability() {
        assert_eq!(probability(&states(&[[0.0, 1.0]]), 0, 1), None);
        let mut apart = states(&[[0.0, 1.0], [0.1, 1.1]]);
        apart[1].loading_means.iter_mut().for_each(|mean| mean.loading.push('b'));
        assert_eq!(probability(&apart, 0, 1), None);
        assert_eq!(probability(&states(&[[0.0, 1.0], [0.0, 1.0]]), 0, 1), Some(0.0));
    }

    #[test]
    fn a_family_is_that_of_holm() {
        // By hand: 4·0.01; 3·0.013; then 2·0.02 = 0.04 and 0.06 · 1.
        let found = of_family(&[Some(0.013), None, Some(0.06), Some(0.01), Some(0.02)]);
        let wanted = [Some(0.04), None, Some(0.06), Some(0.04), Some(0.04)];
        for (found, wanted) in found.iter().zip(wanted) {
            assert!((found.unwrap_or(-1.0) - wanted.unwrap_or(-1.0)).abs() < 1e-15, "{found:?}");
        }
    }
}

//! What the draws of one block do to a state and to a rise: variances, and the intervals that follow from them.

use super::effects::{Effect, LiquidTerm, LoadingEffects, Parabola, Terms};
use super::trials::{BLOCK, Block};
use crate::numerics::fieller::Spread;
use crate::numerics::float;
use crate::numerics::interval::{Interval, Mean, covariance_of_means, mean, share_of, z_of};
use crate::physics::rise::Ends;
use crate::physics::shares::{self, Shared};
use crate::states::result::{LoadingMean, State};

/// Variances over trials of what instrument, geometry and liquid do to a state.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct StateSpread {
    ln_viscosity: f64,
    /// Of ln η_r: the liquid too.
    ln_relative: f64,
    ln_rate: f64,
    ln_stress: f64,
    z: f64,
    ln_hydrodynamic: f64,
    /// Of η_C, relative to η.
    contact: f64,
}

/// Joined intervals of a state; none of what it does not have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Intervals {
    viscosity: Option<Interval>,
    relative_viscosity: Option<Interval>,
    contact_share: Option<Interval>,
    hydrodynamic_viscosity: Option<Interval>,
    contact_viscosity: Option<Interval>,
    rate: Option<Interval>,
    stress: Option<Interval>,
}

impl StateSpread {
    /// Over the trials of one block.
    pub(super) fn of_block(state: &State, effects: &[Effect], liquid: Option<&LiquidTerm>, block: &Block) -> Self {
        let ln_viscosity = block.sum(effects, |e| e.ln_viscosity);
        let z = block.sum(effects, |e| e.z);
        let ln_stress = block.sum(effects, |e| e.ln_viscosity.plus(e.ln_rate));
        let pairs = || ln_viscosity.iter().zip(&z);
        let hydrodynamic: Vec<f64> = pairs().map(|(v, z)| v - z).collect();
        let z_value = state.contact_share.map_or(0.0, |x| z_of(x.value));
        let contact: Vec<f64> = pairs().map(|(v, z)| float::exp(*v) * share_of(z_value + z)).collect();
        let relative = liquid.and_then(|l| Some((block.liquids.get(&l.place)?, Parabola::line(-l.relative_u))));
        let ln_relative = relative.map_or_else(
            || ln_viscosity.clone(),
            |(draws, line)| ln_viscosity.iter().zip(draws).map(|(v, d)| v + line.moved_by(*d)).collect(),
        );
        Self {
            ln_viscosity: variance(&ln_viscosity),
            ln_relative: variance(&ln_relative),
            ln_rate: variance(&block.sum(effects, |e| e.ln_rate)),
            ln_stress: variance(&ln_stress),
            z: variance(&z),
            ln_hydrodynamic: variance(&hydrodynamic),
            contact: variance(&contact),
        }
    }

    /// Over the trials of several blocks.
    pub(super) fn mean(blocks: &[Self]) -> Self {
        let of = |f: fn(&Self) -> f64| mean(&blocks.iter().map(f).collect::<Vec<_>>());
        Self {
            ln_viscosity: of(|s| s.ln_viscosity),
            ln_relative: of(|s| s.ln_relative),
            ln_rate: of(|s| s.ln_rate),
            ln_stress: of(|s| s.ln_stress),
            z: of(|s| s.z),
            ln_hydrodynamic: of(|s| s.ln_hydrodynamic),
            contact: of(|s| s.contact),
        }
    }

    /// The intervals of the state with these variances joined; what the state does not have stays none.
    pub(super) fn intervals(&self, state: &State) -> Intervals {
        let (loadings, within) = (state.loadings_for_shares(), state.within());
        let one = |variance: f64| shares::ln_viscosity(&loadings, within, variance.sqrt());
        let relative = state.relative_viscosity.and_then(|r| {
            let mean = one(self.ln_relative)?.about(float::ln(r.value));
            Some(Interval { value: r.value, ..mean.exponential() })
        });
        let terms = Shared {
            ln_viscosity: self.ln_viscosity.sqrt(),
            z: self.z.sqrt(),
            ln_hydrodynamic: self.ln_hydrodynamic.sqrt(),
            contact: self.contact.sqrt(),
        };
        let both = || shares::shares(&loadings, within, state.shared().plus(terms));
        let found = state.contact_share.and_then(|_| both());
        Intervals {
            viscosity: one(self.ln_viscosity).map(Mean::exponential),
            relative_viscosity: relative,
            contact_share: found.map(|s| s.contact_share),
            hydrodynamic_viscosity: found.map(|s| s.hydrodynamic),
            contact_viscosity: found.map(|s| s.contact),
            rate: state.rate_per_s.map(|r| r.widened(self.ln_rate.sqrt())),
            stress: state.stress_pa.map(|s| s.widened(self.ln_stress.sqrt())),
        }
    }
}

impl Intervals {
    /// All of them, in one order.
    pub(super) fn list(&self) -> [Option<Interval>; 7] {
        [
            self.viscosity,
            self.relative_viscosity,
            self.contact_share,
            self.hydrodynamic_viscosity,
            self.contact_viscosity,
            self.rate,
            self.stress,
        ]
    }

    /// Writes them into the state.
    pub(super) fn write_into(self, state: &mut State) {
        state.viscosity_pa_s = self.viscosity;
        state.relative_viscosity = self.relative_viscosity;
        state.rate_per_s = self.rate;
        state.stress_pa = self.stress;
        if self.contact_share.is_some() {
            state.contact_share = self.contact_share;
            state.hydrodynamic_viscosity_pa_s = self.hydrodynamic_viscosity;
            state.contact_viscosity_pa_s = self.contact_viscosity;
        }
    }
}

/// ln η and z = −ln(1 − X) of one loading in one state.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Point {
    ln_viscosity: f64,
    z: f64,
}

/// A loading with both ends of a rise, and what every term does to each.
pub(super) struct Pair {
    low: Point,
    high: Point,
    effects_low: LoadingEffects,
    effects_high: LoadingEffects,
}

/// Loadings that have both ends.
pub(super) fn pairs(low: &State, high: &State, terms: &Terms<'_>) -> Vec<Pair> {
    let pair = |l: &LoadingMean| {
        let h = high.loading_means.iter().find(|h| h.loading == l.loading)?;
        Some(Pair {
            low: Point { ln_viscosity: l.ln_viscosity, z: l.z? },
            high: Point { ln_viscosity: h.ln_viscosity, z: h.z? },
            effects_low: terms.on_loading(l),
            effects_high: terms.on_loading(h),
        })
    };
    low.loading_means.iter().filter_map(pair).collect()
}

impl Pair {
    /// Whether a term moves N or D: what it does to the viscosity alike at both ends cancels in their ratio.
    fn moved_by(&self, term: usize) -> bool {
        let (low, high) = (&self.effects_low[term], &self.effects_high[term]);
        low.ln_viscosity != high.ln_viscosity || [low.z, high.z].iter().any(|z| *z != Parabola::default())
    }
}

/// Variances of the means of N and D over the trials of a block, for these terms.
pub(super) fn of_rise(pairs: &[Pair], block: &Block, terms: &[usize]) -> Spread {
    let terms: Vec<usize> = terms.iter().copied().filter(|k| pairs.iter().any(|p| p.moved_by(*k))).collect();
    if terms.is_empty() {
        return Spread::default();
    }
    let (mut n, mut d) = (vec![0.0; BLOCK], vec![0.0; BLOCK]);
    for pair in pairs {
        for trial in 0..BLOCK {
            let moved = |point: Point, effects: &[Effect]| {
                terms.iter().fold(point, |Point { ln_viscosity, z }, k| {
                    let (effect, draw) = (&effects[*k], block.terms[*k][trial]);
                    Point {
                        ln_viscosity: ln_viscosity + effect.ln_viscosity.moved_by(draw),
                        z: z + effect.z.moved_by(draw),
                    }
                })
            };
            let (low, high) = (moved(pair.low, &pair.effects_low), moved(pair.high, &pair.effects_high));
            let ends = Ends {
                ln_ratio: high.ln_viscosity - low.ln_viscosity,
                share_low: share_of(low.z),
                share_high: share_of(high.z),
            };
            n[trial] += ends.contact_rise() / pairs.len() as f64;
            d[trial] += ends.rise() / pairs.len() as f64;
        }
    }
    let of = |a: &[f64], b: &[f64]| covariance_of_means(a, b) * BLOCK as f64;
    Spread { nn: of(&n, &n), nd: of(&n, &d), dd: of(&d, &d) }
}

/// Mean over blocks.
pub(super) fn mean_spread(blocks: &[Spread]) -> Spread {
    let sum = blocks.iter().fold(Spread::default(), |sum, s| sum.plus(*s));
    if blocks.is_empty() { sum } else { sum.times(1.0 / blocks.len() as f64) }
}

fn variance(values: &[f64]) -> f64 {
    covariance_of_means(values, values) * values.len() as f64
}

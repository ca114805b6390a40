//! Draws of every term, block by block. Every term is a stream of its own under its place in the study file, so that
//! another file, sample or term moves no draw of this one.

use super::effects::{Effect, LiquidTerm, Parabola};
use crate::numerics::draws::Draws;
use crate::physics::materials::Sample;
use std::collections::BTreeMap;

/// Trials of a block (JCGM 101:2008, 7.9.4: at least 10⁴ for a coverage of 95 %).
pub(super) const BLOCK: usize = 10_000;

/// The streams, as far as they were drawn.
pub(super) struct Trials {
    terms: Vec<Draws>,
    liquids: BTreeMap<String, Draws>,
}

/// One block: a row of standard normal draws for every term, and for every liquid by its place in the study file.
pub(super) struct Block {
    pub terms: Vec<Vec<f64>>,
    pub liquids: BTreeMap<String, Vec<f64>>,
}

impl Trials {
    /// Streams of the terms with these names, and of the liquids of the samples.
    pub(super) fn new(names: &[String], samples: &[Sample], seed: u64) -> Self {
        let liquids = samples.iter().filter_map(|s| LiquidTerm::under(Some(s)));
        Self {
            terms: names.iter().map(|name| Draws::named(seed, name)).collect(),
            liquids: liquids.map(|l| (l.place.clone(), Draws::named(seed, &l.place))).collect(),
        }
    }

    /// The next block.
    pub(super) fn block(&mut self) -> Block {
        Block {
            terms: self.terms.iter_mut().map(|d| d.normals(BLOCK)).collect(),
            liquids: self.liquids.iter_mut().map(|(name, d)| (name.clone(), d.normals(BLOCK))).collect(),
        }
    }
}

impl Block {
    /// Sum over terms of what `of` takes from each effect, trial by trial.
    pub(super) fn sum(&self, effects: &[Effect], of: fn(&Effect) -> Parabola) -> Vec<f64> {
        let mut sum = vec![0.0; BLOCK];
        for (effect, draws) in effects.iter().zip(&self.terms) {
            let parabola = of(effect);
            if parabola != Parabola::default() {
                sum.iter_mut().zip(draws).for_each(|(s, d)| *s += parabola.moved_by(*d));
            }
        }
        sum
    }
}

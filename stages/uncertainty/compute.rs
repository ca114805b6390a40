//! Monte Carlo over instrument and sample terms, joined with the scatter of loadings.
//!
//! JCGM 101: every term has one draw per trial, shared by all that it touches, so what is common to numerator and
//! denominator cancels by itself. Blocks of trials are drawn until the ends of every interval of a state or rise have
//! settled (`settled`); each takes as many as it needs, so that no result hangs on what else is in the study. The
//! variances over trials join the shared term of each state and of the rise; t
//! stays with the scatter between loadings alone, and `degrees_of_freedom` stays n − 1 (rule and reason in
//! `numerics::interval`).

use super::effects::{Effect, LiquidTerm, Terms};
use super::params::Params;
use super::result::{Budget, BudgetRow, Remark, SensitivityRow};
use super::settled::settled;
use super::spread::{self, Intervals, Pair, StateSpread};
use super::trials::{BLOCK, Block, Trials};
use super::{budget, sensitivity};
use crate::numerics::fieller::Spread;
use crate::numerics::interval::Interval;
use crate::physics::geometry::Geometry;
use crate::physics::materials::Sample;
use crate::states::result::{Alternative, Reason, State, States, Thickening, bound_of_rise, rise_between};
use std::collections::BTreeMap;

/// Blocks that are drawn for what is only shown beside the results: single terms of a rise, and other choices.
const FEW_BLOCKS: usize = 2;

/// All that the stage gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Joined {
    /// States with joined intervals, and verdicts that stand under every choice.
    pub states: States,
    /// The budget.
    pub budget: Budget,
    /// What choices move.
    pub sensitivity: Vec<SensitivityRow>,
}

/// Joins the intervals of the study, and of the study under every other choice.
pub fn joined(
    states: &States,
    alternatives: &[Alternative],
    samples: &[Sample],
    geometries: &BTreeMap<String, Geometry>,
    seed: u64,
    params: &Params,
) -> Joined {
    let (mut states, mut alternatives) = (states.clone(), alternatives.to_vec());
    let mut budget = Budget { skipped: params.skip, ..Budget::default() };
    if params.skip {
        budget.remarks.push(Remark::TermsLeftOut);
    } else {
        let reversals = std::mem::take(&mut states.reversals);
        let terms = Terms::of_study(&reversals, geometries);
        let mut jobs = vec![Jobs::new(&states.states, &states.thickening, &terms, samples)];
        jobs.extend(alternatives.iter().map(|a| Jobs::new(&a.states, &a.thickening, &terms, samples)));
        budget.remarks.push(run(&mut jobs, Trials::new(&terms.names, samples, seed), params));
        budget.rows = jobs[0].budget(&states.states, &states.thickening, &terms.names);
        let results: Vec<Results> = jobs.iter().map(Jobs::results).collect();
        drop(jobs);
        apply(&mut states.states, &mut states.thickening, &results[0]);
        for (alternative, results) in alternatives.iter_mut().zip(&results[1..]) {
            apply(&mut alternative.states, &mut alternative.thickening, results);
        }
        states.reversals = reversals;
    }
    sensitivity::settle(&mut states, &alternatives);
    let sensitivity = sensitivity::rows(&states, &alternatives);
    Joined { states, budget, sensitivity }
}

/// What is drawn for: the states and rises of the study, or of one alternative to it.
struct Jobs<'a> {
    states: Vec<StateJob<'a>>,
    rises: Vec<Option<RiseJob<'a>>>,
}

/// What was drawn for the states and rises of the study, or of one alternative to it.
struct Results {
    /// Joined intervals of every state.
    intervals: Vec<Intervals>,
    /// What the terms add to N and D of every rise.
    rises: Vec<Spread>,
}

struct StateJob<'a> {
    state: &'a State,
    effects: Vec<Effect>,
    liquid: Option<LiquidTerm>,
    blocks: Vec<StateSpread>,
    done: bool,
}

struct RiseJob<'a> {
    low: &'a State,
    high: &'a State,
    pairs: Vec<Pair>,
    blocks: Vec<Spread>,
    /// By term, then by block.
    parts: Vec<Vec<Spread>>,
    done: bool,
}

impl<'a> Jobs<'a> {
    fn new(states: &'a [State], rises: &[Thickening], terms: &Terms<'_>, samples: &[Sample]) -> Self {
        let job = |state: &'a State| StateJob {
            state,
            effects: terms.on_state(state),
            liquid: LiquidTerm::under(samples.iter().find(|s| s.name == state.sample)),
            blocks: Vec::new(),
            done: false,
        };
        let rise = |row: &Thickening| {
            let (low, high) = ends(states, row)?;
            let pairs = spread::pairs(low, high, terms);
            let parts = vec![Vec::new(); terms.names.len()];
            Some(RiseJob { low, high, pairs, blocks: Vec::new(), parts, done: false })
        };
        Self { states: states.iter().map(job).collect(), rises: rises.iter().map(rise).collect() }
    }

    /// Takes a block in, as far as results still wait for it; `ready` where they may be settled with it.
    fn draw(&mut self, block: &Block, with_parts: bool, ready: bool) {
        for job in self.states.iter_mut().filter(|j| !j.done) {
            job.blocks.push(StateSpread::of_block(job.state, &job.effects, job.liquid.as_ref(), block));
            job.done = ready && job.settled();
        }
        let all: Vec<usize> = (0..block.terms.len()).collect();
        for job in self.rises.iter_mut().flatten().filter(|j| !j.done) {
            job.blocks.push(spread::of_rise(&job.pairs, block, &all));
            for (term, parts) in job.parts.iter_mut().enumerate().filter(|_| with_parts) {
                parts.push(spread::of_rise(&job.pairs, block, &[term]));
            }
            job.done = ready && job.settled();
        }
    }

    fn done(&self) -> bool {
        self.states.iter().all(|j| j.done) && self.rises.iter().flatten().all(|j| j.done)
    }

    /// Joined intervals of every state, and what the terms add to every rise.
    fn results(&self) -> Results {
        let intervals = self.states.iter().map(|j| StateSpread::mean(&j.blocks).intervals(j.state)).collect();
        let rise = |job: &Option<RiseJob<'_>>| job.as_ref().map_or_else(Spread::default, RiseJob::spread);
        Results { intervals, rises: self.rises.iter().map(rise).collect() }
    }

    fn budget(&self, states: &[State], rises: &[Thickening], names: &[String]) -> Vec<BudgetRow> {
        let of_state = states.iter().zip(&self.states);
        let mut rows: Vec<BudgetRow> =
            of_state.flat_map(|(s, job)| budget::of_state(s, names, &job.effects, job.liquid.as_ref())).collect();
        for (row, job) in rises.iter().zip(&self.rises) {
            let Some(job) = job.as_ref().filter(|_| row.contact_share_of_rise.is_some()) else { continue };
            let parts: Vec<Spread> = job.parts.iter().map(|blocks| spread::mean_spread(blocks)).collect();
            let alone = rise_between(job.low, job.high, Spread::default());
            rows.extend(alone.map_or_else(Vec::new, |a| budget::of_rise(&row.sample, &a, names, &parts)));
        }
        rows
    }
}

impl StateJob<'_> {
    fn settled(&self) -> bool {
        let blocks: Vec<Intervals> = self.blocks.iter().map(|b| b.intervals(self.state)).collect();
        let joined = StateSpread::mean(&self.blocks).intervals(self.state);
        let of = |k: usize| blocks.iter().filter_map(|b| b.list()[k]).collect::<Vec<Interval>>();
        joined.list().iter().enumerate().all(|(k, i)| i.is_none_or(|i| settled(&of(k), i.u)))
    }
}

impl RiseJob<'_> {
    fn spread(&self) -> Spread {
        spread::mean_spread(&self.blocks)
    }

    fn settled(&self) -> bool {
        let interval = |spread: Spread| {
            let rise = rise_between(self.low, self.high, spread)?;
            let (low, high) = (rise.interval.map(|i| i.0), rise.interval.map(|i| i.1));
            Some(Interval { value: rise.share, u: rise.u, low, high })
        };
        let blocks: Vec<Interval> = self.blocks.iter().filter_map(|b| interval(*b)).collect();
        interval(self.spread()).is_none_or(|i| settled(&blocks, i.u))
    }
}

/// The two states of a row's ends.
fn ends<'a>(states: &'a [State], row: &Thickening) -> Option<(&'a State, &'a State)> {
    let end = |label: &Option<String>| {
        states.iter().find(|s| s.sample == row.sample && label.is_some() && Some(&s.set_point) == label.as_ref())
    };
    Some((end(&row.set_point_low)?, end(&row.set_point_high)?))
}

/// Draws until the results of the study have settled; says how many trials that took.
fn run(jobs: &mut [Jobs<'_>], mut trials: Trials, params: &Params) -> Remark {
    let fewest = (params.trials as usize).div_ceil(BLOCK).max(FEW_BLOCKS);
    let most = (params.most_trials as usize / BLOCK).max(fewest);
    let mut blocks = 0;
    loop {
        let block = trials.block();
        let few = blocks < FEW_BLOCKS;
        blocks += 1;
        for (k, jobs) in jobs.iter_mut().enumerate().filter(|(k, _)| few || *k == 0) {
            jobs.draw(&block, few && k == 0, k == 0 && blocks >= fewest);
        }
        let settled = jobs.first().is_none_or(Jobs::done);
        if settled || blocks >= most {
            let trials = (blocks * BLOCK) as u64;
            return if settled { Remark::Settled { trials } } else { Remark::NotSettled { trials } };
        }
    }
}

/// Writes joined intervals, and gives shares of rises and verdicts again with the terms joined.
fn apply(states: &mut [State], rises: &mut [Thickening], results: &Results) {
    states.iter_mut().zip(&results.intervals).for_each(|(state, intervals)| intervals.write_into(state));
    for (row, joined) in rises.iter_mut().zip(&results.rises) {
        let Some((low, high)) = ends(states, row) else { continue };
        match row.reason {
            Reason::RiseUnread => row.contact_share_of_rise_bound = bound_of_rise(low, high),
            Reason::RiseElsewhere => {}
            _ => row.settle(rise_between(low, high, *joined).as_ref()),
        }
    }
}

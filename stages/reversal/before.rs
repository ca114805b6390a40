//! The steady stretch before a reversal: how far back it goes, what was held, its viscosity with the error of the
//! mean, and whether it was steady. Nothing after the turning point is read but what decides what was held and
//! the viscosity that the trace recovers to.

use super::find::Turn;
use super::noise::{Window, mean_variance};
use super::params::{Before as Settings, Find};
use super::result::{Controlled, Estimate, Noise};
use super::rules::{DIFFERS, DRIFTS};
use super::trace::{Trace, median, robust_deviation, trapezoid_weights, weighted_mean};
use crate::numerics::float::{exp, ln};
use std::ops::Range;

/// Times its standard deviation that the speed may differ from its median by noise alone.
const NOISE_BAND: f64 = 3.0;

/// Readings in a row that must differ for a change to be one, not noise.
const RUN: usize = 3;

/// Where the stretches around a turn begin and end.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stretches {
    /// Readings before, since the last change of rate, stress or sense; the last is steady still.
    pub(super) before: Range<usize>,
    /// Readings after, to the end of the step or the next change.
    pub(super) after: Range<usize>,
    /// What was held.
    pub(super) controlled: Controlled,
}

/// The stretches around turn number `k` of all turns.
pub(super) fn stretches(
    trace: &Trace,
    turns: &[Turn],
    k: usize,
    find: &Find,
    settings: &Settings,
) -> Option<Stretches> {
    let turn = &turns[k];
    let leg_start = k.checked_sub(1).map_or(0, |j| turns[j].first_after);
    let leg_end = turns.get(k + 1).map_or(trace.len(), |next| next.end_before);
    let end = steady_end(trace, leg_start, turn, settings)?;
    let start = same_step(trace, leg_start, end);
    let near = window_start(trace, start, end, settings.window)..end;
    let segment = turn.first_after..leg_end;
    let controlled = held(trace, turn, near.clone(), segment.clone());
    let after = one_command(trace, segment, controlled, find);
    let command = |i: usize| match controlled {
        Controlled::Rate => trace.rate[i].abs(),
        Controlled::Stress => trace.stress[i].abs(),
    };
    let level = median(near.map(command).collect())?;
    let before = unchanged_since(leg_start..end, command, level, find.rate_change)..end;
    let after = unchanged_until(trace, turn, after, command, find.rate_change);
    let after = after.start..command_start(trace, after);
    Some(Stretches { before, after, controlled })
}

/// One past the last reading before the sense begins to change: speed still within its band, in the old step.
fn steady_end(trace: &Trace, leg_start: usize, turn: &Turn, settings: &Settings) -> Option<usize> {
    let mut stop = turn.end_before;
    // Readings of the new step before the turning point belong to the ramp, unless most of the leg is that step.
    let new = trace.step[turn.first_after];
    let command = (leg_start..stop).rev().take_while(|i| trace.step[*i] == new).last().unwrap_or(stop);
    let segment = (trace.strain[leg_start] - turn.place).abs();
    if command > leg_start && (trace.strain[command.min(stop - 1)] - turn.place).abs() < 0.5 * segment {
        stop = command;
    }
    let near = window_start(trace, leg_start, stop, settings.window)..stop;
    let speeds: Vec<f64> = near.map(|i| trace.rate[i].abs()).collect();
    let level = median(speeds.clone())?;
    let band = (settings.speed_band * level).max(NOISE_BAND * robust_deviation(&speeds)?);
    (leg_start..stop).rev().find(|i| (trace.rate[*i].abs() - level).abs() <= band).map(|i| i + 1)
}

/// First reading within strain `length` before `end`.
fn window_start(trace: &Trace, start: usize, end: usize, length: f64) -> usize {
    let last = end.saturating_sub(1);
    let inside = |i: &usize| (trace.strain[*i] - trace.strain[last]).abs() <= length;
    (start..end).rev().take_while(inside).last().unwrap_or(end)
}

/// First reading of the step that the last reading before `end` belongs to.
fn same_step(trace: &Trace, start: usize, end: usize) -> usize {
    let step = trace.step[end - 1];
    (start..end).rev().take_while(|i| trace.step[*i] == step).last().unwrap_or(start)
}

/// The readings until the motion stops or, held by its rate, takes another speed in another step: what follows is
/// another command, whose strain does not belong to this reversal. An aborted leg ends here, however short it is.
fn one_command(trace: &Trace, after: Range<usize>, controlled: Controlled, find: &Find) -> Range<usize> {
    let speed = |i: usize| trace.rate[i].abs();
    let own = |i: &usize| trace.step[*i] == trace.step[after.start];
    let fastest = after.clone().map(speed).fold(0.0, f64::max);
    let under_way = after.clone().find(|i| speed(*i) > 0.5 * fastest).unwrap_or(after.start);
    let speeds: Vec<f64> = after.clone().take_while(own).map(speed).collect();
    let level = median(speeds).filter(|_| controlled == Controlled::Rate);
    let elsewhere = |i: usize| level.is_some_and(|level| differs(speed(i), level, find.rate_change));
    let ends = |i: &usize| speed(*i) < find.rest * fastest || (!own(i) && elsewhere(*i));
    let stop = after.clone().skip_while(|i| *i < under_way && own(i)).find(ends);
    after.start..stop.unwrap_or(after.end).max(after.start + 1)
}

/// First reading since which the command stays within `change` of its level.
fn unchanged_since(range: Range<usize>, command: impl Fn(usize) -> f64, level: f64, change: f64) -> usize {
    let mut off = 0;
    for i in range.clone().rev() {
        off = if differs(command(i), level, change) { off + 1 } else { 0 };
        if off == RUN {
            return i + RUN;
        }
    }
    // One or two readings at the very beginning are still the ramp.
    range.start + off
}

/// The readings until the command leaves its level at strain 0.3–1 after the turn.
fn unchanged_until(
    trace: &Trace,
    turn: &Turn,
    range: Range<usize>,
    command: impl Fn(usize) -> f64,
    change: f64,
) -> Range<usize> {
    let settled = |i: &usize| (0.3..=1.0).contains(&turn.strain(trace, *i));
    let Some(level) = median(range.clone().filter(settled).map(&command).collect()) else { return range };
    let arrived = |i: usize| turn.strain(trace, i) >= 0.3 && !differs(command(i), level, change);
    let mut off = 0;
    for i in range.clone().skip_while(|i| !arrived(*i)) {
        off = if differs(command(i), level, change) { off + 1 } else { 0 };
        if off == RUN {
            return range.start..i + 1 - RUN;
        }
    }
    range.start..range.end - off
}

/// Readings that a new step may take until its command is seen to differ.
const COMMAND: usize = 10;

/// End of a stretch that a new command ended: where the new step begins, which is a few readings before the drive
/// has moved far enough to be told from noise.
fn command_start(trace: &Trace, stretch: Range<usize>) -> usize {
    let Some(step) = trace.step.get(stretch.end) else { return stretch.end };
    let new = stretch.clone().rev().take_while(|i| trace.step[*i] == *step).take(COMMAND + 1);
    let count = new.count();
    if count <= COMMAND { stretch.end - count } else { stretch.end }
}

fn differs(value: f64, level: f64, change: f64) -> bool {
    (value - level).abs() > change * level
}

/// What is held steadier before the reversal, by blocks of strain; where that does not decide (within a factor of
/// two), what keeps its magnitude across it.
fn held(trace: &Trace, turn: &Turn, near: Range<usize>, after: Range<usize>) -> Controlled {
    let blocks = blocks(trace, near.clone());
    let spread = |pick: fn(&(f64, f64)) -> f64| {
        let values: Vec<f64> = blocks.iter().map(|b| ln(pick(b).abs())).collect();
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / values.len() as f64).sqrt()
    };
    let (rate, stress) = (spread(|b| b.0), spread(|b| b.1));
    if blocks.len() >= 5 && (rate < 0.5 * stress || stress < 0.5 * rate) {
        return if rate < stress { Controlled::Rate } else { Controlled::Stress };
    }
    let early: Vec<usize> = after.filter(|i| (0.02..=0.3).contains(&turn.strain(trace, *i))).collect();
    let kept = |values: &[f64]| {
        let middle = |at: &mut dyn Iterator<Item = usize>| median(at.map(|i| values[i].abs()).collect());
        let (a, b) = (middle(&mut near.clone()), middle(&mut early.iter().copied()));
        a.zip(b).map_or(f64::INFINITY, |(a, b)| ln(b / a).abs())
    };
    if kept(&trace.stress) < kept(&trace.rate) { Controlled::Stress } else { Controlled::Rate }
}

/// Mean rate (from the motion) and mean stress of up to ten blocks of equal strain.
fn blocks(trace: &Trace, near: Range<usize>) -> Vec<(f64, f64)> {
    let kept = trace.kept_in(near);
    let (Some(first), Some(last)) = (kept.first(), kept.last()) else { return Vec::new() };
    let length = (trace.strain[*last] - trace.strain[*first]).abs();
    let block = |i: &usize| ((trace.strain[*i] - trace.strain[*first]).abs() / length * 10.0).min(9.0) as usize;
    let groups = kept.chunk_by(|a, b| block(a) == block(b)).filter(|g| g.len() >= 2);
    groups
        .map(|g| {
            let (a, b) = (g[0], g[g.len() - 1]);
            let stress = g.iter().map(|i| trace.stress[*i]).sum::<f64>() / g.len() as f64;
            ((trace.strain[b] - trace.strain[a]) / (trace.time[b] - trace.time[a]), stress)
        })
        .collect()
}

/// A window of steady shear with its means; the noise is not known yet.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Steady {
    /// Readings.
    pub(super) readings: Vec<usize>,
    /// Strain and ln η for the noise.
    pub(super) window: Window,
    /// Strain covered.
    pub(super) length: f64,
    /// |stress| averaged over the window, Pa.
    pub(super) stress: f64,
    /// |rate| from the motion over the window, 1/s.
    pub(super) rate: f64,
    /// Independent readings of the same weight.
    pub(super) effective: f64,
}

impl Steady {
    /// Viscosity, Pa s.
    pub(super) fn viscosity(&self) -> f64 {
        self.stress / self.rate
    }

    /// Relative standard uncertainty of the viscosity.
    pub(super) fn u_relative(&self, noise: &Noise) -> f64 {
        self.window.u_mean(noise, self.effective)
    }
}

/// The window of strain `length` that ends with the stretch. Where that has too few readings it reaches further
/// back, but not into the transient after the last change; where no more was recorded it is shorter.
pub(super) fn window(trace: &Trace, stretch: Range<usize>, length: f64, settings: &Settings) -> Option<Steady> {
    let start = stretch.start;
    let kept = trace.kept_in(stretch);
    let last = *kept.last()?;
    let strain = |a: usize, b: usize| (trace.strain[a] - trace.strain[b]).abs();
    let inside = kept.iter().filter(|i| strain(**i, last) <= length).count();
    let settled = kept.iter().filter(|i| strain(**i, start) >= settings.settled).count();
    let count = inside.max(settled.min(settings.readings as usize));
    let found = steady(trace, kept[kept.len() - count..].to_vec());
    found.filter(|s| s.readings.len() >= settings.fewest as usize && s.length >= settings.shortest.min(0.9 * length))
}

/// Means over readings: ∫σ dt/Δt and Δγ/Δt, so that η = σ/γ̇ is the strain-weighted mean of σ/γ̇ and the noise of
/// single rates does not enter.
pub(super) fn steady(trace: &Trace, readings: Vec<usize>) -> Option<Steady> {
    let (first, last) = (*readings.first()?, *readings.last()?);
    let time: Vec<f64> = readings.iter().map(|i| trace.time[*i]).collect();
    let weights = trapezoid_weights(&time);
    let lapse = trace.time[last] - trace.time[first];
    let length = (trace.strain[last] - trace.strain[first]).abs();
    let sum: f64 = weights.iter().sum();
    let squares: f64 = weights.iter().map(|w| w * w).sum();
    let window = Window {
        strain: readings.iter().map(|i| (trace.strain[*i] - trace.strain[first]).abs()).collect(),
        ln_viscosity: readings.iter().map(|i| ln(trace.viscosity(*i))).collect(),
    };
    let stress = weighted_mean(readings.iter().map(|i| trace.stress[*i]), &weights).abs();
    let usable = length > 0.0 && stress > 0.0 && window.ln_viscosity.iter().all(|v| v.is_finite());
    usable.then(|| Steady { window, length, stress, rate: length / lapse, effective: sum * sum / squares, readings })
}

/// Relative change of viscosity over the window by generalised least squares.
pub(super) fn drift(steady: &Steady, noise: &Noise) -> Option<Estimate> {
    let line = steady.window.line(noise)?;
    Some(Estimate { value: line.slope * steady.length, u: line.u_slope * steady.length })
}

/// ln(viscosity recovered/before): recovered is the mean over the last strain 1, where enough was recorded.
pub(super) fn recovery(
    trace: &Trace,
    turn: &Turn,
    after: Range<usize>,
    before: &Steady,
    noise: &Noise,
    settings: &Settings,
) -> Option<Estimate> {
    let kept = trace.kept_in(after);
    let last = *kept.last()?;
    let recorded = turn.strain(trace, last);
    let readings: Vec<usize> = kept.into_iter().filter(|i| turn.strain(trace, *i) >= recorded - 1.0).collect();
    let late = steady(trace, readings).filter(|s| recorded >= settings.recovery_strain && s.readings.len() >= RUN)?;
    let variance =
        mean_variance(noise, late.length, late.effective) + mean_variance(noise, before.length, before.effective);
    Some(Estimate { value: ln(late.viscosity() / before.viscosity()), u: variance.sqrt() })
}

/// Steady by both tests.
pub(super) fn is_steady(drift: Option<Estimate>, recovery: Option<Estimate>, settings: &Settings) -> bool {
    let drifts = |d: Estimate| d.value.abs() > DRIFTS * d.u && d.value.abs() > settings.drift;
    let differs = |r: Estimate| r.value.abs() > DIFFERS * r.u && (exp(r.value) - 1.0).abs() > settings.recovery;
    !drift.is_some_and(drifts) && !recovery.is_some_and(differs)
}

//! Read errors as they are: made-up traces of whole states, read by the stages, each with its error against what was
//! put in. A study takes a state's errors as they stand, with all that its reversals have in common.
//!
//! The traces are sheared at a held rate by a drive with inertia, on a sample whose viscosity wanders with strain. Of
//! a state, all reversals share the shape of the transient; shapes differ widely from state to state, and their dip
//! and release are not those that the stages fit.

use super::chain::{self, Label};
use super::laboratory::{Declared, True};
use super::{Design, parallel};
use crate::instrument::{Motion, Order, Reading, Sampling, TICK, Told, leg};
use crate::material::Transient;
use crate::random::Stream;
use crate::resampling;
use stages::reversal::result::{Graded, GradedRun};

/// Strain of the first leg, and of each reversed one.
const LEGS: (f64, f64) = (6.0, 5.0);
/// Strain between two readings late in a leg.
const READING_STRAIN: f64 = 0.04;
/// Shares from low to high, in strata, so that every true state finds errors read at nearly its own share.
const SHARES: (f64, f64) = (0.15, 0.90);

/// One reversal as read, with what was put in.
pub(super) struct Read {
    /// As judged, without curves.
    pub(super) graded: Graded,
    /// ln(viscosity before): read less true.
    pub(super) ln_viscosity: f64,
    /// −ln(1 − X): read less true; none where nothing was read.
    pub(super) z: Option<f64>,
    /// Relative standard error of the viscosity before as blocks of its window, resampled, give it.
    pub(super) u_by_blocks: f64,
}

/// A loading: its run without reversals, and these.
pub(super) struct PoolLoading {
    pub(super) run: GradedRun,
    pub(super) reversals: Vec<Read>,
}

/// A state: its true share, and its loadings.
pub(super) struct PoolState {
    pub(super) share: f64,
    pub(super) loadings: Vec<PoolLoading>,
}

/// What a run of one state is sheared with.
pub(super) struct Sheared {
    /// True rate, 1/s, and steady viscosity, Pa s.
    pub(super) rate: f64,
    pub(super) viscosity: f64,
    /// Wander of ln(viscosity), standard deviation.
    pub(super) wander: f64,
    /// The transient of every reversal.
    pub(super) transients: Vec<Transient>,
}

/// `n` states of this design, in order of share; `pool` numbers independent pools.
///
/// # Errors
/// What the stages say.
pub(super) fn pool(design: &Design, pool: usize, n: usize, seed: u64) -> Result<Vec<PoolState>, String> {
    let name = |k: usize| format!("{} pool {pool} state {k}", design.name);
    parallel(n, |k| state(design, (k as f64 + 0.5) / n as f64, &name(k), seed)).into_iter().collect()
}

fn state(design: &Design, place: f64, name: &str, seed: u64) -> Result<PoolState, String> {
    let declared = Declared::standard();
    let truth = declared.taken_as_true();
    let mut draw = Stream::named(seed, name);
    let share = SHARES.0 + (SHARES.1 - SHARES.0) * place;
    let transient = shape(share, &mut draw);
    let (rate, viscosity) = (libm::exp(draw.around(libm::log(0.5), 0.4)), libm::exp(draw.around(libm::log(40.0), 0.5)));
    let wander = 0.005 + 0.015 * draw.uniform();
    let loading = |(l, repeats): (usize, &usize)| {
        let sheared = Sheared { rate, viscosity, wander, transients: vec![transient; *repeats] };
        let mut noise = Stream::named(seed, &format!("{name} loading {l}"));
        let readings = trace(&sheared, &truth, &mut noise);
        let label = Label { run: "raw/pool.csv", sample: 0, loading: "L" };
        let mut run = chain::graded(&readings, &label, &declared)?;
        let reversals = std::mem::take(&mut run.reversals).into_iter();
        let read = |graded: Graded| {
            let u_by_blocks = by_blocks(&readings, graded.read.number as usize, &truth);
            compared(graded, viscosity, share, u_by_blocks)
        };
        Ok(PoolLoading { reversals: reversals.map(read).collect(), run })
    };
    let loadings: Result<Vec<_>, String> = design.repeats.iter().enumerate().map(loading).collect();
    Ok(PoolState { share, loadings: loadings? })
}

/// A transient of this share. Dips from none to deep, quick and slow returns; half of the states give back a little at
/// once, of either sign.
pub(super) fn shape(share: f64, draw: &mut Stream) -> Transient {
    let dip = 0.4 * draw.uniform();
    let release = if draw.uniform() < 0.5 { 0.0 } else { 0.08 * share * (draw.uniform() - 0.5) };
    Transient {
        share,
        dip,
        dip_strain: libm::exp(draw.around(libm::log(0.2), 0.25)),
        delay: 0.05 * draw.uniform(),
        spread: libm::exp(draw.around(libm::log(0.36), 0.3)),
        exponent: 0.9 + 0.9 * draw.uniform(),
        release,
        release_strain: 0.003 + 0.005 * draw.uniform(),
    }
}

/// Readings of a run: one leg from rest, then the reversals, one after the other.
pub(super) fn trace(sheared: &Sheared, truth: &True, noise: &mut Stream) -> Vec<Reading> {
    let rheometer = truth.rheometer();
    let ticks = |strain: f64| (strain / sheared.rate / TICK).ceil() as u64;
    let mut readings = Vec::new();
    let mut motion = Motion::default();
    for step in 0..=sheared.transients.len() {
        let sense = if step % 2 == 0 { 1.0 } else { -1.0 };
        let length = ticks(if step == 0 { LEGS.0 } else { LEGS.1 });
        let sampling = Sampling { first: 10, longest: ticks(READING_STRAIN), length };
        let told = Told::Speed(sense * sheared.rate * truth.cone.angle_per_strain());
        let order = Order { step: step + 1, told, sampling, wander: sheared.wander };
        let ratio = |strain: f64| match step {
            0 => 1.0 - 0.25 * libm::exp(-strain.max(0.0) / 0.4),
            _ if strain < 0.0 => 1.0,
            _ => sheared.transients[step - 1].ratio(strain),
        };
        let (more, end) = leg(&rheometer, order, motion, noise, |strain| sheared.viscosity * ratio(strain));
        readings.extend(more);
        motion = end;
    }
    readings
}

/// Relative standard error of the mean viscosity over the last strain 2 of a leg, from circular blocks. The rate is held,
/// so the torque stands for the viscosity.
fn by_blocks(readings: &[Reading], step: usize, truth: &True) -> f64 {
    let leg: Vec<&Reading> = readings.iter().filter(|r| r.step == step).collect();
    let end = leg.last().map_or(0.0, |r| r.angle);
    let inside = |r: &&&Reading| (r.angle - end).abs() <= 2.0 * truth.cone.angle_per_strain();
    let series: Vec<f64> = leg.iter().filter(inside).map(|r| libm::log(r.torque.abs())).collect();
    resampling::error_of_mean(&series, resampling::block_length(&series))
}

fn compared(mut graded: Graded, viscosity: f64, share: f64, u_by_blocks: f64) -> Read {
    let before = graded.read.before.as_ref().map_or(f64::NAN, |b| b.viscosity_pa_s.value);
    let z = graded.contact_share.filter(|x| x.value < 1.0).map(|x| libm::log1p(-share) - libm::log1p(-x.value));
    if let Some(after) = &mut graded.read.after {
        (after.curve, after.bins, after.forms) = (Vec::new(), Vec::new(), Vec::new());
    }
    Read { graded, ln_viscosity: libm::log(before / viscosity), z, u_by_blocks }
}

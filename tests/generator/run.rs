//! One run: a loading taken through its set-points, three legs each. Joins sample and rheometer; writes nothing down.

use super::campaign::{Bench, Flaws, LEGS, Plan, Sample, SetPoint, World};
use super::instrument::{Motion, Order, Reading, Sampling, TICK, Told, leg};
use super::material::{Steady, Transient};
use super::random::Stream;
use super::truth::ReversalTruth;

/// A run as measured, and what was true of its reversals.
pub(crate) struct Measured {
    pub(crate) readings: Vec<Reading>,
    pub(crate) reversals: Vec<ReversalTruth>,
}

/// Scatter, as standard deviations: ln(viscosity) of a loading and of a set-point in it, −ln(1 − share) of a loading,
/// of a set-point in it, and of a reversal.
const SCATTER: Scatter =
    Scatter { viscosity: 0.025, viscosity_here: 0.006, share: 0.030, share_here: 0.010, share_again: 0.012 };
/// Growth of ln(viscosity) with time as the rim dries, 1/s.
const DRYING: f64 = 0.03 / 3600.0;
/// Fall of ln(viscosity) with strain at the set-point that never gets steady.
const FALL: f64 = 0.03;
/// Strain over which a sheared slurry gets used to a new rate.
const SETTLING: f64 = 0.4;
/// Standard deviation by which ln(viscosity) of a slurry wanders as grains rearrange.
const WANDER: f64 = 0.008;
/// Strain by which a reading must have begun to tell the liquid's level from the contacts that return.
const READABLE: f64 = 0.03;
/// Strain at which the aborted leg stops.
const ABORTED_AT: f64 = 0.15;
/// Strain between two readings late in a leg.
const READING_STRAIN: f64 = 0.04;

struct Scatter {
    viscosity: f64,
    viscosity_here: f64,
    share: f64,
    share_here: f64,
    share_again: f64,
}

/// A loading under way.
struct Course<'a> {
    world: &'a World,
    plan: &'a Plan,
    sample: &'a Sample,
    /// Draws of the material; those of the instrument have a stream of their own.
    material: Stream,
    noise: Stream,
    motion: Motion,
    /// Viscosity at which the last leg ended, Pa s.
    viscosity: f64,
    /// ln(viscosity) and −ln(1 − share) of this loading over those of the sample.
    loading: (f64, f64),
    measured: Measured,
}

/// Measures one run.
pub(crate) fn measure(world: &World, plan: &Plan, seed: u64) -> Measured {
    let empty = Measured { readings: Vec::new(), reversals: Vec::new() };
    let Some(sample) = world.sample(plan) else { return empty };
    let mut material = Stream::named(seed, &format!("{} material", plan.stream));
    let scatter = if sample.is_control() { 0.0 } else { 1.0 };
    let loading = (
        material.around(0.0, scatter * SCATTER.viscosity) + libm::log1p(-plan.flaws.dry_rim),
        material.around(0.0, scatter * SCATTER.share),
    );
    let noise = Stream::named(seed, &format!("{} readings", plan.stream));
    let motion = Motion::default();
    let mut course = Course { world, plan, sample, material, noise, motion, viscosity: 0.0, loading, measured: empty };
    for (number, set_point) in plan.set_points.iter().enumerate() {
        course.set_point(number, *set_point);
    }
    let mut accidents = Stream::named(seed, &format!("{} accidents", plan.stream));
    spoil(&mut course.measured.readings, &plan.flaws, &mut accidents);
    course.measured
}

impl Course<'_> {
    fn set_point(&mut self, number: usize, set_point: SetPoint) {
        let held = self.world.held(self.sample.bench, set_point);
        let here = if self.sample.is_control() { 0.0 } else { self.material.around(0.0, SCATTER.viscosity_here) };
        let steady = self.sample.steady(held, libm::exp(self.loading.0 + here));
        let base = self.base(&steady);
        let fall = if self.plan.flaws.never_steady == Some(number) { FALL } else { 0.0 };
        let mut strained = 0.0;
        for (which, length) in LEGS.into_iter().enumerate() {
            let aborted = which == 2 && self.plan.flaws.aborted == Some(number);
            let length = if aborted { ABORTED_AT } else { length };
            let dried = libm::exp(DRYING * self.motion.ticks as f64 * TICK - fall * strained);
            let state = Steady { viscosity: steady.viscosity * dried, ..steady };
            let order = Leg { step: 3 * number + which + 1, sense: [1.0, -1.0, 1.0][which], length, held, fall };
            if which == 0 {
                self.run_on(order, &state);
            } else {
                self.reverse(order, &state, base, set_point, aborted);
            }
            strained += length;
        }
    }

    /// What the reversals of one set-point have in common.
    fn base(&mut self, steady: &Steady) -> Transient {
        if self.sample.is_control() {
            return Transient::NONE;
        }
        let draw = &mut self.material;
        let z = -libm::log1p(-steady.share) + self.loading.1 + draw.around(0.0, SCATTER.share_here);
        Transient {
            share: -libm::expm1(-z),
            dip: draw.around(0.15, 0.03).clamp(0.05, 0.25),
            dip_strain: draw.around(0.20, 0.03).clamp(0.1, 0.4),
            delay: draw.around(0.03, 0.006).clamp(0.01, 0.06),
            spread: draw.around(0.36, 0.04).clamp(0.2, 0.6),
            exponent: draw.around(1.2, 0.06),
            release: -0.05,
            release_strain: draw.around(0.0035, 0.0005).clamp(0.002, 0.006),
        }
    }

    /// A leg in the sense in which the tool moves already, or from rest.
    fn run_on(&mut self, order: Leg, state: &Steady) {
        let from = if self.viscosity > 0.0 { self.viscosity / state.viscosity } else { 0.75 };
        let viscosity = |strain: f64| {
            let settling = 1.0 + (from - 1.0) * libm::exp(-strain.max(0.0) / SETTLING);
            state.viscosity * settling * libm::exp(-order.fall * strain.max(0.0))
        };
        self.drive(order, state, viscosity);
    }

    /// A leg against the sense in which the tool moves.
    fn reverse(&mut self, order: Leg, state: &Steady, base: Transient, set_point: SetPoint, aborted: bool) {
        let again = if self.sample.is_control() { 0.0 } else { self.material.around(0.0, SCATTER.share_again) };
        let share = 1.0 - (1.0 - base.share) * libm::exp(-again);
        let transient = Transient { share, release: base.release * share, ..base };
        self.record(&order, state, share, set_point, aborted);
        let before = self.viscosity;
        let viscosity = |strain: f64| {
            if strain < 0.0 {
                before
            } else {
                state.viscosity * transient.ratio(strain) * libm::exp(-order.fall * strain)
            }
        };
        self.drive(order, state, viscosity);
    }

    fn drive(&mut self, order: Leg, state: &Steady, viscosity: impl Fn(f64) -> f64) {
        let rheometer = self.world.rheometer(self.sample.bench);
        let (told, rate) = match self.sample.bench {
            Bench::Hall => (Told::Speed(order.sense * order.held * rheometer.cone.angle_per_strain()), order.held),
            Bench::Attic => {
                let torque = order.held * rheometer.cone.torque_per_stress();
                (Told::Torque(order.sense * torque), order.held / state.viscosity)
            }
        };
        let sampling = Sampling {
            first: if self.sample.bench == Bench::Hall && rate > 0.3 { 10 } else { 20 },
            longest: ticks(READING_STRAIN / rate),
            length: ticks(order.length / rate),
        };
        let wander = if self.sample.is_control() { 0.0 } else { WANDER };
        let to_do = Order { step: order.step, told, sampling, wander };
        let (readings, motion) = leg(rheometer, to_do, self.motion, &mut self.noise, &viscosity);
        self.measured.readings.extend(readings);
        self.viscosity = viscosity(order.length);
        self.motion = motion;
    }

    fn record(&mut self, order: &Leg, state: &Steady, share: f64, set_point: SetPoint, aborted: bool) {
        let (rate, stress) = match self.sample.bench {
            Bench::Hall => (order.held, order.held * state.viscosity),
            Bench::Attic => (order.held / state.viscosity, order.held),
        };
        self.measured.reversals.push(ReversalTruth {
            run: self.plan.path.clone(),
            step: order.step,
            sample: self.sample.name,
            loading: self.plan.loading,
            bench: self.sample.bench,
            set_point,
            phi: self.sample.phi,
            rate,
            stress,
            viscosity: state.viscosity,
            share,
            flaw: self.flaw(order, aborted),
        });
    }

    /// The flaw that a reader should find.
    fn flaw(&self, order: &Leg, aborted: bool) -> &'static str {
        let flaws = &self.plan.flaws;
        match () {
            () if flaws.dry_rim > 0.0 => "set aside",
            () if flaws.below_floor => "below the torque floor",
            () if aborted => "aborted",
            () if order.fall > 0.0 => "never steady",
            () if self.settling_strain(order.held) > READABLE => "hidden by the drive",
            () => "",
        }
    }

    /// Strain after the turning point at which a held speed is within 2 % of what it should be; 0 where none is held.
    ///
    /// From −1 to +1 the critically damped drive passes 0 at 1.678 and 0.98 at 6.638 of its time constants, and its
    /// speed adds up to 3.61 in between.
    fn settling_strain(&self, rate: f64) -> f64 {
        match self.sample.bench {
            Bench::Hall => 3.61 * rate / self.world.rheometer(Bench::Hall).drive,
            Bench::Attic => 0.0,
        }
    }
}

/// What one leg is to do.
#[derive(Clone, Copy)]
struct Leg {
    step: usize,
    sense: f64,
    length: f64,
    held: f64,
    fall: f64,
}

fn ticks(seconds: f64) -> u64 {
    (seconds / TICK).ceil() as u64
}

/// Spikes come by the clock, not by the reading: somebody shuts a door. Blanks come by the reading.
fn spoil(readings: &mut [Reading], flaws: &Flaws, accidents: &mut Stream) {
    let Some(end) = readings.last().map(|reading| reading.time) else { return };
    for _ in 0..4 + accidents.below(4) {
        let when = end * accidents.uniform();
        let size = (0.15 + 0.45 * accidents.uniform()) * if accidents.uniform() < 0.5 { -1.0 } else { 1.0 };
        let at = readings.partition_point(|reading| reading.time < when);
        readings[at].torque *= 1.0 + size;
    }
    for _ in 0..flaws.blanks {
        let at = accidents.below(readings.len());
        readings[at].torque = f64::NAN;
    }
}

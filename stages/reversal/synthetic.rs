//! Made-up noise, transients and runs for tests, written apart from the code that fits them.

use crate::clean::result::{CleanNotes, Flags, MotionSource, Points};
use crate::physics::geometry::{Geometry, Shape};
use crate::physics::instrument::Instrument;
use crate::physics::materials::{Liquid, Sample};
use crate::physics::quantity::Quantity;

/// Random numbers for tests: SplitMix64 (G. L. Steele et al., OOPSLA 2014) and Box–Muller.
pub(super) struct Draws(u64);

impl Draws {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15))
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in [0, 1).
    pub(super) fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Standard normal.
    #[allow(clippy::disallowed_methods)]
    pub(super) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// A cone of 20 mm and 2°.
pub(super) fn cone() -> Geometry {
    Geometry {
        name: "cone".to_owned(),
        shape: Shape::ConePlate {
            radius: Quantity { value: 0.020, u: 2e-5 },
            angle: Quantity { value: 0.0349066, u: 2e-4 },
            truncation: None,
        },
        inertia: None,
    }
}

/// An instrument whose floor does not matter.
pub(super) fn bench() -> Instrument {
    Instrument {
        name: "bench".to_owned(),
        inertia: Some(Quantity { value: 2e-5, u: 2e-6 }),
        torque_floor: Some(1e-8),
        torque_ceiling: None,
        torque_calibration: Some(0.005),
        compliance: None,
    }
}

/// A sample in water of density 1000 kg/m³.
pub(super) fn sample(control: bool) -> Sample {
    let liquid = Liquid {
        name: "carrier".to_owned(),
        viscosity: None,
        density: Some(Quantity::exact(1000.0)),
        composition: None,
    };
    Sample { name: "A".to_owned(), liquid, particles: None, volume_fraction: None, control }
}

/// What clean says about an angle with the inertia taken off.
pub(super) fn notes() -> CleanNotes {
    CleanNotes { inertia_corrected: true, motion: MotionSource::Angle, ..CleanNotes::default() }
}

/// How a made-up run is sheared and read.
#[derive(Debug, Clone)]
pub(super) struct Protocol {
    /// Rate, 1/s.
    pub(super) rate: f64,
    /// Time from one sense to the other, s.
    pub(super) ramp: f64,
    /// Interval of the first readings of a leg, s, and how many.
    pub(super) fine: (f64, usize),
    /// Interval of the others, s.
    pub(super) coarse: f64,
    /// Strain of each leg; senses alternate, the first is `sense`.
    pub(super) segments: Vec<f64>,
    /// +1 or −1.
    pub(super) sense: f64,
    /// Steady viscosity, Pa s.
    pub(super) viscosity: f64,
    /// White noise of torque over steady torque, and wander of ln η with its strain length.
    pub(super) noise: (f64, f64, f64),
    /// Torque that does not change with the sense, over steady torque.
    pub(super) offset: f64,
    /// The stress is held: the rate answers with the inverse of the transient.
    pub(super) stress_held: bool,
}

impl Default for Protocol {
    fn default() -> Self {
        Self {
            rate: 0.5,
            ramp: 0.006,
            fine: (0.002, 500),
            coarse: 0.04,
            segments: vec![6.0, 6.0, 6.0],
            sense: 1.0,
            viscosity: 20.0,
            noise: (0.005, 0.01, 0.1),
            offset: 0.0,
            stress_held: false,
        }
    }
}

impl Protocol {
    /// The run of a liquid whose viscosity after reversal is `transient(strain)` times the steady one.
    pub(super) fn points(&self, draws: &mut Draws, transient: impl Fn(f64) -> f64) -> Points {
        let constants = cone().constants();
        let (white, wander, length) = self.noise;
        let mut points = Points::default();
        let (mut begin, mut place, mut wandering, mut path) = (0.0, 0.0, draws.normal(), 0.0);
        for (segment, strain) in self.segments.iter().enumerate() {
            let sense = if segment % 2 == 0 { self.sense } else { -self.sense };
            // In steps of time that keep up with both ramp and reading.
            let mut time = 0.0;
            let (mut since, mut taken, mut next) = (0.0, 0, self.fine.0);
            let tick = self.fine.0 / 8.0;
            while since < *strain {
                time += tick;
                let command = if segment == 0 { 1.0 } else { (2.0 * time / self.ramp - 1.0).min(1.0) };
                let structure = if segment == 0 || command < 0.0 { 1.0 } else { transient(since) };
                // Where the stress is held, structure and wander show in the speed.
                let held = structure * (1.0 + wander * wandering);
                let speed = self.rate * command / if self.stress_held { held } else { 1.0 };
                place += sense * speed * tick;
                since += speed.max(0.0) * tick;
                path += speed.abs() * tick;
                if time + 1e-12 < next {
                    continue;
                }
                taken += 1;
                next += if taken < self.fine.1 { self.fine.0 } else { self.coarse };
                #[allow(clippy::disallowed_methods)]
                let keep = (-path / length).exp();
                path = 0.0;
                wandering = keep * wandering + (1.0 - keep * keep).sqrt() * draws.normal();
                let level = if self.stress_held {
                    sense * self.rate * command
                } else {
                    sense * speed * structure * (1.0 + wander * wandering)
                };
                let stress = self.viscosity * (level + self.rate * (self.offset + white * draws.normal()));
                points.row.push(points.row.len() as u32 + 1);
                points.step.push(segment as i64 + 1);
                points.time_s.push(begin + time);
                points.strain.push(place);
                points.rate_per_s.push(sense * speed);
                points.stress_pa.push(stress);
                points.inertia_torque_n_m.push(if command < 1.0 { sense * 4e-6 } else { 0.0 });
            }
            begin += time;
        }
        let n = points.row.len();
        points.sample_torque_n_m = points.stress_pa.iter().map(|s| s / constants.stress_per_torque).collect();
        points.torque_n_m = points.sample_torque_n_m.clone();
        points.speed_rad_per_s = points.rate_per_s.iter().map(|r| r / constants.rate_per_speed).collect();
        points.viscosity_pa_s = points.stress_pa.iter().zip(&points.rate_per_s).map(|(s, r)| s / r).collect();
        let none = || vec![f64::NAN; n];
        (points.normal_force_n, points.temperature_c) = (none(), none());
        (points.set_stress_pa, points.set_rate_per_s) = (none(), none());
        points.flags = vec![Flags::default(); n];
        points
    }
}

/// Transients that are not made of the terms that are fitted: contacts that return on two scales or as tanh²,
/// a dip that is the difference of two exponentials, as in the particle simulations; an elastic release.
#[derive(Debug, Clone, Copy)]
pub(super) struct Transient {
    /// Contact share.
    pub(super) share: f64,
    /// Depth of the dip.
    pub(super) dip: f64,
    /// Strain of contacts.
    pub(super) scale: f64,
    /// Contacts return as tanh² instead of on two scales.
    pub(super) late: bool,
    /// Amplitude of an elastic release over strain 0.005.
    pub(super) release: f64,
}

impl Transient {
    #[allow(clippy::disallowed_methods)]
    pub(super) fn at(&self, strain: f64) -> f64 {
        let x = strain / self.scale;
        let contacts = if self.late { x.tanh().powi(2) } else { 1.0 - 0.4 * (-2.5 * x).exp() - 0.6 * (-x).exp() };
        // Falls over strain 0.1, returns over 0.5; 1.869 makes the deepest place 1.
        let bump = 1.869 * ((-strain / 0.5).exp() - (-strain / 0.1).exp());
        (1.0 - self.share) * (1.0 - self.dip * bump) + self.share * contacts + self.release * (-strain / 0.005).exp()
    }
}

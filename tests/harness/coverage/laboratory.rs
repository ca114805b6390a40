//! The invented laboratory: what it declares with its standard uncertainties, and what is true of it in one study.

use crate::instrument::{Cone, Rheometer};
use crate::material::Beads;
use crate::random::Stream;
use stages::physics::geometry::{Geometry, Shape};
use stages::physics::instrument::Instrument;
use stages::physics::materials::{Liquid, Sample};
use stages::physics::quantity::Quantity;

/// The beads: what fits and shares are held to.
pub(super) const BEADS: Beads = Beads {
    phi_0: 0.645,
    phi_m: 0.575,
    sigma_star: 7.0,
    beta: 0.95,
    amplitude: 0.95,
    share_at_low_stress: 0.28,
    share_of_rise: 0.80,
};

/// Solid fractions of the samples.
pub(super) const FRACTIONS: [f64; 3] = [0.44, 0.49, 0.53];
/// Held stresses, Pa, as the operator typed them.
pub(super) const STRESSES: [f64; 5] = [0.6, 2.4, 10.0, 40.0, 160.0];

/// What is declared: each quantity with its standard uncertainty; all of them the same in every study.
#[derive(Clone, Copy)]
pub(super) struct Declared {
    pub(super) fractions: [Quantity; 3],
    liquid: Quantity,
    radius: Quantity,
    angle: Quantity,
    inertia: Quantity,
    /// Relative standard uncertainty of the torque.
    calibration: f64,
}

/// What is true in one study: a draw of everything declared.
#[derive(Clone, Copy)]
pub(super) struct True {
    pub(super) fractions: [f64; 3],
    /// Viscosity of the liquid, Pa s.
    pub(super) liquid: f64,
    pub(super) cone: Cone,
    /// Moment of inertia, and how far the declared one lies above it, in standard uncertainties.
    pub(super) inertia: f64,
    pub(super) inertia_off: f64,
    /// Torque shown over true torque.
    pub(super) calibration: f64,
}

impl Declared {
    pub(super) fn standard() -> Self {
        let of = |value: f64, u: f64| Quantity { value, u };
        Self {
            fractions: FRACTIONS.map(|phi| of(phi, 0.002)),
            liquid: of(1.62, 0.01 * 1.62),
            radius: of(25.0e-3, 0.025e-3),
            angle: of(2.0 * std::f64::consts::PI / 180.0, 0.01 * std::f64::consts::PI / 180.0),
            inertia: of(95.0e-6, 4.0e-6),
            calibration: 0.01,
        }
    }

    /// As a reader would declare it to whom everything true was told.
    pub(super) fn exactly(truth: &True) -> Self {
        Self {
            fractions: truth.fractions.map(Quantity::exact),
            liquid: Quantity::exact(truth.liquid),
            radius: Quantity::exact(truth.cone.radius),
            angle: Quantity::exact(truth.cone.angle),
            inertia: Quantity::exact(truth.inertia),
            calibration: 0.0,
        }
    }

    /// Whether anything is declared with an uncertainty.
    pub(super) fn is_uncertain(&self) -> bool {
        let all = [self.liquid, self.radius, self.angle, self.inertia];
        self.calibration > 0.0 || all.iter().chain(&self.fractions).any(|q| q.u > 0.0)
    }

    /// Everything as declared: what the readings of the pool are taken with.
    pub(super) fn taken_as_true(&self) -> True {
        True {
            fractions: self.fractions.map(|q| q.value),
            liquid: self.liquid.value,
            cone: self.cone(),
            inertia: self.inertia.value,
            inertia_off: 0.0,
            calibration: 1.0,
        }
    }

    /// What is true in the study of this number: each term from a stream of its own.
    pub(super) fn draw(&self, seed: u64) -> True {
        let normal = |name: &str| Stream::named(seed, name).normal();
        let around = |name: &str, q: Quantity| q.value + q.u * normal(name);
        let inertia_off = normal("inertia");
        True {
            fractions: std::array::from_fn(|s| around(&format!("fraction {s}"), self.fractions[s])),
            liquid: around("liquid", self.liquid),
            cone: Cone { radius: around("radius", self.radius), angle: around("angle", self.angle) },
            inertia: self.inertia.value - self.inertia.u * inertia_off,
            inertia_off,
            calibration: 1.0 + self.calibration * normal("calibration"),
        }
    }

    pub(super) fn cone(&self) -> Cone {
        Cone { radius: self.radius.value, angle: self.angle.value }
    }

    pub(super) fn geometry(&self) -> Geometry {
        let shape = Shape::ConePlate { radius: self.radius, angle: self.angle, truncation: None };
        Geometry { name: "cone".to_owned(), shape, inertia: None }
    }

    pub(super) fn instrument(&self) -> Instrument {
        Instrument {
            name: "bench".to_owned(),
            inertia: Some(self.inertia),
            torque_floor: Some(5e-7),
            torque_ceiling: None,
            torque_calibration: Some(self.calibration).filter(|u| *u > 0.0),
            compliance: None,
        }
    }

    pub(super) fn sample(&self, place: usize) -> Sample {
        let density = Some(Quantity::exact(872.0));
        Sample {
            name: format!("S{place}"),
            liquid: Liquid { name: "oil".to_owned(), viscosity: Some(self.liquid), density, composition: None },
            particles: None,
            volume_fraction: Some(self.fractions[place]),
            control: false,
        }
    }

    pub(super) fn samples(&self) -> Vec<Sample> {
        (0..self.fractions.len()).map(|s| self.sample(s)).collect()
    }
}

impl True {
    /// The rheometer as it is; its noise is that of a good instrument, well above the torque floor.
    pub(super) fn rheometer(&self) -> Rheometer {
        Rheometer {
            cone: self.cone,
            inertia: self.inertia,
            drive: 450.0,
            calibration: self.calibration,
            offset: 0.0,
            torque_noise: 0.05e-6,
            relative_noise: 0.003,
            angle_noise: 3.0e-9,
            speed_noise: 0.0,
        }
    }

    /// True stress, Pa, where the operator typed `stress` and the instrument reckons with what is declared.
    pub(super) fn held_stress(&self, stress: f64, declared: &Declared) -> f64 {
        stress * declared.cone().torque_per_stress() / self.cone.torque_per_stress() / self.calibration
    }

    /// Shown over true viscosity.
    pub(super) fn shown_viscosity(&self, declared: &Declared) -> f64 {
        let stress = self.calibration * self.cone.torque_per_stress() / declared.cone().torque_per_stress();
        stress * declared.cone().angle_per_strain() / self.cone.angle_per_strain()
    }
}

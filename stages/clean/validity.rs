//! Numbers by which a referee judges whether the flow was what it is taken for, each the worst over a run's steps, with
//! what it is held against. Formulas are in `physics/validity`; nothing is flagged here.

use super::edge;
use super::levels::Level;
use super::params::Params;
use super::result::{Check, ValidityCheck};
use super::{compute::Setup, median};
use crate::physics::geometry::{Constants, Shape};
use crate::physics::validity as physics;

/// What the numbers are made from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Flow<'a> {
    pub(super) setup: &'a Setup<'a>,
    pub(super) constants: &'a Constants,
    pub(super) params: &'a Params,
    pub(super) levels: &'a [Level],
    /// Usable readings, one list per step.
    pub(super) stretches: &'a [Vec<usize>],
    /// Time, s.
    pub(super) time: &'a [f64],
    /// Temperature, °C.
    pub(super) temperature: Option<&'a [f64]>,
    /// Whether the export holds an axial force.
    pub(super) has_force: bool,
}

/// What a value is held against.
#[derive(Debug, Clone, Copy)]
enum Bound {
    AtMost(f64),
    AtLeast(f64),
    None,
}

fn held(check: Check, (step, value): (Option<i64>, f64), bound: Bound) -> ValidityCheck {
    let (bound, holds) = match bound {
        Bound::AtMost(most) => (Some(most), Some(value <= most)),
        Bound::AtLeast(least) => (Some(least), Some(value >= least)),
        Bound::None => (None, None),
    };
    ValidityCheck { check, step, value, bound, holds }
}

/// The step at which a value is largest, and the value; none without finite values.
fn largest(levels: &[Level], value: impl Fn(&Level) -> f64) -> Option<(Option<i64>, f64)> {
    let values = levels.iter().map(|l| (Some(l.step), value(l))).filter(|(_, v)| v.is_finite());
    values.reduce(|a, b| if b.1 > a.1 { b } else { a })
}

/// The same for the smallest.
fn smallest(levels: &[Level], value: impl Fn(&Level) -> f64) -> Option<(Option<i64>, f64)> {
    largest(levels, |l| -value(l)).map(|(step, v)| (step, -v))
}

impl Flow<'_> {
    fn stress(&self, level: &Level) -> f64 {
        level.torque * self.constants.stress_per_torque
    }

    fn rate(&self, level: &Level) -> f64 {
        level.speed * self.constants.rate_per_speed
    }

    fn viscosity(&self, level: &Level) -> f64 {
        self.stress(level) / self.rate(level)
    }

    /// Reynolds number of the gap, or Taylor number between cylinders.
    pub(super) fn inertia(&self, level: &Level) -> f64 {
        let (density, viscosity) = (physics::mixture_density(self.setup.sample), self.viscosity(level));
        let gap = self.constants.widest_gap_m;
        match &self.setup.geometry.shape {
            Shape::ConcentricCylinders { inner_radius, .. } => {
                physics::taylor(density, level.speed, inner_radius.value, gap, viscosity)
            }
            _ => physics::reynolds(density, level.speed, gap, viscosity),
        }
    }

    /// Time in which momentum crosses the gap, s.
    pub(super) fn momentum_time(&self, level: &Level) -> f64 {
        let density = physics::mixture_density(self.setup.sample);
        physics::momentum_time(density, self.constants.widest_gap_m, self.viscosity(level))
    }

    /// Stress over the edge's limit; none where surface tension is not known or no edge is sheared.
    pub(super) fn edge(&self, level: &Level) -> Option<f64> {
        let settings = self.params.edge_fracture.on()?;
        Some(self.stress(level) / edge::stress_limit(self.constants.rim_gap_m?, settings)?)
    }

    /// All numbers that can be made, in a fixed order.
    pub(super) fn validity_checks(&self) -> Vec<ValidityCheck> {
        let moving: Vec<Level> = self.levels.iter().filter(|l| l.speed > 0.0 && l.torque > 0.0).cloned().collect();
        let flow = Flow { levels: &moving, ..*self };
        let groups = [flow.instrument(), flow.sample(), flow.edges(), flow.heat(), flow.particles()];
        groups.into_iter().flatten().collect()
    }

    fn instrument(&self) -> Vec<ValidityCheck> {
        let (instrument, params) = (self.setup.instrument, self.params);
        let floor = instrument.torque_floor.zip(params.below_torque_floor.on()).and_then(|(floor, rule)| {
            let worst = smallest(self.levels, |l| l.torque / floor)?;
            Some(held(Check::TorqueInFloors, worst, Bound::AtLeast(rule.factor)))
        });
        let ceiling = instrument.torque_ceiling.zip(params.above_torque_ceiling.on()).and_then(|(ceiling, rule)| {
            let worst = largest(self.levels, |l| l.torque / ceiling)?;
            Some(held(Check::TorqueOfCeiling, worst, Bound::AtMost(rule.factor)))
        });
        [floor, ceiling, self.twist(), self.inertial_normal_stress()].into_iter().flatten().collect()
    }

    /// Strain that a twist of the instrument mimics while the torque turns round: the angle is the drive's, and an
    /// instrument that gives way by C·ΔM shows it as motion of the sample.
    fn twist(&self) -> Option<ValidityCheck> {
        let rule = self.params.unknown_compliance.on().filter(|_| self.setup.instrument.compliance.is_none())?;
        let worst = largest(self.levels, |l| 2.0 * l.torque * rule.compliance * self.constants.rate_per_speed)?;
        Some(held(Check::StrainOfTwist { compliance: rule.compliance }, worst, Bound::AtMost(rule.strain)))
    }

    fn inertial_normal_stress(&self) -> Option<ValidityCheck> {
        let per_force = self.constants.normal_stress_per_force.filter(|_| self.has_force)?;
        let density = physics::mixture_density(self.setup.sample);
        let force = self.constants.inertial_force? * density;
        let worst = largest(self.levels, |l| per_force * force * l.speed * l.speed)?;
        Some(held(Check::InertialNormalStress, worst, Bound::None))
    }

    fn sample(&self) -> Vec<ValidityCheck> {
        let cylinders = matches!(self.setup.geometry.shape, Shape::ConcentricCylinders { .. });
        let bound = match self.params.secondary_flow.on() {
            None => Bound::None,
            Some(rule) => Bound::AtMost(if cylinders { rule.taylor } else { rule.reynolds }),
        };
        let inertia = largest(self.levels, |l| self.inertia(l)).map(|worst| {
            let excess = physics::secondary_torque(worst.1) - 1.0;
            held(if cylinders { Check::Taylor } else { Check::Reynolds { excess } }, worst, bound)
        });
        let momentum =
            largest(self.levels, |l| self.momentum_time(l)).map(|worst| held(Check::MomentumTime, worst, Bound::None));
        [inertia, momentum].into_iter().flatten().collect()
    }

    fn edges(&self) -> Vec<ValidityCheck> {
        let Some(gap) = self.constants.rim_gap_m else { return Vec::new() };
        let Some(settings) = self.params.edge_fracture.on() else { return Vec::new() };
        let Some(tension) = settings.surface_tension else { return Vec::new() };
        let over = |of: Option<f64>| largest(self.levels, |l| of.map_or(f64::NAN, |of| self.stress(l) / of));
        let at_most_one = |check| move |worst| held(check, worst, Bound::AtMost(1.0));
        let later = over(edge::stress_limit(gap, settings)).map(at_most_one(Check::EdgeStress));
        let older = over(edge::older_limit(gap, settings)).map(at_most_one(Check::EdgeStressOlderLimit));
        let radius = self.setup.sample.particles.as_ref().and_then(|p| p.diameter).map(|d| 0.5 * d.value);
        let confined = radius.and_then(|a| over(Some(physics::confinement(tension, a))));
        let confined = confined.map(at_most_one(Check::Confinement));
        [later, older, confined].into_iter().flatten().collect()
    }

    fn heat(&self) -> Vec<ValidityCheck> {
        let Some(rule) = self.params.temperature.on() else { return Vec::new() };
        let gap = self.constants.widest_gap_m;
        let nahme = largest(self.levels, |l| {
            physics::nahme(rule.per_kelvin, self.viscosity(l), self.rate(l), gap, rule.conductivity)
        });
        let nahme = nahme.map(|worst| {
            // The warmest place is Nahme's number by 8β above the walls.
            let warming_k = worst.1 / (8.0 * rule.per_kelvin);
            let check = Check::Nahme { warming_k, conductivity: rule.conductivity };
            held(check, worst, Bound::AtMost(8.0 * rule.change))
        });
        [nahme, self.temperature_span(rule)].into_iter().flatten().collect()
    }

    /// Span of the temperatures of the steps.
    fn temperature_span(&self, rule: &super::params::Temperature) -> Option<ValidityCheck> {
        let temperature = self.temperature?;
        let of_step = |l: &Level| {
            median(self.stretches[l.stretch].iter().map(|at| temperature[*at]).filter(|t| t.is_finite()))
                .unwrap_or(f64::NAN)
        };
        let (low, high) = (smallest(self.levels, of_step)?.1, largest(self.levels, of_step)?);
        let span = high.1 - low;
        let check = Check::TemperatureSpan { low_c: low, high_c: high.1, per_kelvin: rule.per_kelvin };
        Some(held(check, (None, span), Bound::AtMost(rule.change / rule.per_kelvin)))
    }

    fn particles(&self) -> Vec<ValidityCheck> {
        let Some(particles) = &self.setup.sample.particles else { return Vec::new() };
        let Some(diameter) = particles.diameter.map(|d| d.value) else { return Vec::new() };
        let liquid = physics::liquid_density(self.setup.sample);
        let solid = particles.density.map(|d| d.value);
        let mut found: Vec<ValidityCheck> = self.narrow(diameter).into_iter().collect();
        if let Some(viscosity) = self.setup.sample.liquid.viscosity {
            found.extend(self.dimensionless_numbers(0.5 * diameter, liquid, solid, viscosity.value));
            found.extend(solid.and_then(|solid| self.settled(0.5 * diameter, solid - liquid, viscosity.value)));
        }
        let difference = solid.map_or(0.0, |solid| solid - liquid);
        // A density given to be the liquid's own has no weight in it.
        if difference.abs() > 1e-6 * liquid {
            let suspended = smallest(self.levels, |l| physics::suspended(self.stress(l), difference, 0.5 * diameter));
            found.extend(suspended.map(|worst| held(Check::StressOverWeight, worst, Bound::AtLeast(1.0))));
        }
        found
    }

    fn narrow(&self, diameter: f64) -> Option<ValidityCheck> {
        let rule = self.params.gap_too_narrow.on()?;
        let gap_m = self.constants.narrowest_gap_m?;
        Some(held(Check::GapTooNarrow { gap_m }, (None, gap_m / diameter), Bound::AtLeast(rule.diameters)))
    }

    fn dimensionless_numbers(
        &self,
        radius: f64,
        liquid: f64,
        solid: Option<f64>,
        viscosity: f64,
    ) -> Vec<ValidityCheck> {
        let rule = self.params.dimensionless_numbers.on();
        let inertia = rule.map_or(Bound::None, |r| Bound::AtMost(r.inertia));
        let number = |density: f64| {
            largest(self.levels, |l| physics::particle_inertia(density, self.rate(l), radius, viscosity))
        };
        let reynolds = number(liquid).map(|worst| held(Check::ParticleReynolds, worst, inertia));
        let stokes = solid.and_then(number).map(|worst| held(Check::Stokes, worst, inertia));
        let measured = self.median_celsius();
        let kelvin = measured.unwrap_or(25.0) + physics::KELVIN;
        let least = rule.map_or(Bound::None, |r| Bound::AtLeast(r.peclet));
        let peclet = smallest(self.levels, |l| physics::peclet(viscosity, self.rate(l), radius, kelvin))
            .map(|worst| held(Check::Peclet { measured: measured.is_some() }, worst, least));
        [reynolds, stokes, peclet].into_iter().flatten().collect()
    }

    /// Median of the measured temperatures, °C.
    fn median_celsius(&self) -> Option<f64> {
        self.temperature.and_then(|t| median(t.iter().copied().filter(|t| t.is_finite())))
    }

    /// Part of the widest gap that particles sink or rise at rest during the run.
    fn settled(&self, radius: f64, difference: f64, viscosity: f64) -> Option<ValidityCheck> {
        let rule = self.params.settling.on()?;
        let phi = self.setup.sample.volume_fraction?.value;
        let times = || self.time.iter().copied().filter(|t| t.is_finite());
        let seconds = times().fold(f64::NEG_INFINITY, f64::max) - times().fold(f64::INFINITY, f64::min);
        let speed = physics::settling_speed(radius, difference, viscosity).abs() * physics::hindered(phi);
        let part = speed * seconds / self.constants.widest_gap_m;
        let check = Check::Settled { rise: difference < 0.0, seconds };
        part.is_finite().then(|| held(check, (None, part), Bound::AtMost(rule.share)))
    }
}

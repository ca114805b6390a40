//! What a rheometer makes of a reversal: its motion, its rotor's inertia, its noise and digits, and when it reads.
//! It knows no suspension but a viscosity at a strain. SI.

use crate::random::Stream;
use stages::ingest::result::Readings;

/// Radius and angle of the cone.
pub(crate) const RADIUS: f64 = 0.020;
pub(crate) const ANGLE: f64 = 0.034_906_6;
/// Moment of inertia as declared, N m s², and its relative standard uncertainty.
pub(crate) const INERTIA: f64 = 2e-5;
pub(crate) const U_INERTIA: f64 = 0.03;

/// How the drive turns round.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Drive {
    /// Speed changes linearly with time.
    Ramp,
    /// Critically damped servo.
    Servo,
}

/// How a run is driven and read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Protocol {
    /// Drive.
    pub(crate) drive: Drive,
    /// Strain after the turning point at which the speed is within 2 % of its target.
    pub(crate) arrival: f64,
    /// Rate, 1/s.
    pub(crate) rate: f64,
    /// Steady stress, Pa.
    pub(crate) stress: f64,
    /// Moment of inertia in truth over that declared.
    pub(crate) inertia: f64,
    /// White noise of the torque over its steady value.
    pub(crate) white: f64,
    /// Wander of ln η and its strain.
    pub(crate) wander: (f64, f64),
    /// Strain between the first readings after a turn, and the most.
    pub(crate) sampling: (f64, f64),
    /// Whether the speed is exported beside the angle.
    pub(crate) speed: bool,
}

/// Strain of the legs: the first is longer, so that the sample has forgotten how it was filled.
const LEGS: [f64; 3] = [8.0, 6.0, 6.0];
/// Digits of the torque, over its steady value.
const RESOLUTION: f64 = 2e-4;
/// Noise of the angle, rad.
const ANGLE_NOISE: f64 = 5e-7;
/// Noise of an exported speed, relative.
const SPEED_NOISE: f64 = 1e-3;
/// Growth of the interval with time since the turn.
const GROWTH: f64 = 0.04;

/// A speed profile from −1 to 1 (or from 1 on) in units of the target; times in units of strain over rate.
struct Motion {
    drive: Drive,
    /// Full time of the ramp, or 1/servo rate.
    time: f64,
    /// Time at which the speed passes zero.
    turn: f64,
}

impl Motion {
    fn new(drive: Drive, arrival: f64) -> Self {
        match drive {
            // Strain covered from zero speed to the end: time/4; 1 % of the way before the end counts as there.
            Drive::Ramp => Self { drive, time: 4.0 * arrival, turn: 2.0 * arrival },
            // 1 − 2(1 + x)e^{−x}: zero at x = 1.678347, 0.98 at x = 6.638352; between them 3.6106 of strain.
            Drive::Servo => Self { drive, time: arrival / 3.6106, turn: 1.678_347 * arrival / 3.6106 },
        }
    }

    /// Speed, its derivative and its integral at time `t` ≥ 0 since the command.
    fn at(&self, t: f64) -> (f64, f64, f64) {
        let x = t / self.time;
        match self.drive {
            Drive::Ramp if x < 1.0 => (2.0 * x - 1.0, 2.0 / self.time, self.time * (x * x - x)),
            Drive::Ramp => (1.0, 0.0, t - self.time),
            Drive::Servo => {
                let fading = libm::exp(-x);
                let travelled = self.time * (x - 4.0 + 2.0 * (2.0 + x) * fading);
                (1.0 - 2.0 * (1.0 + x) * fading, 2.0 * x * fading / self.time, travelled)
            }
        }
    }
}

/// Runs the legs; `ratio(Γ)` is the sample's viscosity over its steady value after a reversal.
pub(crate) fn run(protocol: &Protocol, draws: &mut Stream, ratio: impl Fn(f64) -> f64) -> Readings {
    let motion = Motion::new(protocol.drive, protocol.arrival);
    let per_stress = 2.0 / 3.0 * std::f64::consts::PI * RADIUS * RADIUS * RADIUS;
    let tangent = libm::tan(ANGLE);
    let steady = protocol.stress * per_stress;
    let mut readings = Readings { angle_rad: Some(vec![]), torque_n_m: Some(vec![]), ..Readings::default() };
    let mut speeds = Vec::new();
    let (mut place, mut clock, mut wander, mut last) = (0.0, 0.0, draws.normal(), 0.0_f64);
    for (leg, length) in LEGS.into_iter().enumerate() {
        let sense = if leg % 2 == 0 { 1.0 } else { -1.0 };
        let lowest = motion.at(motion.turn).2;
        let mut time = 0.0;
        loop {
            let since = (time - if leg == 0 { 0.0 } else { motion.turn }).max(0.0);
            time += (GROWTH * since).clamp(protocol.sampling.0, protocol.sampling.1);
            let (speed, change, travelled) = if leg == 0 { (1.0, 0.0, time) } else { motion.at(time) };
            let gamma = travelled - lowest;
            let structure = if leg == 0 || time < motion.turn { 1.0 } else { ratio(gamma) };
            let here = place + sense * travelled;
            let kept = libm::exp(-(here - last).abs() / protocol.wander.1);
            wander = kept * wander + (1.0 - kept * kept).sqrt() * draws.normal();
            let drag = steady * structure * speed * libm::exp(protocol.wander.0 * wander);
            // dΩ/dt: speed in units of the rate, time in units of 1/rate.
            let rotor = protocol.inertia * INERTIA * change * protocol.rate * protocol.rate * tangent;
            let torque = sense * (drag + rotor) + protocol.white * steady * draws.normal();
            let digit = RESOLUTION * steady;
            push(&mut readings, leg, (clock + time) / protocol.rate, (torque / digit).round() * digit);
            if let Some(angle) = &mut readings.angle_rad {
                angle.push(here * tangent + ANGLE_NOISE * draws.normal());
            }
            speeds.push(sense * speed * protocol.rate * tangent * draws.around(1.0, SPEED_NOISE));
            last = here;
            if gamma >= length {
                break;
            }
        }
        (place, clock) = (last, clock + time);
    }
    readings.speed_rad_per_s = protocol.speed.then_some(speeds);
    readings
}

fn push(readings: &mut Readings, leg: usize, time: f64, torque: f64) {
    readings.row.push(readings.row.len() as u32 + 2);
    readings.step.push(leg as i64 + 1);
    readings.time_s.push(time);
    if let Some(column) = &mut readings.torque_n_m {
        column.push(torque);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_drive_arrives_where_it_should() {
        for drive in [Drive::Ramp, Drive::Servo] {
            let motion = Motion::new(drive, 0.01);
            let (turning, ..) = motion.at(motion.turn);
            assert!(turning.abs() < 1e-5, "{drive:?}: {turning}");
            let end = (1..100_000).map(|k| f64::from(k) * 1e-6).find(|t| motion.at(*t).0 >= 0.98).unwrap();
            let strain = motion.at(end).2 - motion.at(motion.turn).2;
            // A ramp is within 2 % a little before its end.
            assert!((strain / 0.01 - 1.0).abs() < 0.05, "{drive:?}: {strain}");
        }
    }
}

//! What a rheometer makes of a sample: its motor and rotor, when it reads, and how well. Knows no slurry: the
//! sample is a viscosity at a strain. SI; angles in rad, times in s.

use super::random::Stream;

/// A cone over a plate.
#[derive(Clone, Copy)]
pub(crate) struct Cone {
    pub(crate) radius: f64,
    pub(crate) angle: f64,
}

impl Cone {
    /// Torque per stress, 2πR³/3.
    pub(crate) fn torque_per_stress(&self) -> f64 {
        2.0 * std::f64::consts::PI * self.radius * self.radius * self.radius / 3.0
    }

    /// Angle per strain.
    pub(crate) fn angle_per_strain(&self) -> f64 {
        libm::tan(self.angle)
    }

    /// Torque on the tool at a speed and a viscosity.
    fn drag(&self, viscosity: f64) -> f64 {
        self.torque_per_stress() * viscosity / self.angle_per_strain()
    }
}

/// A rheometer with a tool on it.
pub(crate) struct Rheometer {
    pub(crate) cone: Cone,
    /// Moment of inertia of rotor and tool.
    pub(crate) inertia: f64,
    /// Rate at which the drive, critically damped, goes to what it is told, 1/s.
    pub(crate) drive: f64,
    /// Reading over true torque.
    pub(crate) calibration: f64,
    /// Torque that it reads at rest.
    pub(crate) offset: f64,
    /// Noise of one reading of the torque.
    pub(crate) torque_noise: f64,
    /// The same, relative.
    pub(crate) relative_noise: f64,
    /// Noise of one reading of the angle.
    pub(crate) angle_noise: f64,
    /// Relative noise of one reading of the speed.
    pub(crate) speed_noise: f64,
}

/// One reading, before it is written down.
#[derive(Clone, Copy)]
pub(crate) struct Reading {
    pub(crate) step: usize,
    pub(crate) time: f64,
    pub(crate) angle: f64,
    pub(crate) speed: f64,
    pub(crate) torque: f64,
    /// Stress on the sample without noise, for the axial force.
    pub(crate) stress: f64,
}

/// What the drive is told for one leg, with the sign of the sense.
#[derive(Clone, Copy)]
pub(crate) enum Told {
    /// Speed, rad/s.
    Speed(f64),
    /// Torque, N m.
    Torque(f64),
}

/// Where tool and sample are between two legs.
#[derive(Clone, Copy, Default)]
pub(crate) struct Motion {
    pub(crate) ticks: u64,
    pub(crate) angle: f64,
    pub(crate) speed: f64,
    pub(crate) torque: f64,
    /// Deviation of ln(viscosity) that wanders with strain.
    pub(crate) wander: f64,
}

/// When a leg is read.
#[derive(Clone, Copy)]
pub(crate) struct Sampling {
    /// First interval, in ticks.
    pub(crate) first: u64,
    /// Longest interval, in ticks.
    pub(crate) longest: u64,
    /// Length of the leg, in ticks.
    pub(crate) length: u64,
}

/// What the instrument is to do in one leg.
#[derive(Clone, Copy)]
pub(crate) struct Order {
    pub(crate) step: usize,
    pub(crate) told: Told,
    pub(crate) sampling: Sampling,
    /// Standard deviation by which the sample's ln(viscosity) wanders as grains rearrange.
    pub(crate) wander: f64,
}

/// One tick of the instrument's clock, s: also the last digit that it prints.
pub(crate) const TICK: f64 = 1e-4;

/// Interval over time since the leg began, once the first interval is exceeded.
const GROWTH: f64 = 0.04;
/// Strain over which the sample's wander forgets.
const FORGETTING: f64 = 0.15;

impl Sampling {
    /// Ticks since the leg began: dense at first, then at intervals that grow with time.
    fn instants(self) -> Vec<u64> {
        let mut instants = Vec::new();
        let mut at = 0;
        while at < self.length {
            at += ((at as f64 * GROWTH) as u64).clamp(self.first, self.longest.max(self.first));
            instants.push(at);
        }
        instants
    }
}

/// Answer of a critically damped drive to a step of 1, its derivative in units of the drive's rate, and its integral
/// in units of the drive's time, at `x` = rate × time.
fn damped(x: f64) -> (f64, f64, f64) {
    let fading = libm::exp(-x);
    (1.0 - (1.0 + x) * fading, x * fading, x - 2.0 + (2.0 + x) * fading)
}

/// Runs one leg. `viscosity(strain)` is the sample's answer at a strain in the new sense since the tool last stood
/// still; below 0 the tool still moves in the old one.
pub(crate) fn leg(
    rheometer: &Rheometer,
    order: Order,
    start: Motion,
    noise: &mut Stream,
    viscosity: impl Fn(f64) -> f64,
) -> (Vec<Reading>, Motion) {
    let mut motion = start;
    let mut readings = Vec::new();
    let mut mover = Mover::new(rheometer, order.told, start);
    for instant in order.sampling.instants() {
        let before = motion.angle;
        let state = mover.advance(instant as f64 * TICK, libm::exp(motion.wander), &viscosity);
        let kept = libm::exp(-(state.angle - before).abs() / rheometer.cone.angle_per_strain() / FORGETTING);
        motion = Motion {
            ticks: start.ticks + instant,
            angle: state.angle,
            speed: state.speed,
            torque: state.torque,
            wander: kept * motion.wander + order.wander * (1.0 - kept * kept).sqrt() * noise.normal(),
        };
        readings.push(read(rheometer, &motion, state.drag, order.step, noise));
    }
    (readings, motion)
}

/// What the instrument shows.
fn read(rheometer: &Rheometer, motion: &Motion, drag: f64, step: usize, noise: &mut Stream) -> Reading {
    let torque = rheometer.calibration * motion.torque + rheometer.offset;
    let torque_noise = rheometer.torque_noise + rheometer.relative_noise * motion.torque.abs();
    Reading {
        step,
        time: motion.ticks as f64 * TICK,
        angle: noise.around(motion.angle, rheometer.angle_noise),
        speed: motion.speed * noise.around(1.0, rheometer.speed_noise),
        torque: noise.around(torque, torque_noise),
        stress: drag / rheometer.cone.torque_per_stress(),
    }
}

/// Angle, speed, motor torque and the sample's share of it.
#[derive(Clone, Copy)]
struct State {
    angle: f64,
    speed: f64,
    torque: f64,
    drag: f64,
}

/// Moves tool and sample through one leg.
struct Mover<'a> {
    rheometer: &'a Rheometer,
    told: Told,
    start: Motion,
    /// Time since the leg began, angle and speed there.
    now: (f64, f64, f64),
    /// Angle at which the tool last stood still.
    turned_at: Option<f64>,
}

impl<'a> Mover<'a> {
    fn new(rheometer: &'a Rheometer, told: Told, start: Motion) -> Self {
        let (Told::Speed(target) | Told::Torque(target)) = told;
        let turned_at = (start.speed * target >= 0.0).then_some(start.angle);
        Self { rheometer, told, start, now: (0.0, start.angle, start.speed), turned_at }
    }

    fn advance(&mut self, time: f64, wander: f64, viscosity: &impl Fn(f64) -> f64) -> State {
        match self.told {
            Told::Speed(target) => self.held_speed(target, time, wander, viscosity),
            Told::Torque(target) => self.held_torque(target, time, wander, viscosity),
        }
    }

    /// Strain in the new sense; −1 while the tool still moves in the old one.
    fn strain(&self, angle: f64) -> f64 {
        self.turned_at.map_or(-1.0, |turn| (angle - turn).abs() / self.rheometer.cone.angle_per_strain())
    }

    /// The drive holds a speed: motion in closed form, the motor pays for drag and rotor.
    fn held_speed(&mut self, target: f64, time: f64, wander: f64, viscosity: &impl Fn(f64) -> f64) -> State {
        let (rate, change) = (self.rheometer.drive, target - self.start.speed);
        let (done, bend, gone) = damped(rate * time);
        let speed = self.start.speed + change * done;
        let angle = self.start.angle + self.start.speed * time + change * gone / rate;
        if self.turned_at.is_none() && speed * target > 0.0 {
            self.turned_at = Some(self.turning_angle(change));
        }
        let drag = self.rheometer.cone.drag(viscosity(self.strain(angle)) * wander) * speed;
        State { angle, speed, torque: drag + self.rheometer.inertia * change * bend * rate, drag }
    }

    /// Angle at which a held speed passes zero, by bisection of the drive's own time.
    fn turning_angle(&self, change: f64) -> f64 {
        let (mut low, mut high) = (0.0, 20.0);
        for _ in 0..100 {
            let middle = 0.5 * (low + high);
            if (self.start.speed + change * damped(middle).0) * change < 0.0 { low = middle } else { high = middle }
        }
        let x = 0.5 * (low + high);
        self.start.angle + (self.start.speed * x + change * damped(x).2) / self.rheometer.drive
    }

    /// The drive holds a torque: the rotor's equation of motion in small steps, each exact for a constant viscosity.
    fn held_torque(&mut self, target: f64, time: f64, wander: f64, viscosity: &impl Fn(f64) -> f64) -> State {
        const STEPS: usize = 16;
        let h = (time - self.now.0) / STEPS as f64;
        let mut torque = self.start.torque;
        let mut drag = 0.0;
        for step in 1..=STEPS {
            let at = self.now.0 + h * step as f64;
            torque = self.start.torque + (target - self.start.torque) * damped(self.rheometer.drive * at).0;
            let constant = self.rheometer.cone.drag(viscosity(self.strain(self.now.1)) * wander);
            let settled = torque / constant;
            let speed = settled + (self.now.2 - settled) * libm::exp(-h * constant / self.rheometer.inertia);
            if self.turned_at.is_none() && speed * target > 0.0 {
                let part = self.now.2 / (self.now.2 - speed);
                self.turned_at = Some(self.now.1 + 0.5 * self.now.2 * part * h);
            }
            self.now = (self.now.0, self.now.1 + 0.5 * (self.now.2 + speed) * h, speed);
            drag = constant * speed;
        }
        self.now.0 = time;
        State { angle: self.now.1, speed: self.now.2, torque, drag }
    }
}

//! Who measured what: what the laboratory declares, what is true of it, and what went wrong. The declared values
//! stand a second time in `demo-project/study.yaml`, where the tool reads them.

use super::instrument::{Cone, Rheometer};
use super::material::{Beads, Steady};
use super::random::Stream;
use super::truth::StateTruth;

/// Beads as bought.
pub(crate) const BARE: Beads = Beads {
    phi_0: 0.645,
    phi_m: 0.575,
    sigma_star: 7.0,
    beta: 0.95,
    amplitude: 0.95,
    share_at_low_stress: 0.28,
    share_of_rise: 0.88,
};

/// The same beads with a grafted coat: it takes far more stress to press them together than was ever applied.
pub(crate) const COATED: Beads = Beads {
    phi_0: 0.650,
    phi_m: 0.600,
    sigma_star: 1500.0,
    beta: 1.0,
    amplitude: 0.95,
    share_at_low_stress: 0.30,
    share_of_rise: 0.88,
};

/// The two rheometers.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Bench {
    /// Holds the rate; writes angle and torque.
    Hall,
    /// Holds the stress; writes stress and rate.
    Attic,
}

/// What is in the gap.
#[derive(Clone, Copy)]
pub(crate) enum Content {
    /// Beads in oil.
    Slurry(&'static Beads),
    /// A Newtonian silicone oil.
    Control,
}

/// One sample as it truly is.
pub(crate) struct Sample {
    pub(crate) name: &'static str,
    pub(crate) content: Content,
    pub(crate) bench: Bench,
    /// True solid fraction.
    pub(crate) phi: f64,
    /// True viscosity of its liquid, Pa s.
    pub(crate) liquid: f64,
}

/// Everything as it truly is.
pub(crate) struct World {
    pub(crate) samples: Vec<Sample>,
    hall: Rheometer,
    attic: Rheometer,
}

/// What is held in a leg, as the operator typed it: a magnitude in 1/s on the hall's bench, in Pa on the attic's.
pub(crate) type SetPoint = f64;

/// Held rates, 1/s.
const RATES: [SetPoint; 8] = [0.03, 0.06, 0.12, 0.25, 0.5, 1.0, 2.0, 5.0];
/// Held stresses, Pa.
const STRESSES: [SetPoint; 8] = [0.6, 1.25, 2.5, 5.0, 10.0, 20.0, 40.0, 80.0];

/// What went wrong in a run.
#[derive(Clone, Copy, Default)]
pub(crate) struct Flaws {
    /// Number of a set-point, from 0, at which the viscosity never stopped falling.
    pub(crate) never_steady: Option<usize>,
    /// Number of a set-point whose last leg was stopped at strain 0.15.
    pub(crate) aborted: Option<usize>,
    /// Part of the torque that a dry rim takes away.
    pub(crate) dry_rim: f64,
    /// Torque not above five times the floor.
    pub(crate) below_floor: bool,
    /// Readings without a value.
    pub(crate) blanks: usize,
}

/// One raw export to be made.
pub(crate) struct Plan {
    pub(crate) path: String,
    /// Name under which its random numbers are drawn: under another name they would be others.
    pub(crate) stream: String,
    pub(crate) sample: &'static str,
    pub(crate) bench: Bench,
    pub(crate) loading: u32,
    pub(crate) started: &'static str,
    pub(crate) set_points: Vec<SetPoint>,
    pub(crate) flaws: Flaws,
}

/// The sample with coated beads.
const COATED_SAMPLE: &str = "CB50";

/// The tool as the laboratory knows it.
pub(crate) fn declared_cone(bench: Bench) -> Cone {
    match bench {
        Bench::Hall => Cone { radius: 25.00e-3, angle: degrees(2.000) },
        Bench::Attic => Cone { radius: 20.00e-3, angle: degrees(1.500) },
    }
}

fn degrees(value: f64) -> f64 {
    value * std::f64::consts::PI / 180.0
}

/// Strain of the three legs at one set-point: on, reverse, reverse back.
pub(crate) const LEGS: [f64; 3] = [6.0, 5.0, 5.0];

impl World {
    /// Draws what is true from what is declared and its standard uncertainty.
    pub(crate) fn draw(seed: u64) -> Self {
        let draw = |name: &str, value: f64, u: f64| Stream::named(seed, name).around(value, u);
        let oil = draw("oil viscosity", 1.62, 0.005 * 1.62);
        let oil_density = draw("oil density", 872.0, 1.0);
        let bead_density = draw("bead density", 2470.0, 10.0);
        let silicone = draw("silicone viscosity", 40.3, 0.005 * 40.3);
        let mixed = |name: &'static str, beads: f64, liquid: f64| {
            let solid = draw(&format!("{name} beads"), beads, 0.01) / bead_density;
            let phi = solid / (solid + draw(&format!("{name} oil"), liquid, 0.01) / oil_density);
            Sample { name, content: Content::Slurry(&BARE), bench: Bench::Hall, phi, liquid: oil }
        };
        let mut samples = vec![mixed("B46", 36.20, 15.00), mixed("B49", 38.65, 14.20), mixed("B52", 41.33, 13.46)];
        let phi = draw("C50 fraction", 0.503, 0.002);
        samples.push(Sample {
            name: COATED_SAMPLE,
            content: Content::Slurry(&COATED),
            bench: Bench::Attic,
            phi,
            liquid: oil,
        });
        for (name, bench) in [("silicone", Bench::Hall), ("silicone", Bench::Attic)] {
            samples.push(Sample { name, content: Content::Control, bench, phi: 0.0, liquid: silicone });
        }
        Self { samples, hall: hall(seed), attic: attic(seed) }
    }

    /// What a plan puts into the gap; plans name only samples that are there.
    pub(crate) fn sample(&self, plan: &Plan) -> Option<&Sample> {
        self.samples.iter().find(|sample| sample.name == plan.sample && sample.bench == plan.bench)
    }

    /// The rheometer as it truly is.
    pub(crate) fn rheometer(&self, bench: Bench) -> &Rheometer {
        match bench {
            Bench::Hall => &self.hall,
            Bench::Attic => &self.attic,
        }
    }

    /// True rate in 1/s, or true stress in Pa, at a set-point.
    pub(crate) fn held(&self, bench: Bench, set_point: SetPoint) -> f64 {
        let (real, declared) = (self.rheometer(bench), declared_cone(bench));
        match bench {
            Bench::Hall => set_point * declared.angle_per_strain() / real.cone.angle_per_strain(),
            Bench::Attic => set_point * declared.torque_per_stress() / real.cone.torque_per_stress() / real.calibration,
        }
    }
}

impl Sample {
    /// The steady state at what is truly held, with the viscosity off by a factor.
    pub(crate) fn steady(&self, held: f64, factor: f64) -> Steady {
        let liquid = self.liquid * factor;
        match (self.content, self.bench) {
            (Content::Slurry(beads), Bench::Hall) => beads.at_rate(self.phi, liquid, held),
            (Content::Slurry(beads), Bench::Attic) => beads.at_stress(self.phi, liquid, held),
            (Content::Control, Bench::Hall) => Steady { stress: held * liquid, viscosity: liquid, share: 0.0 },
            (Content::Control, Bench::Attic) => Steady { stress: held, viscosity: liquid, share: 0.0 },
        }
    }

    /// Whether it is the control.
    pub(crate) fn is_control(&self) -> bool {
        matches!(self.content, Content::Control)
    }
}

fn cone(seed: u64, bench: Bench, name: &str) -> Cone {
    let declared = declared_cone(bench);
    Cone {
        radius: Stream::named(seed, &format!("{name} radius")).around(declared.radius, 0.01e-3),
        angle: Stream::named(seed, &format!("{name} angle")).around(declared.angle, degrees(0.004)),
    }
}

/// Moment of inertia of rotor and tool, each as (declared, its standard uncertainty).
fn inertia(seed: u64, bench: &str, rotor: (f64, f64), tool: (f64, f64)) -> f64 {
    let mut draw = Stream::named(seed, &format!("{bench} inertia"));
    draw.around(rotor.0, rotor.1) + draw.around(tool.0, tool.1)
}

fn hall(seed: u64) -> Rheometer {
    Rheometer {
        cone: cone(seed, Bench::Hall, "hall"),
        inertia: inertia(seed, "hall", (78.0e-6, 0.8e-6), (17.0e-6, 0.5e-6)),
        drive: 450.0,
        calibration: Stream::named(seed, "hall calibration").around(1.0, 0.005),
        offset: 0.06e-6,
        torque_noise: 0.05e-6,
        relative_noise: 0.003,
        angle_noise: 3.0e-9,
        speed_noise: 0.0,
    }
}

fn attic(seed: u64) -> Rheometer {
    Rheometer {
        cone: cone(seed, Bench::Attic, "attic"),
        inertia: inertia(seed, "attic", (21.0e-6, 0.3e-6), (6.2e-6, 0.2e-6)),
        drive: 500.0,
        calibration: Stream::named(seed, "attic calibration").around(1.0, 0.005),
        offset: -0.02e-6,
        torque_noise: 0.008e-6,
        relative_noise: 0.001,
        angle_noise: 0.0,
        speed_noise: 0.003,
    }
}

/// Every raw export, in the order in which it was measured.
pub(crate) fn plans() -> Vec<Plan> {
    let clean = Flaws::default();
    let slow = Flaws { below_floor: true, ..clean };
    let mut plans = vec![
        hall_plan("control", "silicone", 1, "2026-10-12T08:50:12", clean),
        hall_plan("B46", "B46", 1, "2026-10-12T10:05:40", clean),
        hall_plan("B46", "B46", 2, "2026-10-12T11:21:03", clean),
        hall_plan("B46", "B46", 3, "2026-10-12T13:44:27", clean),
        Plan { set_points: vec![0.002], ..hall_plan("B46", "B46", 4, "2026-10-12T15:02:55", slow) },
        hall_plan("B49", "B49", 1, "2026-10-13T08:31:30", clean),
        hall_plan("B49", "B49", 2, "2026-10-13T09:48:09", Flaws { aborted: Some(4), ..clean }),
        hall_plan("B49", "B49", 3, "2026-10-13T11:10:44", Flaws { dry_rim: 0.2, ..clean }),
        hall_plan("B49", "B49", 4, "2026-10-13T13:26:18", clean),
        hall_plan("B52", "B52", 1, "2026-10-14T08:40:51", clean),
        hall_plan("B52", "B52", 2, "2026-10-14T10:02:36", Flaws { never_steady: Some(2), ..clean }),
        hall_plan("B52", "B52", 3, "2026-10-14T11:25:00", clean),
        attic_plan("control", "silicone", 1, "2026-10-19T09:15:20", clean),
    ];
    plans.push(attic_plan(COATED_SAMPLE, COATED_SAMPLE, 1, "2026-10-19T10:30:05", clean));
    plans.push(attic_plan(COATED_SAMPLE, COATED_SAMPLE, 2, "2026-10-19T13:05:48", Flaws { blanks: 3, ..clean }));
    plans.push(attic_plan(COATED_SAMPLE, COATED_SAMPLE, 3, "2026-10-19T14:41:17", clean));
    plans
}

fn hall_plan(folder: &str, sample: &'static str, loading: u32, started: &'static str, flaws: Flaws) -> Plan {
    let path = format!("raw/hall/{folder}/{folder}_L{loading}.csv");
    Plan { stream: path.clone(), path, sample, bench: Bench::Hall, loading, started, set_points: RATES.to_vec(), flaws }
}

fn attic_plan(folder: &str, sample: &'static str, loading: u32, started: &'static str, flaws: Flaws) -> Plan {
    let path_of = |folder: &str| format!("raw/attic/{folder}/{folder}-{loading}.tsv");
    let stream = path_of(if folder == COATED_SAMPLE { "C50" } else { folder });
    Plan {
        path: path_of(folder),
        stream,
        sample,
        bench: Bench::Attic,
        loading,
        started,
        set_points: STRESSES.to_vec(),
        flaws,
    }
}

/// What the samples are at their set-points: population values, without the scatter of loadings.
pub(crate) fn states(world: &World) -> Vec<StateTruth> {
    let slurries = world.samples.iter().filter(|sample| !sample.is_control());
    slurries
        .flat_map(|sample| {
            let set_points = if sample.bench == Bench::Hall { RATES } else { STRESSES };
            set_points.map(|set_point| {
                let steady = sample.steady(world.held(sample.bench, set_point), 1.0);
                StateTruth { sample: sample.name, phi: sample.phi, bench: sample.bench, set_point, steady }
            })
        })
        .collect()
}

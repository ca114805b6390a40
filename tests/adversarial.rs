//! Runs on which a careless reader comes to grief, from raw exports to the word in the tables: pauses, slow passages and
//! trembling at zero, a restart in the old sense, doubled, aborted and missing reversals, steps that are none.
//! The rheometer is that of the demo's generator, which shares nothing with the stages.

use crate::generator::instrument::{Cone, Motion, Order, Reading, Rheometer, Sampling, TICK, Told, leg};
use crate::generator::material::Transient;
use crate::generator::random::Stream;
use crate::support::shearback;
use crate::support::table::{Row, read};
use std::fmt::Write as _;
use std::path::PathBuf;
use std::sync::OnceLock;
use tempfile::TempDir;

/// Contact share of the sample.
const SHARE: f64 = 0.5;
/// Steady rate, 1/s, and viscosity, Pa s.
const RATE: f64 = 0.5;
const VISCOSITY: f64 = 20.0;
/// First normal-stress difference over the stress in steady shear, and the strain over which it returns after a reversal:
/// it falls to near zero (V. G. Kolli, E. J. Pollauf & F. Gadala-Maria, J. Rheol. 46 (2002) 321, from memory).
const NORMAL: f64 = 0.3;
const NORMAL_STRAIN: f64 = 0.5;
/// Rates at which drives go to what they are told, 1/s. From −1 to +1 a critically damped drive is within 2 % after
/// strain 3.61·rate/drive: 0.0045, 0.018 and 0.09.
const QUICK: f64 = 400.0;
const SLOW: f64 = 100.0;
const SLOWEST: f64 = 20.0;

const TRANSIENT: Transient = Transient {
    share: SHARE,
    dip: 0.15,
    dip_strain: 0.2,
    delay: 0.03,
    spread: 0.4,
    exponent: 1.2,
    release: 0.0,
    release_strain: 1.0,
};

/// What the drive is told next.
#[derive(Clone, Copy)]
enum Part {
    /// To cover a strain; its sign is the sense.
    Shear(f64),
    /// To stand still, s.
    Rest(f64),
    /// To stand still, but it trembles by this part of the rate, back and forth every 0.2 s, 5 s in all.
    Tremble(f64),
}
use Part::{Rest, Shear, Tremble};

/// One run.
struct Case {
    name: &'static str,
    parts: &'static [Part],
    drive: f64,
    /// Viscosity after a stop in the old sense over the steady one: 1 where nothing slips or settles.
    restarted: f64,
    /// All parts are one step of the export.
    one_step: bool,
    /// In the second part the rim gives way at strain 4, for good.
    rim_gives_way: bool,
}

const fn case(name: &'static str, parts: &'static [Part]) -> Case {
    Case { name, parts, drive: QUICK, restarted: 1.0, one_step: false, rim_gives_way: false }
}

const CASES: [Case; 15] = [
    case("plain", &[Shear(6.0), Shear(-6.0), Shear(6.0)]),
    case("other-sense-first", &[Shear(-6.0), Shear(6.0), Shear(-6.0)]),
    case("pauses", &[Shear(6.0), Rest(5.0), Shear(-6.0), Rest(1.0), Shear(6.0)]),
    case("trembling-pause", &[Shear(6.0), Tremble(0.01), Shear(-6.0)]),
    case("trembling", &[Shear(6.0), Tremble(0.04), Shear(6.0)]),
    Case { drive: SLOW, ..case("slow-passage", &[Shear(6.0), Shear(-6.0), Shear(6.0)]) },
    Case { drive: SLOWEST, ..case("slowest-passage", &[Shear(6.0), Shear(-6.0), Shear(6.0)]) },
    case("restart", &[Shear(6.0), Rest(5.0), Shear(6.0), Shear(-6.0)]),
    Case { restarted: 0.85, ..case("restart-with-drop", &[Shear(6.0), Rest(5.0), Shear(6.0), Shear(-6.0)]) },
    Case { one_step: true, ..case("one-step", &[Shear(6.0), Shear(-6.0), Shear(6.0), Shear(-6.0)]) },
    case("steps-that-are-none", &[Shear(4.0), Shear(3.0), Shear(-2.0), Shear(-4.0), Shear(3.0), Shear(3.0)]),
    case("doubled", &[Shear(6.0), Shear(-0.2), Shear(6.0), Shear(-6.0)]),
    case("aborted", &[Shear(6.0), Shear(-6.0), Shear(0.15)]),
    case("missing", &[Shear(6.0), Shear(6.0)]),
    Case { rim_gives_way: true, ..case("rim", &[Shear(6.0), Shear(-6.0), Shear(6.0)]) },
];

const STUDY: &str = "\
study: Runs on which a careless reader comes to grief
liquids:
  l: {viscosity: 1 Pa.s, density: 1000 kg/m3}
particles:
  p: {density: 1000 kg/m3, diameter: 1 um}
samples:
  A: {liquid: l, particles: p, volume_fraction: 0.5}
geometries:
  cone: {kind: cone-plate, radius: 20 mm, angle: 2 deg}
instruments:
  i: {inertia: 20 uN.m.s2, torque_floor: 10 nN.m}
layouts:
  t:
    separator: \",\"
    torque_includes_inertia: true
    columns:
      step: {name: step}
      time: {name: time, unit: s}
      angle: {name: angle, unit: rad}
      speed: {name: speed, unit: rad/s}
      torque: {name: torque, unit: uN.m}
      normal_force: {name: force, unit: mN}
raw:
  - {files: 'raw/*.csv', layout: t, sample: A, geometry: cone, instrument: i}
";

const CONE: Cone = Cone { radius: 0.020, angle: 0.034_906_585 };

fn rheometer(drive: f64) -> Rheometer {
    Rheometer {
        cone: CONE,
        inertia: 2e-5,
        drive,
        calibration: 1.0,
        offset: 0.0,
        torque_noise: 1e-8,
        relative_noise: 0.003,
        angle_noise: 5e-7,
        speed_noise: 1e-3,
    }
}

/// A run under way.
struct Bench {
    rheometer: Rheometer,
    noise: Stream,
    motion: Motion,
    /// Sense of the last shear; 0 before the first.
    sense: f64,
    rested: bool,
    lines: String,
}

impl Bench {
    /// Tells the drive a speed over the steady one, for some seconds; `ratio` of the viscosity at a strain.
    fn tell(&mut self, step: usize, speed: f64, seconds: f64, ratio: impl Fn(f64) -> f64) -> Vec<Reading> {
        let ticks = |s: f64| (s / TICK).round() as u64;
        let sampling = Sampling { first: 20, longest: ticks(0.03 / RATE), length: ticks(seconds) };
        let told = Told::Speed(speed * RATE * CONE.angle_per_strain());
        let order = Order { step, told, sampling, wander: 0.006 };
        let (readings, motion) =
            leg(&self.rheometer, order, self.motion, &mut self.noise, |strain| VISCOSITY * ratio(strain));
        self.motion = motion;
        readings
    }

    fn part(&mut self, step: usize, part: Part, case: &Case) {
        match part {
            Rest(seconds) => {
                let readings = self.tell(step, 0.0, seconds, |_| 1.0);
                self.write(&readings, |_| 0.0);
                self.rested = true;
            }
            Tremble(size) => {
                for k in 0..25 {
                    let readings = self.tell(step, if k % 2 == 0 { size } else { -size }, 0.2, |_| 1.0);
                    self.write(&readings, |_| 0.0);
                }
                self.rested = true;
            }
            Shear(strain) => self.shear(step, strain, case),
        }
    }

    fn shear(&mut self, step: usize, strain: f64, case: &Case) {
        let sense = strain.signum();
        let (turned, seconds) = (self.sense * sense < 0.0, strain.abs() / RATE);
        let again = if self.rested && !turned { case.restarted } else { 1.0 };
        let rim = |gamma: f64| match (case.rim_gives_way, step) {
            (true, 2) if gamma > 4.0 => 0.6,
            (true, 3..) => 0.6,
            _ => 1.0,
        };
        let ratio = |gamma: f64| rim(gamma) * if turned && gamma >= 0.0 { TRANSIENT.ratio(gamma) } else { again };
        let readings = self.tell(step, sense, seconds, ratio);
        let angles = readings.iter().map(|r| sense * r.angle);
        let turn = if turned { angles.fold(f64::INFINITY, f64::min) } else { f64::NEG_INFINITY };
        self.write(&readings, |angle| {
            let gamma = (sense * angle - turn) / CONE.angle_per_strain();
            NORMAL * RATE * VISCOSITY * -libm::expm1(-gamma / NORMAL_STRAIN)
        });
        (self.sense, self.rested) = (sense, false);
    }

    /// Writes readings down, with the axial force of a normal-stress difference: N₁ = 2F/(πR²).
    fn write(&mut self, readings: &[Reading], normal: impl Fn(f64) -> f64) {
        for r in readings {
            let area = std::f64::consts::PI * CONE.radius * CONE.radius;
            let force = self.noise.around(0.5 * area * normal(r.angle), 1e-4);
            let (time, torque, force) = (r.time, 1e6 * r.torque, 1e3 * force);
            writeln!(self.lines, "{},{time:.4},{:.8},{:.7},{torque:.4},{force:.3}", r.step, r.angle, r.speed).unwrap();
        }
    }
}

fn export(case: &Case) -> String {
    let mut bench = Bench {
        rheometer: rheometer(case.drive),
        noise: Stream::named(20_261_125, case.name),
        motion: Motion::default(),
        sense: 0.0,
        rested: false,
        lines: "step,time,angle,speed,torque,force\n".to_owned(),
    };
    for (k, part) in case.parts.iter().enumerate() {
        bench.part(if case.one_step { 1 } else { k + 1 }, *part, case);
    }
    bench.lines
}

fn tables() -> PathBuf {
    static FOLDER: OnceLock<TempDir> = OnceLock::new();
    let folder = FOLDER.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("raw")).unwrap();
        std::fs::write(folder.path().join("study.yaml"), STUDY).unwrap();
        for case in &CASES {
            std::fs::write(folder.path().join(format!("raw/{}.csv", case.name)), export(case)).unwrap();
        }
        let said = shearback(&["run", folder.path().to_str().unwrap(), "--last-stage", "uncertainty"]);
        assert_eq!(said.status, 0, "{}\n{}", said.out, said.err);
        folder
    });
    folder.path().join("results/tables")
}

fn of_run(table: &str, name: &str) -> Vec<Row> {
    let rows = read(&tables().join(format!("{table}.csv")));
    rows.into_iter().filter(|row| row.text("run") == format!("raw/{name}.csv")).collect()
}

fn reversals(name: &str) -> Vec<Row> {
    of_run("reversals", name)
}

/// Remarks of a run as a whole.
fn said_of(name: &str) -> String {
    of_run("runs", name)[0].text("remarks").to_owned()
}

/// Resolved, and right: a single interval misses once in twenty, three standard uncertainties hardly ever.
fn assert_right(row: &Row) {
    let (share, u) = (row.number("contact_share"), row.number("u_contact_share"));
    let (share, u) = share.zip(u).unwrap_or_else(|| panic!("no value: {}", row.text("remarks")));
    assert!(row.yes("resolved") && ["A", "B"].contains(&row.text("grade")), "{}", row.text("remarks"));
    assert!((share - SHARE).abs() < 3.0 * u && u < 0.05, "{share} ± {u}");
}

fn assert_graded(row: &Row, grade: &str, why: &str) {
    assert_eq!(row.text("grade"), grade, "{}", row.text("remarks"));
    assert!(row.text("remarks").contains(why), "{}", row.text("remarks"));
}

/// A word that is not C or F.
fn assert_entering(row: &Row, why: &str) {
    assert!(["A", "B"].contains(&row.text("grade")) && row.text("remarks").contains(why), "{}", row.text("remarks"));
}

#[test]
fn either_sense_may_come_first() {
    for name in ["plain", "other-sense-first"] {
        let rows = reversals(name);
        assert_eq!(rows.len(), 2, "{name}");
        rows.iter().for_each(assert_right);
    }
}

#[test]
fn the_normal_stress_before_and_after_is_told() {
    for row in reversals("plain") {
        let (before, after) =
            (row.number("normal_stress_before_pa").unwrap(), row.number("normal_stress_after_pa").unwrap());
        // 3 Pa; a force of 1.9 mN with noise of 0.1 mN over some 60 readings is known to 0.7 %.
        assert!((before / (NORMAL * RATE * VISCOSITY) - 1.0).abs() < 0.03, "{before}");
        // Over strain 0.02 to 0.3 it is back to between 4 % and 45 %.
        assert!((0.04..0.45).contains(&(after / before)), "{after} after {before}");
    }
}

#[test]
fn after_a_pause_strain_counts_from_the_leaving() {
    let rows = reversals("pauses");
    assert_eq!(rows.len(), 2);
    for row in &rows {
        assert_right(row);
        assert_entering(row, "stood still between the two senses");
    }
    let rows = reversals("trembling-pause");
    assert_eq!(rows.len(), 1);
    assert_right(&rows[0]);
}

#[test]
fn trembling_around_zero_is_no_reversal() {
    assert_eq!(reversals("trembling").len(), 0);
    assert!(said_of("trembling").contains("no reversal was found"), "{}", said_of("trembling"));
}

#[test]
fn a_slow_passage_through_zero_is_remarked_or_not_resolved() {
    for row in reversals("slow-passage") {
        assert_right(&row);
        assert_graded(&row, "B", "first usable strain");
    }
    let rows = reversals("slowest-passage");
    assert_eq!(rows.len(), 2);
    for row in rows {
        assert_graded(&row, "C", "not resolved: the first usable strain");
        assert_eq!((row.number("contact_share"), row.number("contact_share_high")), (None, None));
    }
}

/// A Newtonian liquid has no contacts: what drops with it is the instrument's own, and no reversal there can be trusted.
#[test]
fn a_control_that_shows_a_drop_is_told_at_the_end_of_the_run() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("raw")).unwrap();
    let control = "  A: {liquid: l, control: true}";
    let study = STUDY.replace("  A: {liquid: l, particles: p, volume_fraction: 0.5}", control);
    std::fs::write(folder.path().join("study.yaml"), study).unwrap();
    std::fs::write(folder.path().join("raw/plain.csv"), export(&CASES[0])).unwrap();
    let said = shearback(&["run", folder.path().to_str().unwrap(), "--last-stage", "uncertainty"]);
    assert_eq!(said.status, 0, "{}\n{}", said.out, said.err);
    let line = said.out.lines().find(|line| line.starts_with("control failed: cone on i"));
    assert!(line.is_some_and(|line| line.contains("shows a drop of 0.")), "{}", said.out);
    let rows = read(&folder.path().join("results/tables/controls.csv"));
    assert!(rows.len() == 1 && rows[0].yes("failed"), "{}", rows.len());
}

/// Stopped and started again in the old sense a suspension shows no transient (F. Gadala-Maria & A. Acrivos, J. Rheol. 24
/// (1980) 799, from memory).
#[test]
fn a_restart_in_the_old_sense_is_a_second_control() {
    let rows = reversals("restart");
    assert_eq!(rows.len(), 1);
    assert_right(&rows[0]);
    assert!(said_of("restart").contains("restart in the old sense shows no drop"), "{}", said_of("restart"));
    let rows = reversals("restart-with-drop");
    assert_eq!(rows.len(), 1);
    assert_graded(&rows[0], "C", "restart in the old sense");
    assert!(said_of("restart-with-drop").contains("drop"), "{}", said_of("restart-with-drop"));
}

#[test]
fn what_an_irreversible_fall_of_the_torque_touches_is_shown_only() {
    let rows = reversals("rim");
    assert_eq!(rows.len(), 2);
    rows.iter().for_each(|row| assert_graded(row, "C", "the torque fell for good"));
}

#[test]
fn reversals_are_found_by_the_motion_and_not_by_the_steps() {
    let rows = reversals("one-step");
    assert_eq!(rows.len(), 3);
    rows.iter().for_each(assert_right);
    let rows = reversals("steps-that-are-none");
    let steps: Vec<&str> = rows.iter().map(|row| row.text("step")).collect();
    assert_eq!(steps, ["3", "5"]);
    rows.iter().for_each(assert_right);
}

#[test]
fn doubled_aborted_and_missing_reversals_have_no_value_and_say_why() {
    let rows = reversals("doubled");
    assert_eq!(rows.len(), 3);
    assert_graded(&rows[0], "F", "aborted at strain 0.20");
    assert_graded(&rows[1], "F", "no steady stretch");
    assert_right(&rows[2]);
    let rows = reversals("aborted");
    assert_eq!(rows.len(), 2);
    assert_right(&rows[0]);
    assert_graded(&rows[1], "F", "aborted at strain 0.1");
    for row in [&reversals("doubled")[0], &rows[1]] {
        assert_eq!((row.number("contact_share"), row.number("contact_share_low")), (None, None));
    }
    assert_eq!(reversals("missing").len(), 0);
    assert!(said_of("missing").contains("no reversal was found"), "{}", said_of("missing"));
}

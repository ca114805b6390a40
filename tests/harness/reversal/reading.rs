//! Lets the stages read a study in process, from readings in SI to states; only the reading of text is left out.

use super::design::Study;
use super::instrument::{ANGLE, INERTIA, RADIUS, U_INERTIA, run};
use crate::random::Stream;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced, Settings, Work};
use stages::clean::compute::{Setup, clean};
use stages::ingest::result::{Head, Readings};
use stages::physics::geometry::{Geometry, Shape};
use stages::physics::instrument::Instrument;
use stages::physics::materials::{Liquid, Sample};
use stages::physics::quantity::Quantity;
use stages::reversal::identity::Rule;
use stages::reversal::params::Params;
use stages::reversal::result::{Graded, GradedRun};
use stages::reversal::{grade_work, read_work};
use stages::settings::Rule as Switch;
use stages::states;
use stages::states::result::State;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// What the stages say of a study.
pub(crate) struct Said {
    /// The first reversal of the first loading.
    pub(crate) reversal: Option<Graded>,
    /// The state.
    pub(crate) state: Option<State>,
    /// Number of all reversals, and of the resolved ones.
    pub(crate) reversals: (usize, usize),
    /// Readings of the first loading below strain 0.05 after its first reversal.
    pub(crate) early_readings: usize,
}

/// Settings in force: the defaults; other settings are not tried, which costs most of the time.
pub(crate) fn settings() -> Params {
    Params { sensitivity: Switch::Off, ..Params::default() }
}

/// Measures and reads a study.
///
/// # Errors
/// What the stages say where they refuse.
pub(crate) fn read(study: &Study, params: &Params, seed: u64) -> Result<Said, Vec<Diagnostic>> {
    let readings: Vec<Readings> = (0..study.loadings.len()).map(|l| measure(study, l, seed)).collect();
    let early_readings = readings.first().map_or(0, early);
    let runs = readings.iter().enumerate().map(|(l, readings)| graded(readings, l, params));
    let runs: Vec<GradedRun> = runs.collect::<Result<_, _>>()?;
    let all: Vec<&Graded> = runs.iter().flat_map(|r| &r.reversals).collect();
    let counts = (all.len(), all.iter().filter(|j| j.resolved).count());
    let reversal = all.first().map(|j| (*j).clone());
    let state = states::states(runs, &[sample()], &BTreeMap::new(), &params.states)?.states.into_iter().next();
    Ok(Said { reversal, state, reversals: counts, early_readings })
}

/// Readings of the second leg below strain 0.05 after the turning point.
fn early(readings: &Readings) -> usize {
    let angles = readings.angle_rad.iter().flatten();
    let second: Vec<f64> =
        angles.zip(&readings.step).filter(|(_, step)| **step == 2).map(|(angle, _)| *angle).collect();
    let place = |angle: &f64| angle / libm::tan(ANGLE);
    let turn = second.iter().map(place).fold(f64::NEG_INFINITY, f64::max);
    let lowest = second.iter().map(place).position(|p| p == turn).unwrap_or(0);
    second[lowest..].iter().filter(|angle| turn - place(angle) < 0.05).count()
}

/// The readings of one loading.
fn measure(study: &Study, loading: usize, seed: u64) -> Readings {
    let name = format!("{} {} loading {loading}", study.origin.name(), study.number);
    let mut draws = Stream::named(seed, &name);
    let share = study.loadings[loading];
    let (size, length) = study.transient.wander;
    let mut slow =
        Wander { level: size * draws.normal(), place: 0.0, draws: Stream::named(seed, &format!("{name} slow")) };
    let slow = std::cell::RefCell::new(&mut slow);
    run(&study.protocol, &mut draws, |gamma| {
        study.transient.at(share, gamma) * (1.0 + slow.borrow_mut().at(gamma, size, length))
    })
}

/// Slow wander on top of the transient, which the window before does not show.
struct Wander {
    level: f64,
    place: f64,
    draws: Stream,
}

impl Wander {
    fn at(&mut self, gamma: f64, size: f64, length: f64) -> f64 {
        let kept = libm::exp(-(gamma - self.place).abs() / length);
        self.place = gamma;
        self.level = kept * self.level + (1.0 - kept * kept).sqrt() * size * self.draws.normal();
        self.level
    }
}

fn sample() -> Sample {
    let liquid = Liquid {
        name: "carrier".to_owned(),
        viscosity: None,
        density: Some(Quantity::exact(1200.0)),
        composition: None,
    };
    Sample { name: "A".to_owned(), liquid, particles: None, volume_fraction: None, control: false }
}

fn graded(readings: &Readings, loading: usize, params: &Params) -> Result<GradedRun, Vec<Diagnostic>> {
    let geometry = Geometry {
        name: "cone".to_owned(),
        shape: Shape::ConePlate { radius: Quantity::exact(RADIUS), angle: Quantity::exact(ANGLE), truncation: None },
        inertia: None,
    };
    let instrument = Instrument {
        name: "bench".to_owned(),
        inertia: Some(Quantity { value: INERTIA, u: U_INERTIA * INERTIA }),
        torque_floor: None,
        torque_ceiling: None,
        torque_calibration: None,
        compliance: None,
    };
    let sample = sample();
    let setup = Setup {
        geometry: &geometry,
        instrument: &instrument,
        sample: &sample,
        torque_includes_inertia: true,
        set_aside: &[],
    };
    let (points, notes) = clean(readings, &setup, &Default::default())?;
    let name = format!("raw/A/L{}.csv", loading + 1);
    let common = [Settings::new("geometry", "geometries.cone", &geometry)];
    let reading = [
        Settings::new("run", "raw", &name),
        Settings::new("reversal", "stages.reversal", &params.reading()),
        Settings::new("sample", "samples.A", &sample),
        Settings::new("instrument", "instruments.bench", &instrument),
    ];
    let secondary = Produced::default().with_json("notes", &notes)?.with_json("head", &Head::default())?;
    let points = points.to_table().to_parquet()?;
    let inputs = vec![("points".to_owned(), points.into()), ("notes".to_owned(), output(&secondary, "notes"))];
    let read = call(read_work, &[&reading[..], &common].concat(), inputs)?;
    let rule = Rule {
        run: name,
        sample: sample.name,
        control: false,
        volume_fraction: Some((0.5, 0.003)),
        geometry: geometry.name,
        instrument: instrument.name,
        loading: None,
        repeat: None,
        preamble: Vec::new(),
    };
    let grading_settings = [
        Settings::new("reversal", "stages.reversal", &params.grading_settings()),
        Settings::new("identity", "raw", &rule),
    ];
    let inputs = vec![
        ("read".to_owned(), output(&read, "read")),
        ("notes".to_owned(), output(&secondary, "notes")),
        ("head".to_owned(), output(&secondary, "head")),
    ];
    let graded = call(grade_work, &[&grading_settings[..], &common].concat(), inputs)?;
    pipeline::stage::from_json("graded", &output(&graded, "graded"))
}

fn call(work: Work, settings: &[Settings], inputs: Vec<(String, Arc<Vec<u8>>)>) -> Result<Produced, Vec<Diagnostic>> {
    work(&Context::new(settings, inputs, None, Path::new("."), &AtomicBool::new(false)))
}

fn output(produced: &Produced, name: &str) -> Arc<Vec<u8>> {
    produced.outputs.iter().find(|(n, _)| *n == name).map_or_else(Arc::default, |(_, bytes)| bytes.clone().into())
}

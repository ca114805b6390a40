//! Readings → points: stress, rate and strain of one run, and the fate of every reading.

use super::legs::{Leg, Ramp, legs, ramps};
use super::motion::{Columns, Motion, joined_time};
use super::params::{Params, SetAside};
use super::result::{CleanNotes, Fate, Points};
use super::{median, rules};
use crate::ingest::result::Readings;
use crate::physics::geometry::{Constants, Geometry};
use crate::physics::instrument::{Instrument, total_inertia};
use crate::physics::materials::Sample;
use pipeline::diagnostic::{Diagnostic, Place};

/// What a run was measured with.
#[derive(Debug, Clone, Copy)]
pub struct Setup<'a> {
    /// The geometry.
    pub geometry: &'a Geometry,
    /// The instrument.
    pub instrument: &'a Instrument,
    /// The sample.
    pub sample: &'a Sample,
    /// Whether the exported torque or stress still holds the inertia torque.
    pub torque_includes_inertia: bool,
    /// What was set aside by hand in this run.
    pub set_aside: &'a [SetAside],
}

impl Setup<'_> {
    fn inertia(&self) -> Option<f64> {
        total_inertia(self.instrument.inertia, self.geometry.inertia).map(|i| i.value)
    }
}

/// Cleans the readings of one run.
///
/// # Errors
/// If torque and stress are both there and do not agree by the geometry.
pub fn clean(readings: &Readings, setup: &Setup<'_>, params: &Params) -> Result<(Points, CleanNotes), Vec<Diagnostic>> {
    let constants = setup.geometry.constants();
    let torque = exported_torque(readings, &constants, params)?;
    let (time, joined) = joined_time(&readings.time_s, &readings.step);
    let mut run = Run::new(readings, setup, params, constants, time, torque);
    if joined > 0 {
        run.notes
            .remarks
            .push(format!("time starts anew {joined} times; each step was counted from the end of the one before"));
    }
    run.flag_unusable();
    run.move_and_load();
    run.flag();
    run.remark();
    Ok(run.finish())
}

/// Torque as exported, or from the exported stress.
fn exported_torque(readings: &Readings, constants: &Constants, params: &Params) -> Result<Vec<f64>, Vec<Diagnostic>> {
    match (&readings.torque_n_m, &readings.stress_pa) {
        (Some(torque), Some(stress)) => {
            agree(readings, torque, stress, constants, params.stress_agreement)?;
            Ok(torque.clone())
        }
        (Some(torque), None) => Ok(torque.clone()),
        (None, Some(stress)) => Ok(stress.iter().map(|s| s / constants.stress_per_torque).collect()),
        (None, None) => Ok(vec![f64::NAN; readings.len()]),
    }
}

/// Checks the median ratio of exported stress to torque times the constant, over readings of at least a tenth of
/// the largest torque, where rounding and offsets do not count. Signs are left out: conventions differ.
fn agree(
    readings: &Readings,
    torque: &[f64],
    stress: &[f64],
    constants: &Constants,
    allowed: f64,
) -> Result<(), Vec<Diagnostic>> {
    let largest = torque.iter().filter(|m| m.is_finite()).fold(0.0_f64, |most, m| most.max(m.abs()));
    let ratio = |at: usize| (stress[at] / (torque[at] * constants.stress_per_torque)).abs();
    let counts = |at: &usize| torque[*at].abs() >= 0.1 * largest && torque[*at] != 0.0 && stress[*at].is_finite();
    let counting: Vec<usize> = (0..readings.len()).filter(counts).collect();
    let Some(middle) = median(counting.iter().map(|at| ratio(*at))) else { return Ok(()) };
    if (middle - 1.0).abs() <= allowed {
        return Ok(());
    }
    let nearest = counting.into_iter().min_by(|a, b| (ratio(*a) - middle).abs().total_cmp(&(ratio(*b) - middle).abs()));
    let at = nearest.unwrap_or(0);
    let message = format!(
        "stress and torque do not agree with the geometry: {:.5e} Pa was exported, {:.5e} N m stands for {:.5e} Pa (ratio {middle:.4}, allowed 1 ± {allowed})",
        stress[at],
        torque[at],
        torque[at] * constants.stress_per_torque
    );
    let help = "check the geometry of this raw entry and the units of both columns, or map only one of them";
    Err(vec![Diagnostic::new(message).at(Place::line("raw", u64::from(readings.row[at]))).help(help)])
}

/// One run on its way from readings to points.
struct Run<'a> {
    readings: &'a Readings,
    setup: &'a Setup<'a>,
    params: &'a Params,
    constants: Constants,
    time: Vec<f64>,
    torque: Vec<f64>,
    fate: Vec<Fate>,
    /// Usable readings, one list per step.
    stretches: Vec<Vec<usize>>,
    motion: Motion,
    inertia_torque: Vec<f64>,
    sample_torque: Vec<f64>,
    legs: Vec<Vec<Leg>>,
    ramps: Vec<Ramp>,
    notes: CleanNotes,
}

impl<'a> Run<'a> {
    fn new(
        readings: &'a Readings,
        setup: &'a Setup<'a>,
        params: &'a Params,
        constants: Constants,
        time: Vec<f64>,
        torque: Vec<f64>,
    ) -> Self {
        let none = || vec![f64::NAN; readings.len()];
        let motion = Motion {
            source: "",
            strain: none(),
            speed: none(),
            u_speed: none(),
            acceleration: none(),
            u_acceleration: none(),
        };
        Self {
            readings,
            setup,
            params,
            constants,
            time,
            torque,
            fate: vec![Fate::default(); readings.len()],
            stretches: Vec::new(),
            motion,
            inertia_torque: none(),
            sample_torque: none(),
            legs: Vec::new(),
            ramps: Vec::new(),
            notes: CleanNotes::default(),
        }
    }

    fn add(&mut self, reason: &str, readings: impl IntoIterator<Item = usize>) {
        readings.into_iter().for_each(|at| self.fate[at].add(reason));
    }

    /// Flags readings that no derivative may use, and lists the others by step.
    fn flag_unusable(&mut self) {
        let r = self.readings;
        let moved = [&r.angle_rad, &r.strain, &r.speed_rad_per_s, &r.rate_per_s].into_iter().find_map(|c| c.as_deref());
        let columns: Vec<&[f64]> = [&self.time, &self.torque].into_iter().map(Vec::as_slice).chain(moved).collect();
        let missing = rules::missing(&columns);
        let (back, repeated) = rules::clock(&self.time);
        let mut usable = vec![true; r.len()];
        missing.iter().chain(&back).chain(&repeated).for_each(|at| usable[*at] = false);
        for (on, reason, readings) in [
            (self.params.missing, "missing", missing),
            (self.params.clock, "clock", back),
            (self.params.duplicate, "duplicate", repeated),
        ] {
            self.add(reason, readings.into_iter().filter(|_| on));
        }
        let all: Vec<usize> = (0..r.len()).collect();
        let by_step = all.chunk_by(|a, b| r.step[*a] == r.step[*b]);
        self.stretches = by_step.map(|step| step.iter().copied().filter(|at| usable[*at]).collect()).collect();
    }

    /// Motion, compliance, sense of the torque, inertia; then legs and ramps.
    fn move_and_load(&mut self) {
        let stretches = std::mem::take(&mut self.stretches);
        let columns = Columns {
            readings: self.readings,
            time: &self.time,
            stretches: &stretches,
            rate_per_speed: self.constants.rate_per_speed,
            size: self.params.derivative_readings,
        };
        let (source, strain) = columns.position();
        let mut motion = columns.motion(source, strain);
        if against(&self.torque, &motion.speed) {
            self.torque.iter_mut().for_each(|m| *m = -*m);
            let remark = "torque and motion have opposite signs in the export; the torque was turned round";
            self.notes.remarks.push(remark.to_owned());
        }
        if let Some(compliance) = self.setup.instrument.compliance {
            // θ_sample = θ − C·M, before anything else is made of the angle.
            let per_torque = compliance.value * self.constants.rate_per_speed;
            let sample = motion.strain.iter().zip(&self.torque).map(|(g, m)| g - per_torque * m);
            motion = columns.motion(source, sample.collect());
        }
        self.stretches = stretches;
        self.motion = motion;
        self.take_inertia_off();
        self.legs = self.stretches.iter().map(|s| legs(&self.motion.strain, s)).collect();
        let ramps_of = |legs: &Vec<Leg>| ramps(legs, &self.motion.speed, &self.motion.u_speed);
        self.ramps = self.legs.iter().flat_map(ramps_of).collect();
        self.notes.motion = self.motion.source.to_owned();
    }

    /// M_sample = M − I·dΩ/dt, where it is known and was not taken off before.
    fn take_inertia_off(&mut self) {
        if let Some(inertia) = self.setup.inertia() {
            self.inertia_torque = self.motion.acceleration.iter().map(|a| inertia * a).collect();
        }
        let includes = self.setup.torque_includes_inertia;
        let taken_off = |(m, off): (&f64, &f64)| if includes && off.is_finite() { m - off } else { *m };
        self.sample_torque = self.torque.iter().zip(&self.inertia_torque).map(taken_off).collect();
    }

    fn flag(&mut self) {
        self.flag_inertia();
        self.flag_torque_range();
        self.flag_spikes();
        self.flag_fracture();
        self.flag_by_hand();
    }

    fn flag_inertia(&mut self) {
        let inertia = self.setup.inertia();
        let enough = |settings: &super::params::InstrumentInertia| {
            self.ramps.iter().any(|ramp| ramp.readings.len() >= settings.ramp_readings)
        };
        let known = inertia.is_some() && self.setup.torque_includes_inertia;
        let Some(settings) = self.params.instrument_inertia.on() else {
            self.notes.inertia_corrected = known;
            return;
        };
        self.notes.inertia_corrected = known && enough(settings);
        let drive = rules::Drive {
            inertia,
            time: &self.time,
            torque: &self.sample_torque,
            speed: &self.motion.speed,
            acceleration: &self.motion.acceleration,
            u_acceleration: &self.motion.u_acceleration,
        };
        let order: Vec<usize> = self.stretches.iter().flatten().copied().collect();
        let mut flagged = drive.accelerated(settings.share);
        flagged.extend(self.ramps.iter().flat_map(|ramp| drive.unresolved(ramp, &order, settings)));
        self.add("instrument-inertia", flagged);
    }

    fn flag_torque_range(&mut self) {
        let limit = |factor: Option<f64>, limit: Option<f64>| Some(factor? * limit?);
        let instrument = self.setup.instrument;
        let floor = limit(self.params.below_torque_floor.on().map(|r| r.factor), instrument.torque_floor);
        let ceiling = limit(self.params.above_torque_ceiling.on().map(|r| r.factor), instrument.torque_ceiling);
        for stretch in self.stretches.clone() {
            let Some(steady) = rules::steady_torque(&self.torque, &self.motion.strain, &stretch) else { continue };
            if floor.is_some_and(|floor| steady < floor) {
                self.add("below-torque-floor", stretch.iter().copied());
            }
            if ceiling.is_some_and(|ceiling| steady > ceiling) {
                self.add("above-torque-ceiling", stretch);
            }
        }
    }

    fn flag_spikes(&mut self) {
        let Some(settings) = self.params.spike.on() else { return };
        let mut turning = vec![false; self.readings.len()];
        self.ramps.iter().flat_map(|ramp| &ramp.readings).for_each(|at| turning[*at] = true);
        let left_out = |at: usize| turning[at] || self.fate[at].reasons().contains(&"instrument-inertia");
        let legs = self.legs.iter().flatten();
        let spikes: Vec<usize> =
            legs.flat_map(|leg| rules::spikes(&self.sample_torque, leg, left_out, settings)).collect();
        self.add("spike", spikes);
    }

    fn flag_fracture(&mut self) {
        let Some(settings) = self.params.edge_fracture.on() else { return };
        let legs = self.legs.iter().flatten();
        let torn: Vec<Vec<usize>> =
            legs.map(|leg| rules::fracture(&self.sample_torque, &self.motion.speed, leg, settings)).collect();
        for readings in torn {
            if let Some(first) = readings.first() {
                let (step, row) = (self.readings.step[*first], self.readings.row[*first]);
                let remark = format!(
                    "step {step}: the torque falls for good from line {row} on; later steps may measure a smaller filling"
                );
                self.notes.remarks.push(remark);
            }
            self.add("edge-fracture", readings);
        }
    }

    fn flag_by_hand(&mut self) {
        for by_hand in self.setup.set_aside {
            let readings = rules::set_aside(&self.time, &self.readings.step, by_hand);
            if readings.is_empty() {
                let remark = format!("nothing was set aside for `{}`: no reading of this run fits", by_hand.because);
                self.notes.remarks.push(remark);
            }
            self.add("set-aside", readings);
            match (by_hand.step, by_hand.from_s, by_hand.to_s) {
                (None, None, None) => self.notes.set_aside = Some(by_hand.because.clone()),
                (Some(step), None, None) => self.notes.set_aside_steps.push((step, by_hand.because.clone())),
                _ => {}
            }
        }
    }

    fn remark(&mut self) {
        self.notes.remarks.extend(self.setup.geometry.remark().map(str::to_owned));
        self.notes.remarks.extend(self.narrow_gap());
        if self.setup.inertia().is_none() && self.setup.torque_includes_inertia && !self.ramps.is_empty() {
            let remark = "no moment of inertia is known: changes of speed are left out instead of corrected";
            self.notes.remarks.push(remark.to_owned());
        }
    }

    fn narrow_gap(&self) -> Option<String> {
        let least = self.params.gap_too_narrow.on()?.diameters;
        let diameter = self.setup.sample.particles.as_ref()?.diameter?.value;
        let gap = self.constants.narrowest_gap_m?;
        (gap < least * diameter).then(|| {
            format!(
                "gap-too-narrow: the narrowest gap of {:.1} µm is {:.1} particle diameters, less than {least}",
                gap * 1e6,
                gap / diameter
            )
        })
    }

    fn finish(self) -> (Points, CleanNotes) {
        let r = self.readings;
        let none = || vec![f64::NAN; r.len()];
        let or_none = |column: &Option<Vec<f64>>| column.clone().unwrap_or_else(none);
        let by_speed = || self.motion.speed.iter().map(|v| v * self.constants.rate_per_speed).collect();
        let rate = r.rate_per_s.clone().unwrap_or_else(by_speed);
        let stress: Vec<f64> = self.sample_torque.iter().map(|m| m * self.constants.stress_per_torque).collect();
        let ratio = |(s, d): (&f64, &f64)| if *d == 0.0 { f64::NAN } else { s / d };
        let points = Points {
            row: r.row.clone(),
            step: r.step.clone(),
            time_s: self.time,
            torque_n_m: self.torque,
            sample_torque_n_m: self.sample_torque,
            inertia_torque_n_m: self.inertia_torque,
            speed_rad_per_s: self.motion.speed,
            viscosity_pa_s: stress.iter().zip(&rate).map(ratio).collect(),
            stress_pa: stress,
            rate_per_s: rate,
            strain: self.motion.strain,
            normal_force_n: or_none(&r.normal_force_n),
            temperature_c: or_none(&r.temperature_c),
            set_stress_pa: or_none(&r.set_stress_pa),
            set_rate_per_s: or_none(&r.set_rate_per_s),
            fate: self.fate,
        };
        (points, self.notes)
    }
}

/// Whether torque opposes the motion in most readings: steady shear dissipates, so only signs can be meant.
fn against(torque: &[f64], speed: &[f64]) -> bool {
    let powers = || torque.iter().zip(speed).map(|(m, v)| m * v);
    powers().filter(|p| *p < 0.0).count() > powers().filter(|p| *p > 0.0).count()
}

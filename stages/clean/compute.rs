//! Readings → points: stress, rate and strain of one run, and why which readings are excluded.

use super::drive::{Drive, inertia_in_export};
use super::levels::{Level, levels};
use super::motion::{Around, Motion, join_time};
use super::params::{Params, SetAside};
use super::remark::{NoSlope, NoTemperature, Remark};
use super::result::{CleanNotes, Cleaned, Flags, Points, Reason};
use super::segments::{Ramp, Segment, ramps, segments};
use super::temperature::Scale;
use super::validity;
use super::visits::{self, drifts};
use super::weissenberg_rabinowitsch::Slopes;
use super::{edge, median, rules, spikes};
use crate::ingest::result::Readings;
use crate::numerics::float::expm1;
use crate::physics::geometry::{Constants, Geometry, Shape};
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

/// Cleans the readings of one run that are kept.
///
/// # Errors
/// As [`cleaned`].
pub fn clean(readings: &Readings, setup: &Setup<'_>, params: &Params) -> Result<(Points, CleanNotes), Vec<Diagnostic>> {
    let (cleaned, notes) = cleaned(readings.clone(), setup, params)?;
    Ok((Points::from_parquet(&cleaned.to_parquet()?)?, notes))
}

/// Cleans the readings of one run, which can be many: each column is let go where it is no longer needed.
///
/// # Errors
/// If torque and stress are both there and do not agree by the geometry.
pub fn cleaned(
    mut readings: Readings,
    setup: &Setup<'_>,
    params: &Params,
) -> Result<(Cleaned, CleanNotes), Vec<Diagnostic>> {
    let constants = setup.geometry.constants();
    let torque = exported_torque(&mut readings, &constants, params)?;
    let joined = join_time(&mut readings.time_s, &readings.step);
    let mut run = Run::new(readings, setup, params, constants, torque);
    if joined > 0 {
        run.notes.remarks.push(Remark::TimeStartsAnew { times: joined as u64 });
    }
    run.flag_unusable();
    run.move_and_load();
    run.flag();
    run.weissenberg_rabinowitsch();
    run.bring_to_one_temperature();
    run.remark();
    Ok(run.finish())
}

/// Torque as exported, or from the exported stress; both are taken out of the readings.
fn exported_torque(
    readings: &mut Readings,
    constants: &Constants,
    params: &Params,
) -> Result<Vec<f64>, Vec<Diagnostic>> {
    match (readings.torque_n_m.take(), readings.stress_pa.take()) {
        (Some(torque), Some(stress)) => {
            agree(readings, &torque, &stress, constants, params.stress_agreement)?;
            Ok(torque)
        }
        (Some(torque), None) => Ok(torque),
        (None, Some(mut stress)) => {
            stress.iter_mut().for_each(|s| *s /= constants.stress_per_torque);
            Ok(stress)
        }
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

/// One run on its way from readings to points. Its columns are as long as the readings.
struct Run<'a> {
    /// What is left of the readings; their time does not start anew.
    readings: Readings,
    setup: &'a Setup<'a>,
    params: &'a Params,
    constants: Constants,
    torque: Vec<f64>,
    flags: Vec<Flags>,
    /// Usable readings, one list per step.
    stretches: Vec<Vec<usize>>,
    motion: Motion,
    /// Empty where no moment of inertia is known.
    inertia_torque: Vec<f64>,
    sample_torque: Vec<f64>,
    ramps: Vec<Ramp>,
    levels: Vec<Level>,
    /// Stress over the apparent one for each stretch; 1 where it is that.
    stress_factors: Vec<f64>,
    /// Rate at the reference temperature over the measured one for each stretch; 1 where it is that.
    rate_factors: Vec<f64>,
    notes: CleanNotes,
}

impl<'a> Run<'a> {
    fn new(
        readings: Readings,
        setup: &'a Setup<'a>,
        params: &'a Params,
        constants: Constants,
        torque: Vec<f64>,
    ) -> Self {
        Self {
            flags: vec![Flags::default(); readings.len()],
            readings,
            setup,
            params,
            constants,
            torque,
            stretches: Vec::new(),
            motion: Motion::default(),
            inertia_torque: Vec::new(),
            sample_torque: Vec::new(),
            ramps: Vec::new(),
            levels: Vec::new(),
            stress_factors: Vec::new(),
            rate_factors: Vec::new(),
            notes: CleanNotes::default(),
        }
    }

    /// The legs of all steps in order.
    fn segments(&self) -> impl Iterator<Item = Segment> {
        self.stretches.iter().flat_map(|stretch| segments(&self.motion.strain, stretch))
    }

    fn add_stretch(&mut self, reason: Reason, stretch: usize) {
        self.stretches[stretch].iter().for_each(|at| self.flags[*at].add(reason));
    }

    fn add(&mut self, reason: Reason, readings: impl IntoIterator<Item = usize>) {
        readings.into_iter().for_each(|at| self.flags[at].add(reason));
    }

    /// Flags readings that no derivative may use, and lists the others by step.
    fn flag_unusable(&mut self) {
        let r = &self.readings;
        let moved = [&r.angle_rad, &r.strain, &r.speed_rad_per_s, &r.rate_per_s].into_iter().find_map(|c| c.as_deref());
        let columns: Vec<&[f64]> = [&r.time_s, &self.torque].into_iter().map(Vec::as_slice).chain(moved).collect();
        let missing = rules::missing(&columns);
        let (back, repeated) = rules::clock(&r.time_s);
        let mut usable = vec![true; r.len()];
        missing.iter().chain(&back).chain(&repeated).for_each(|at| usable[*at] = false);
        let mut first = 0;
        for step in r.step.chunk_by(|a, b| a == b) {
            self.stretches.push((first..first + step.len()).filter(|at| usable[*at]).collect());
            first += step.len();
        }
        for (on, reason, readings) in [
            (self.params.missing, Reason::Missing, missing),
            (self.params.clock, Reason::Clock, back),
            (self.params.duplicate, Reason::Duplicate, repeated),
        ] {
            self.add(reason, readings.into_iter().filter(|_| on));
        }
    }

    /// Motion, compliance, sense of the torque, inertia; then ramps and levels.
    fn move_and_load(&mut self) {
        let time = std::mem::take(&mut self.readings.time_s);
        let around = Around {
            time: &time,
            stretches: &self.stretches,
            rate_per_speed: self.constants.rate_per_speed,
            size: self.params.derivative_readings,
        };
        self.motion = around.motion(&mut self.readings);
        if against(&self.torque, &self.motion.speed) {
            self.torque.iter_mut().for_each(|m| *m = -*m);
            self.notes.remarks.push(Remark::TorqueTurnedRound);
        }
        if let Some(compliance) = self.setup.instrument.compliance {
            // θ_sample = θ − C·M, before anything else is made of the angle.
            let per_torque = compliance.value * self.constants.rate_per_speed;
            around.moved(&mut self.motion, |at, strain| strain - per_torque * self.torque[at]);
        }
        self.readings.time_s = time;
        self.take_inertia_off();
        let (step, motion) = (&self.readings.step, &self.motion);
        let of_step = |stretch: &Vec<usize>| ramps(segments(&motion.strain, stretch), &motion.speed, &motion.u_speed);
        self.ramps = self.stretches.iter().flat_map(of_step).collect();
        self.levels = levels(step, &self.sample_torque, &motion.speed, &motion.strain, &self.stretches);
        self.stress_factors = vec![1.0; self.stretches.len()];
        self.rate_factors = vec![1.0; self.stretches.len()];
        self.notes.motion = motion.source;
    }

    /// M_sample = M − I·dΩ/dt, where it is known and was not taken off before.
    fn take_inertia_off(&mut self) {
        if let Some(inertia) = self.setup.inertia() {
            self.inertia_torque = self.motion.acceleration.iter().map(|a| inertia * a).collect();
        }
        self.sample_torque = self.torque.clone();
        if self.setup.torque_includes_inertia {
            let known = self.sample_torque.iter_mut().zip(&self.inertia_torque).filter(|(_, off)| off.is_finite());
            known.for_each(|(m, off)| *m -= off);
        }
    }

    fn flag(&mut self) {
        self.flag_inertia();
        self.flag_torque_range();
        self.flag_secondary_flow();
        self.flag_diffusion();
        self.flag_spikes();
        self.flag_fracture();
        self.flag_by_hand();
        self.flag_drift();
    }

    fn drive(&self) -> Drive<'_> {
        Drive {
            inertia: self.setup.inertia(),
            time: &self.readings.time_s,
            torque: &self.sample_torque,
            speed: &self.motion.speed,
            acceleration: &self.motion.acceleration,
            u_acceleration: &self.motion.u_acceleration,
        }
    }

    fn flow(&self) -> validity::Flow<'_> {
        validity::Flow {
            setup: self.setup,
            constants: &self.constants,
            params: self.params,
            levels: &self.levels,
            stretches: &self.stretches,
            time: &self.readings.time_s,
            temperature: self.readings.temperature_c.as_deref(),
            has_force: self.readings.normal_force_n.is_some(),
        }
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
        let drive = self.drive();
        let order: Vec<usize> = self.stretches.iter().flatten().copied().collect();
        let mut flagged = drive.accelerated(settings.share);
        flagged.extend(self.ramps.iter().flat_map(|ramp| drive.unresolved(ramp, &order, settings)));
        self.add(Reason::InstrumentInertia, flagged);
    }

    fn flag_torque_range(&mut self) {
        let limit = |factor: Option<f64>, limit: Option<f64>| Some(factor? * limit?);
        let instrument = self.setup.instrument;
        let floor = limit(self.params.below_torque_floor.on().map(|r| r.factor), instrument.torque_floor);
        let ceiling = limit(self.params.above_torque_ceiling.on().map(|r| r.factor), instrument.torque_ceiling);
        for at in 0..self.levels.len() {
            let (torque, stretch) = (self.levels[at].torque, self.levels[at].stretch);
            if floor.is_some_and(|floor| torque < floor) {
                self.add_stretch(Reason::BelowTorqueFloor, stretch);
            }
            if ceiling.is_some_and(|ceiling| torque > ceiling) {
                self.add_stretch(Reason::AboveTorqueCeiling, stretch);
            }
        }
    }

    /// Flags the steps for which a rule holds.
    fn flag_steps(&mut self, reason: Reason, rule: impl Fn(&Self, &Level) -> bool) {
        let held = self.levels.iter().filter(|level| rule(self, level)).map(|level| level.stretch);
        held.collect::<Vec<usize>>().into_iter().for_each(|stretch| self.add_stretch(reason, stretch));
    }

    fn flag_secondary_flow(&mut self) {
        let Some(settings) = self.params.secondary_flow.on() else { return };
        let cylinders = matches!(self.setup.geometry.shape, Shape::ConcentricCylinders { .. });
        let bound = if cylinders { settings.taylor } else { settings.reynolds };
        self.flag_steps(Reason::SecondaryFlow, |run, level| run.flow().inertia(level) > bound);
    }

    /// After a start, or a change of speed in one sense; behind a reversal the same is part of its first usable
    /// strain.
    fn flag_diffusion(&mut self) {
        let Some(settings) = self.params.momentum_diffusion.on() else { return };
        let mut early = Vec::new();
        let mut sense_before = None;
        for (at, stretch) in self.stretches.iter().enumerate() {
            let level = self.levels.iter().find(|level| level.stretch == at);
            let lapse = level.map(|level| settings.times * self.flow().momentum_time(level));
            for segment in segments(&self.motion.strain, stretch) {
                let sense = self.sense(&segment);
                if sense.is_some() && (sense_before.is_none() || sense_before == sense) {
                    early.extend(lapse.map_or_else(Vec::new, |lapse| self.within(&segment, lapse)));
                }
                sense_before = sense.or(sense_before);
            }
        }
        self.add(Reason::MomentumDiffusion, early);
    }

    /// Sense of the motion in a leg; none at rest.
    fn sense(&self, segment: &Segment) -> Option<bool> {
        let (first, last) = (segment.readings.first()?, segment.readings.last()?);
        let way = self.motion.strain[*last] - self.motion.strain[*first];
        (way != 0.0).then_some(way > 0.0)
    }

    /// Readings of a leg within this time of its beginning, or of the end of the ramp at its beginning. Where the next
    /// reading comes later than that, the first one says nothing against itself.
    fn within(&self, segment: &Segment, lapse: f64) -> Vec<usize> {
        let Some(first) = segment.readings.first() else { return Vec::new() };
        let ramp = self.ramps.iter().find(|ramp| ramp.readings.contains(first));
        let from = ramp.and_then(|ramp| ramp.readings.last()).map_or(*first, |last| (*last).max(*first));
        let elapsed = |at: &usize| self.readings.time_s[*at] - self.readings.time_s[from];
        let early: Vec<usize> =
            segment.readings.iter().copied().filter(|at| (0.0..lapse).contains(&elapsed(at))).collect();
        if early.len() > 1 { early } else { Vec::new() }
    }

    fn flag_spikes(&mut self) {
        let Some(settings) = self.params.spike.on() else { return };
        let mut turning = vec![false; self.readings.len()];
        self.ramps.iter().flat_map(|ramp| &ramp.readings).for_each(|at| turning[*at] = true);
        let left_out = |at: usize| turning[at] || self.flags[at].has(Reason::InstrumentInertia);
        let spikes: Vec<usize> = self
            .segments()
            .flat_map(|segment| spikes::spikes(&self.sample_torque, &segment, left_out, settings))
            .collect();
        self.add(Reason::Spike, spikes);
    }

    fn flag_fracture(&mut self) {
        let Some(settings) = self.params.edge_fracture.on() else { return };
        let torn: Vec<Vec<usize>> = self
            .segments()
            .map(|segment| edge::fracture(&self.sample_torque, &self.motion.speed, &segment, settings))
            .collect();
        for readings in torn {
            if let Some(first) = readings.first() {
                let (step, row) = (self.readings.step[*first], self.readings.row[*first]);
                self.notes.remarks.push(Remark::TorqueFalls { step, row });
            }
            self.add(Reason::EdgeFracture, readings);
        }
        self.flag_steps(Reason::EdgeFracture, |run, level| run.flow().edge(level).is_some_and(|part| part > 1.0));
    }

    fn flag_drift(&mut self) {
        let Some(settings) = self.params.drifting.on() else { return };
        let kept: Vec<bool> = self.flags.iter().map(Flags::kept).collect();
        let flow = visits::Flow { torque: &self.sample_torque, speed: &self.motion.speed, kept: &kept };
        let begins: Vec<Option<usize>> = self.segments().map(|segment| segment.readings.first().copied()).collect();
        for drift in drifts(self.segments(), flow, settings) {
            let step = |segment: usize| begins[segment].map_or(0, |at| self.readings.step[at]);
            let change = expm1(drift.change);
            let excluded = change.abs() > settings.least;
            let (later, first_step) = (step(drift.segments.0), step(drift.first));
            self.notes.remarks.push(Remark::Drifted { step: later, first_step, change, u: drift.u, excluded });
            if excluded {
                let later = self
                    .segments()
                    .take(drift.segments.1 + 1)
                    .skip(drift.segments.0)
                    .flat_map(|segment| segment.readings);
                let later: Vec<usize> = later.collect();
                self.add(Reason::Drifting, later);
            }
        }
    }

    /// Plates: the factor of each step from the run's flow curve, and what has none.
    fn weissenberg_rabinowitsch(&mut self) {
        if self.setup.geometry.weissenberg_rabinowitsch_factor(1.0).is_none() {
            return;
        }
        let Some(settings) = self.params.weissenberg_rabinowitsch.on() else {
            return self.notes.remarks.push(Remark::ApparentStress { why: NoSlope::AsAsked });
        };
        let slopes = match Slopes::new(&self.levels, settings) {
            Ok(slopes) => slopes,
            Err(why) => return self.notes.remarks.push(Remark::ApparentStress { why }),
        };
        let mut without = Vec::new();
        for level in &self.levels {
            let factor = slopes
                .slope_at(level.speed, settings)
                .and_then(|slope| self.setup.geometry.weissenberg_rabinowitsch_factor(slope));
            without.extend(factor.is_none().then_some(level.step));
            self.stress_factors[level.stretch] = factor.unwrap_or(1.0);
        }
        self.notes.remarks.extend((!without.is_empty()).then_some(Remark::ApparentStressIn { steps: without }));
    }

    /// The factor of each step from its median temperature, and what has none.
    fn bring_to_one_temperature(&mut self) {
        let Some(settings) = self.params.temperature_correction.on() else { return };
        let scale = Scale::new(settings, &self.setup.sample.liquid);
        let temperature = self.readings.temperature_c.as_ref().ok_or(NoTemperature::NotExported);
        let (scale, temperature) = match scale.and_then(|scale| Ok((scale, temperature?))) {
            Ok(both) => both,
            Err(why) => return self.notes.remarks.push(Remark::RatesAsMeasured { why }),
        };
        let (mut factors, mut without) = (Vec::new(), Vec::new());
        for level in &self.levels {
            let of_step = self.stretches[level.stretch].iter().map(|at| temperature[*at]).filter(|t| t.is_finite());
            match median(of_step).and_then(|celsius| scale.rate_factor(celsius)) {
                Some(factor) => {
                    self.rate_factors[level.stretch] = factor;
                    factors.push(factor);
                }
                None => without.push(level.step),
            }
        }
        let (low, high) = factors.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), f| (l.min(*f), h.max(*f)));
        let brought = Remark::RatesAtOneTemperature { reference_c: scale.reference, low, high };
        self.notes.remarks.extend((!factors.is_empty()).then_some(brought));
        self.notes.remarks.extend((!without.is_empty()).then_some(Remark::RatesAsMeasuredIn { steps: without }));
    }

    fn flag_by_hand(&mut self) {
        for by_hand in self.setup.set_aside {
            let readings = rules::set_aside(&self.readings.time_s, &self.readings.step, by_hand);
            if readings.is_empty() {
                self.notes.remarks.push(Remark::NothingToExclude { because: by_hand.because.clone() });
            }
            self.add(Reason::SetAside, readings);
            match (by_hand.step, by_hand.from_s, by_hand.to_s) {
                (None, None, None) => self.notes.set_aside = Some(by_hand.because.clone()),
                (Some(step), None, None) => self.notes.set_aside_steps.push((step, by_hand.because.clone())),
                _ => {}
            }
        }
    }

    fn remark(&mut self) {
        let cautions = self.setup.geometry.cautions().into_iter();
        self.notes.remarks.extend(cautions.map(|caution| Remark::Geometry { caution }));
        self.notes.validity = self.flow().validity_checks();
        self.notes.remarks.extend(self.inertia_not_as_stated());
        if self.setup.inertia().is_none() && self.setup.torque_includes_inertia && !self.ramps.is_empty() {
            self.notes.remarks.push(Remark::InertiaUnknown);
        }
    }

    /// Where the torque at turning points contradicts what the layout states.
    fn inertia_not_as_stated(&self) -> Option<Remark> {
        let settings = self.params.inertia_as_stated.on()?;
        let found = inertia_in_export(&self.torque, &self.drive(), &self.levels, &self.stretches, settings)?;
        let stated = self.setup.torque_includes_inertia;
        ((found > 0.5) != stated).then_some(Remark::InertiaNotAsStated { stated, found })
    }

    /// A factor of each stretch for each of its readings; empty where all are 1.
    fn by_reading(&self, factors: &[f64]) -> Vec<f64> {
        let mut each = Vec::new();
        for (stretch, factor) in self.stretches.iter().zip(factors).filter(|(_, factor)| **factor != 1.0) {
            each.resize(self.readings.len(), 1.0);
            stretch.iter().for_each(|at| each[*at] = *factor);
        }
        each
    }

    fn finish(self) -> (Cleaned, CleanNotes) {
        let stress_factor = self.by_reading(&self.stress_factors);
        let rate_factor = self.by_reading(&self.rate_factors);
        let cleaned = Cleaned {
            constants: self.constants,
            readings: self.readings,
            torque: self.torque,
            sample_torque: self.sample_torque,
            inertia_torque: self.inertia_torque,
            speed: self.motion.speed,
            strain: self.motion.strain,
            stress_factor,
            rate_factor,
            flags: self.flags,
        };
        (cleaned, self.notes)
    }
}

/// Whether torque opposes the motion in most readings: steady shear dissipates, so only signs can be meant.
fn against(torque: &[f64], speed: &[f64]) -> bool {
    let powers = || torque.iter().zip(speed).map(|(m, v)| m * v);
    powers().filter(|p| *p < 0.0).count() > powers().filter(|p| *p > 0.0).count()
}

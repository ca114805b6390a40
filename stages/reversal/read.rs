//! Reads every reversal of one run: what the run says by itself, and how each value answers to the terms of
//! instrument and geometry and to other defensible settings. It knows no other run.

use super::before::{self, Steady, Stretches};
use super::bins::{Bin, Reading};
use super::dead::{Diffusion, dead_strain};
use super::estimator::{Change, Estimator, Fitted};
use super::find::{Turn, stops, turns};
use super::headline::{Minimum, averaged};
use super::noise::{self, Window};
use super::params::{Fit, Reading as Settings, Sensitivity};
use super::remark::{Remark, RunRemark};
use super::restart;
use super::result::{
    After, Before, Controlled, DeadStrain, Estimate, FormFit, LaterReading, Noise, OtherSetting, Restart, ReversalRead,
    RunRead, SensitivityCoefficient, SensitivityReading,
};
use super::rules::{ALIKE, ARRIVED, EARLY, LATER, RECOVERED, STRETCH, TWO_SIDED};
use super::secondary;
use super::trace::{Trace, median};
use super::transient::Form;
use crate::clean::result::{CleanNotes, Flags, MotionSource, Points, Reason};
use crate::physics::geometry::{Constants, Geometry};
use crate::physics::instrument::{Instrument, total_inertia};
use crate::physics::materials::Sample;
use crate::physics::validity::mixture_density;
use std::collections::BTreeMap;
use std::ops::Range;

/// What a run was measured with, beside its readings.
#[derive(Debug, Clone, Copy)]
pub(super) struct Setup<'a> {
    /// Path of the run.
    pub(super) run: &'a str,
    /// Geometry.
    pub(super) geometry: &'a Geometry,
    /// Instrument.
    pub(super) instrument: &'a Instrument,
    /// Sample.
    pub(super) sample: &'a Sample,
    /// What clean decided.
    pub(super) notes: &'a CleanNotes,
    /// Settings.
    pub(super) settings: &'a Settings,
}

/// A run that was read, and what that says about each of its readings.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Outcome {
    /// The values.
    pub(super) read: RunRead,
    /// Number within the run of the reversal that the reading follows; 0 where it follows none.
    pub(super) number: Vec<u32>,
    /// Strain since the turning point of that reversal; NaN where it follows none.
    pub(super) strain: Vec<f64>,
    /// Why a reading enters no value.
    pub(super) flags: Vec<Flags>,
}

/// Reads a run.
pub(super) fn read(mut points: Points, setup: &Setup<'_>) -> Outcome {
    let trace = Trace::new(&mut points);
    let speed_only = matches!(setup.notes.motion, MotionSource::Speed | MotionSource::Rate);
    let turns = turns(&trace, &setup.settings.find, speed_only);
    let run = Run { points: &points, trace: &trace, turns: &turns, setup, constants: setup.geometry.constants() };
    let found: Vec<Option<Found>> = (0..turns.len()).map(|k| run.found(k)).collect();
    let reversals: Vec<ReversalRead> = (0..turns.len()).map(|k| run.reversal(k, &found)).collect();
    let fell = found.iter().zip(1..).filter(|(f, _)| run.fell(f.as_ref()));
    let read = RunRead {
        restarts: run.restarts(),
        fallen: fell.map(|(_, number)| number).collect(),
        run: setup.run.to_owned(),
        rows: points.len() as u64,
        remarks: run.remarks(),
        ..RunRead::default()
    };
    let rows = points.len();
    let mut outcome =
        Outcome { read, number: vec![0; rows], strain: vec![f64::NAN; rows], flags: points.flags.clone() };
    for (k, reversal) in reversals.iter().enumerate() {
        run.mark(k, found[k].as_ref(), reversal, &mut outcome);
    }
    outcome.read.reversals = reversals;
    outcome
}

/// Counts of readings by reason, after marking.
pub(super) fn excluded(reasons: impl Iterator<Item = Reason>) -> BTreeMap<Reason, u64> {
    let mut counts = BTreeMap::new();
    for reason in reasons {
        *counts.entry(reason).or_insert(0) += 1;
    }
    counts
}

/// The stretches of a turn and the window before it.
#[derive(Debug, Clone, PartialEq)]
struct Found {
    stretches: Stretches,
    steady: Option<Steady>,
}

/// A run being read.
#[derive(Clone, Copy)]
struct Run<'a> {
    points: &'a Points,
    trace: &'a Trace,
    turns: &'a [Turn],
    setup: &'a Setup<'a>,
    constants: Constants,
}

impl Run<'_> {
    fn found(&self, k: usize) -> Option<Found> {
        let settings = &self.setup.settings;
        let stretches = before::stretches(self.trace, self.turns, k, &settings.find, &settings.before)?;
        let steady = before::window(self.trace, stretches.before.clone(), settings.before.window, &settings.before);
        Some(Found { stretches, steady })
    }

    /// Whether readings around a reversal lie behind an irreversible fall of the torque, which clean flags.
    fn fell(&self, found: Option<&Found>) -> bool {
        let around = found.map(|f| f.stretches.before.start..f.stretches.after.end);
        around.into_iter().flatten().any(|i| self.points.flags[self.trace.origin[i]].has(Reason::EdgeFracture))
    }

    fn restarts(&self) -> Vec<Restart> {
        let row = |i: usize| self.points.row[self.trace.origin[i]];
        let settings = self.setup.settings;
        let run = restart::Run { trace: self.trace, diffusion: self.diffusion(), settings, row: &row };
        run.restarts(self.turns, &stops(self.trace, &settings.find))
    }

    fn reversal(&self, k: usize, all: &[Option<Found>]) -> ReversalRead {
        let (turn, found) = (&self.turns[k], all[k].as_ref());
        let after = found.map_or(turn.first_after..turn.first_after + 1, |f| f.stretches.after.clone());
        let controlled = found.map_or(Controlled::Rate, |f| f.stretches.controlled);
        let origin = self.trace.origin[turn.first_after];
        let (set_point, controlled) = self.set_point(found, controlled);
        let mut reversal = ReversalRead {
            number: k as u32 + 1,
            row: self.points.row[origin],
            step: self.trace.step[turn.first_after],
            time_s: turn.time,
            sense_before: if turn.sense_before > 0.0 { 1 } else { -1 },
            controlled,
            controlled_found: set_point.is_none(),
            set_point_in_export: set_point,
            before: None,
            noise: None,
            dead: dead_strain(self.trace, turn, after.clone(), controlled, self.diffusion(), &self.setup.settings.dead),
            strain_after: turn.strain(self.trace, after.end - 1).max(0.0),
            speed_ratio: None,
            torque_after_n_m: self.torque_after(turn, after.clone()),
            after: None,
            later: Vec::new(),
            normal_stress_after_pa: self.normal_stress(&early(self.trace, turn, after.clone())),
            sensitivity_coefficients: Vec::new(),
            sensitivity: Vec::new(),
            torque_residual: Vec::new(),
            set_aside: self.set_aside(self.trace.step[turn.first_after]),
            remarks: Vec::new(),
        };
        if turn.rested {
            reversal.remarks.push(Remark::StoodStill);
        }
        if let Some((found, steady)) = found.and_then(|f| f.steady.as_ref().map(|s| (f, s))) {
            self.fill(&mut reversal, k, found, steady, all);
        }
        reversal
    }

    /// Everything that needs the viscosity before.
    fn fill(&self, reversal: &mut ReversalRead, k: usize, found: &Found, steady: &Steady, all: &[Option<Found>]) {
        let turn = &self.turns[k];
        let settings = self.setup.settings;
        reversal.noise = self.noise(found, all);
        let Some(noise) = reversal.noise else {
            reversal.remarks.push(Remark::NoiseUnknown);
            return;
        };
        let after = found.stretches.after.clone();
        let recovery = before::recovery(self.trace, turn, after.clone(), steady, &noise, &settings.before);
        let drift = before::drift(steady, &noise);
        reversal.before = Some(self.before(found, steady, &noise, drift, recovery));
        reversal.speed_ratio = self.speed_ratio(turn, after.clone(), found, steady);
        let estimator = Estimator {
            readings: self.readings(turn, after.clone()),
            first: reversal.dead.first_usable(),
            steady,
            noise: &noise,
            newtonian: self.setup.sample.control,
        };
        let base = estimator.run(&settings.fit, &Change::default(), None);
        let Some(base) = base else {
            reversal.remarks.push(Remark::FewReadings);
            return;
        };
        reversal.after = Some(self.after(&estimator, &base, turn));
        reversal.later = LATER.map(|factor| self.later(&estimator, &base, factor)).to_vec();
        reversal.sensitivity_coefficients = self.sensitivity_coefficients(&estimator, &base);
        if let Some(sensitivity) = settings.sensitivity.on() {
            reversal.sensitivity = self.sensitivity(&estimator, &base, sensitivity, &reversal.later, turn, found);
        }
        if self.setup.sample.control {
            reversal.torque_residual = self.torque_residual(turn, after, steady, &noise);
        }
    }

    /// Noise pooled over the windows of the run at this set-point: values of what was held within 5 %. Where they
    /// are too coarse to tell white from wander, all windows of the run; failing that, scatter taken as wander.
    fn noise(&self, of: &Found, all: &[Option<Found>]) -> Option<Noise> {
        let controlled = of.stretches.controlled;
        let value = |f: &Found| {
            f.steady.as_ref().map(|s| match controlled {
                Controlled::Rate => s.rate,
                Controlled::Stress => s.stress,
            })
        };
        let own = value(of)?;
        let same = |f: &&Found| {
            let other = value(f).unwrap_or(f64::NAN);
            f.stretches.controlled == controlled && (other / own).max(own / other) < ALIKE
        };
        let windows =
            |found: &[&Found]| found.iter().filter_map(|f| f.steady.as_ref().map(|s| s.window.clone())).collect();
        let every: Vec<&Found> = all.iter().flatten().collect();
        let alike: Vec<&Found> = every.iter().copied().filter(same).collect();
        let (alike, every): (Vec<Window>, Vec<Window>) = (windows(&alike), windows(&every));
        let (alike, every): (Vec<&Window>, Vec<&Window>) = (alike.iter().collect(), every.iter().collect());
        let lag = self.setup.settings.before.noise_lag;
        noise::pooled(&alike, lag).or_else(|| noise::pooled(&every, lag)).or_else(|| noise::scatter(&alike))
    }

    fn before(
        &self,
        found: &Found,
        steady: &Steady,
        noise: &Noise,
        drift: Option<Estimate>,
        recovery: Option<Estimate>,
    ) -> Before {
        let settings = &self.setup.settings.before;
        let relative = steady.u_relative(noise);
        let (u_stress, u_rate) = match found.stretches.controlled {
            Controlled::Rate => (relative, 0.0),
            Controlled::Stress => (0.0, relative),
        };
        let torque = median(steady.readings.iter().map(|i| self.trace.torque[*i].abs()).collect()).unwrap_or(f64::NAN);
        let stretch = &found.stretches.before;
        Before {
            stress_pa: Estimate { value: steady.stress, u: steady.stress * u_stress },
            rate_per_s: Estimate { value: steady.rate, u: steady.rate * u_rate },
            viscosity_pa_s: Estimate { value: steady.viscosity(), u: steady.viscosity() * relative },
            window_strain: steady.length,
            readings: steady.readings.len() as u32,
            record_strain: (self.trace.strain[stretch.end - 1] - self.trace.strain[stretch.start]).abs(),
            drift: drift.unwrap_or(Estimate { value: 0.0, u: 1.0 }),
            recovery,
            steady: before::is_steady(drift, recovery, settings),
            steady_not_shown: drift.is_none_or(|d| d.u > settings.drift_uncertainty),
            floors: self.setup.instrument.torque_floor.map(|floor| torque / floor),
            torque_n_m: torque,
            normal_stress_pa: self.normal_stress(&steady.readings),
        }
    }

    /// Set-point of the layout in the window before, and what it says was held.
    fn set_point(&self, found: Option<&Found>, controlled: Controlled) -> (Option<f64>, Controlled) {
        let Some(found) = found else { return (None, controlled) };
        let middle = |column: &Vec<f64>| {
            let of = |i: usize| column.get(self.trace.origin[i]).copied().unwrap_or(f64::NAN);
            let values = found.stretches.before.clone().map(|i| of(i).abs());
            median(values.collect()).filter(|v| *v > 0.0)
        };
        match (middle(&self.points.set_rate_per_s), middle(&self.points.set_stress_pa)) {
            (Some(rate), None) => (Some(rate), Controlled::Rate),
            (None, Some(stress)) => (Some(stress), Controlled::Stress),
            // Both, as some exports fill what was not asked for: the readings say which one was held.
            (Some(rate), Some(stress)) => {
                (Some(if controlled == Controlled::Rate { rate } else { stress }), controlled)
            }
            (None, None) => (None, controlled),
        }
    }

    fn diffusion(&self) -> Diffusion {
        Diffusion { density: mixture_density(self.setup.sample), gap: self.constants.widest_gap_m }
    }

    fn torque_after(&self, turn: &Turn, after: Range<usize>) -> Option<f64> {
        median(early(self.trace, turn, after).iter().map(|i| self.trace.torque[*i].abs()).collect())
    }

    /// Mean first normal-stress difference over readings.
    fn normal_stress(&self, readings: &[usize]) -> Option<f64> {
        let per_force = self.constants.normal_stress_per_force?;
        // What inertia of the sample takes off is put back (K. Walters, Rheometry, 1975).
        let inertial = self.constants.inertial_force.unwrap_or(0.0) * self.diffusion().density;
        let of = |origin: usize| {
            let speed = self.points.speed_rad_per_s[origin];
            self.points.normal_force_n[origin] + inertial * speed * speed
        };
        let force: Vec<f64> = readings.iter().map(|i| of(self.trace.origin[*i])).filter(|f| f.is_finite()).collect();
        (!force.is_empty()).then(|| per_force * force.iter().sum::<f64>() / force.len() as f64)
    }

    fn speed_ratio(&self, turn: &Turn, after: Range<usize>, found: &Found, steady: &Steady) -> Option<f64> {
        let settled = after.clone().filter(|i| turn.strain(self.trace, *i) >= ARRIVED.0);
        let speed = median(settled.map(|i| self.trace.rate[i].abs()).collect()).or_else(|| self.trace.speed(after))?;
        (found.stretches.controlled == Controlled::Rate).then_some(speed / steady.rate)
    }

    fn set_aside(&self, step: i64) -> Option<String> {
        let by_step = self.setup.notes.set_aside_steps.iter().find(|(s, _)| *s == step).map(|(_, why)| why.clone());
        self.setup.notes.set_aside.clone().or(by_step)
    }

    /// Kept readings after the turning point, signed so that the new sense is positive.
    fn readings(&self, turn: &Turn, after: Range<usize>) -> Vec<Reading> {
        let sign = -turn.sense_before;
        let known = |torque: f64| if torque.is_finite() { torque * self.constants.stress_per_torque } else { 0.0 };
        let kept = self.trace.kept_in(after).into_iter();
        kept.map(|i| Reading {
            strain: turn.strain(self.trace, i),
            stress: sign * self.trace.stress[i],
            rate: sign * self.trace.rate[i],
            inertia_stress: sign * known(self.trace.inertia[i]),
        })
        .collect()
    }

    fn after(&self, estimator: &Estimator<'_>, base: &Fitted, turn: &Turn) -> After {
        let (settings, steady, noise) = (&self.setup.settings.secondary, estimator.steady, estimator.noise);
        let u_before = steady.u_relative(noise);
        let fitted = averaged(&base.minima, |m| m.share(u_before));
        let u_zero = self.u_zero(estimator, base, turn, fitted.value);
        let share = Estimate { value: fitted.value, u: (fitted.u * fitted.u + u_zero * u_zero).sqrt() };
        let liquid = averaged(&base.minima, |m| Estimate { value: m.share(u_before).value, u: m.u_liquid() });
        let eta = steady.viscosity();
        let best = &base.minima[0];
        let last = base.bins[base.bins.len() - 1].strain;
        let curve: Vec<(f64, f64)> =
            secondary::strains(estimator.first, last).into_iter().map(|x| (x, best.curve(x).0)).collect();
        let minimum =
            secondary::lowest(&curve, settings.minimum_end).unwrap_or((estimator.first, best.curve(estimator.first).0));
        let fall = 1.0 - minimum.1;
        let significant = fall >= settings.significant_fall * (liquid.u * liquid.u + u_before * u_before).sqrt();
        // Where the interval of X covers zero there is nothing whose recovery could be asked for.
        let recovers = significant && share.value.abs() > TWO_SIDED * share.u && !estimator.newtonian;
        After {
            contact_share: share,
            u_zero,
            viscosity_pa_s: Estimate {
                value: eta * (1.0 - share.value),
                u: eta * (liquid.u * liquid.u + u_zero * u_zero).sqrt(),
            },
            forms: base.minima.iter().map(|m| form_fit(m, u_before)).collect(),
            squares_per_bin: best.squares * base.widening * base.widening / base.bins.len() as f64,
            early_bins: base.bins.iter().filter(|b| b.strain < EARLY).count() as u32,
            plateau: secondary::plateau(&base.bins, noise, settings).map(|level| (eta * level, 1.0 - level)),
            minimum_pa_s: eta * minimum.1,
            strain_at_minimum: minimum.0,
            recovery_strain: secondary::recovery(&curve, minimum, RECOVERED[0]).filter(|_| recovers),
            recovery_strain_90: secondary::recovery(&curve, minimum, RECOVERED[1]).filter(|_| recovers),
            contact_recovery_strain: recovers.then(|| secondary::contact_recovery(best)),
            bound: secondary::bound(&base.bins, noise, u_before, settings),
            curve: curve.iter().map(|(x, _)| (*x, best.curve(*x).1)).collect(),
            bins: base.bins.iter().map(|b| (b.strain, b.ratio, bin_u(b, noise))).collect(),
        }
    }

    /// What the place of Γ = 0 adds to the uncertainty: one refit with Γ moved by its standard uncertainty.
    fn u_zero(&self, estimator: &Estimator<'_>, base: &Fitted, turn: &Turn, share: f64) -> f64 {
        let change = Change { strain: turn.u_place, ..Change::default() };
        let moved = estimator.run(&self.setup.settings.fit, &change, Some(base));
        moved.map_or(0.0, |m| (m.share(estimator).value - share).abs())
    }

    fn sensitivity_coefficients(&self, estimator: &Estimator<'_>, base: &Fitted) -> Vec<SensitivityCoefficient> {
        let (geometry, instrument) = (self.setup.geometry, self.setup.instrument);
        let level =
            |term: String, shift: f64| SensitivityCoefficient { term, minus: (-shift, 0.0), plus: (shift, 0.0) };
        let mut found = Vec::new();
        if let Some(u) = instrument.torque_calibration.filter(|u| *u > 0.0) {
            found.push(level(format!("instruments.{}.torque_calibration", instrument.name), u));
        }
        for (key, power, u) in geometry.viscosity_terms().into_iter().filter(|(_, _, u)| *u > 0.0) {
            found.push(level(format!("geometries.{}.{key}", geometry.name), power * u));
        }
        let total = total_inertia(instrument.inertia, geometry.inertia).map_or(0.0, |i| i.value);
        let terms = [
            (format!("instruments.{}.inertia", instrument.name), instrument.inertia),
            (format!("geometries.{}.inertia", geometry.name), geometry.inertia),
        ];
        for (term, inertia) in terms {
            let u = inertia.map_or(0.0, |i| i.u);
            if u > 0.0 && total > 0.0 && self.setup.notes.inertia_corrected {
                let [minus, plus] = [-u, u].map(|d| (0.0, self.with_inertia(estimator, base, d / total)));
                found.push(SensitivityCoefficient { term, minus, plus });
            }
        }
        found
    }

    /// Change of the contact share when the moment of inertia is larger by a part of itself.
    fn with_inertia(&self, estimator: &Estimator<'_>, base: &Fitted, part: f64) -> f64 {
        let change = Change { inertia: part, ..Change::default() };
        let moved = estimator.run(&self.setup.settings.fit, &change, Some(base));
        moved.map_or(0.0, |m| m.share(estimator).value - base.share(estimator).value)
    }

    /// The contact share from a later strain on.
    fn later(&self, estimator: &Estimator<'_>, base: &Fitted, factor: f64) -> LaterReading {
        let change = Change { first: factor, ..Change::default() };
        let again = estimator.run(&self.setup.settings.fit, &change, Some(base));
        LaterReading { factor, contact_share: again.map(|f| f.share(estimator)) }
    }

    /// The contact share under other settings, one at a time; `later` was read already.
    fn sensitivity(
        &self,
        estimator: &Estimator<'_>,
        base: &Fitted,
        sensitivity: &Sensitivity,
        later: &[LaterReading],
        turn: &Turn,
        found: &Found,
    ) -> Vec<SensitivityReading> {
        let fit = &self.setup.settings.fit;
        let with = |setting: OtherSetting, fit: Fit| {
            let contact_share = estimator.run(&fit, &Change::default(), Some(base)).map(|f| f.share(estimator));
            SensitivityReading { setting, contact_share }
        };
        let late = |factor: &f64| {
            let known = later.iter().find(|known| known.factor == *factor).copied();
            let LaterReading { factor, contact_share } = known.unwrap_or_else(|| self.later(estimator, base, *factor));
            SensitivityReading { setting: OtherSetting::FirstUsableStrain { factor }, contact_share }
        };
        let prior = |factor: &f64| {
            let prior_width = fit.prior_width * factor;
            with(OtherSetting::PriorWidth { factor: *factor }, Fit { prior_width, ..fit.clone() })
        };
        let bin = |factor: &f64| {
            let bin_width = fit.bin_width * factor;
            with(OtherSetting::BinWidth { factor: *factor }, Fit { bin_width, ..fit.clone() })
        };
        let dead = sensitivity.dead_strain.iter().map(late);
        let (priors, bins) = (sensitivity.prior_width.iter().map(prior), sensitivity.bin_width.iter().map(bin));
        let release = (sensitivity.without_release && fit.release)
            .then(|| with(OtherSetting::WithoutRelease, Fit { release: false, ..fit.clone() }));
        let windows = sensitivity.window.iter().map(|strain| {
            let steady =
                before::window(self.trace, found.stretches.before.clone(), *strain, &self.setup.settings.before);
            let contact_share = steady.and_then(|steady| {
                let other = Estimator { steady: &steady, ..estimator.clone() };
                other.run(fit, &Change::default(), Some(base)).map(|f| f.share(&other))
            });
            SensitivityReading { setting: OtherSetting::WindowBefore { strain: *strain }, contact_share }
        });
        let spikes = sensitivity.with_spikes.then(|| SensitivityReading {
            setting: OtherSetting::SpikesKept,
            contact_share: self.with_spikes(estimator, base, turn, found),
        });
        dead.chain(windows).chain(priors).chain(release).chain(bins).chain(spikes).collect()
    }

    /// The contact share with the readings left in, before and after, that were set aside as spikes and for nothing else.
    fn with_spikes(&self, estimator: &Estimator<'_>, base: &Fitted, turn: &Turn, found: &Found) -> Option<Estimate> {
        let (before, after) = (found.stretches.before.clone(), found.stretches.after.clone());
        let is_spike = |i: &usize| self.points.flags[self.trace.origin[*i]].reasons().eq([Reason::Spike]);
        let spikes: Vec<usize> = before.clone().chain(after.clone()).filter(is_spike).collect();
        if spikes.is_empty() {
            return Some(base.share(estimator));
        }
        let mut trace = self.trace.clone();
        spikes.into_iter().for_each(|i| trace.kept[i] = trace.stress[i].is_finite());
        let settings = self.setup.settings;
        let steady = before::window(&trace, before, settings.before.window, &settings.before)?;
        let readings = Run { trace: &trace, ..*self }.readings(turn, after);
        let other = Estimator { readings, steady: &steady, ..estimator.clone() };
        other.run(&settings.fit, &Change::default(), Some(base)).map(|f| f.share(&other))
    }

    /// Deviation of a Newtonian liquid's torque from what its viscosity asks for at the measured rate, over strain
    /// 0.5 after the turning point: the instrument's own. The viscosity is that of strain 0.5 on in the new sense,
    /// so that an offset of the torque, which stays, is not taken for one that passes.
    fn torque_residual(
        &self,
        turn: &Turn,
        after: Range<usize>,
        steady: &Steady,
        noise: &Noise,
    ) -> Vec<(f64, f64, f64)> {
        let (early, late): (Vec<usize>, Vec<usize>) =
            self.trace.kept_in(after).into_iter().partition(|i| turn.strain(self.trace, *i) < 0.5);
        let settled = late.into_iter().filter(|i| turn.strain(self.trace, *i) < 2.0);
        let per_rate = median(settled.map(|i| self.trace.torque[i] / self.trace.rate[i]).collect());
        let Some(per_rate) = per_rate else { return Vec::new() };
        let u = (noise.white * noise.white + 2.0 * noise.correlated * noise.correlated).sqrt() * per_rate * steady.rate;
        early
            .into_iter()
            .map(|i| {
                let expected = per_rate * self.trace.rate[i];
                (self.trace.time[i] - turn.time, -turn.sense_before * (self.trace.torque[i] - expected), u)
            })
            .collect()
    }

    /// Readings after a turning point, and those of the ramp before it.
    /// Says of the readings of a turn which reversal they follow, at which strain, and why they come too early.
    fn mark(&self, k: usize, found: Option<&Found>, reversal: &ReversalRead, outcome: &mut Outcome) {
        let turn = &self.turns[k];
        let end = self.turns.get(k + 1).map_or(self.trace.len(), |next| next.end_before);
        let ramp = found.map_or(turn.first_after, |f| f.stretches.before.end)..turn.first_after;
        let mut mark = |i: usize, strain: f64, reasons: &[Reason]| {
            let at = self.trace.origin[i];
            (outcome.number[at], outcome.strain[at]) = (reversal.number, strain);
            reasons.iter().for_each(|reason| outcome.flags[at].add(*reason));
        };
        ramp.filter(|_| !turn.rested).for_each(|i| mark(i, 0.0, &[Reason::InstrumentInertia]));
        for i in turn.first_after..end {
            let strain = turn.strain(self.trace, i);
            mark(i, strain, &too_early(strain, &reversal.dead));
        }
    }

    fn remarks(&self) -> Vec<RunRemark> {
        let mut remarks = Vec::new();
        if self.turns.is_empty() {
            remarks.push(RunRemark::NoReversal);
        }
        if self.setup.sample.liquid.density.is_none() {
            remarks.push(RunRemark::DensityNotGiven);
        }
        remarks
    }
}

/// Reasons why a reading at this strain is not used.
fn too_early(strain: f64, dead: &DeadStrain) -> Vec<Reason> {
    let drive = strain < dead.speed.max(dead.inertia);
    let causes = [(drive, Reason::InstrumentInertia), (strain < dead.momentum, Reason::MomentumDiffusion)];
    causes.into_iter().filter(|(early, _)| *early).map(|(_, reason)| reason).collect()
}

/// Kept readings over [`STRETCH`].
fn early(trace: &Trace, turn: &Turn, after: Range<usize>) -> Vec<usize> {
    trace.kept_in(after).into_iter().filter(|i| (STRETCH.0..=STRETCH.1).contains(&turn.strain(trace, *i))).collect()
}

fn form_fit(minimum: &Minimum, u_before: f64) -> FormFit {
    FormFit {
        form: Form::name(minimum.form).to_owned(),
        weight: minimum.weight,
        contact_share: minimum.share(u_before),
        objective: minimum.objective,
        converged: minimum.converged,
    }
}

/// Standard uncertainty of a bin for figures.
fn bin_u(bin: &Bin, noise: &Noise) -> f64 {
    (noise::white(noise, bin.readings) + noise::covariance(noise, 0.0) * bin.ratio * bin.ratio).sqrt()
}

//! What the reversal stage hands on: `read` gives everything that a run says by itself, `control` what the
//! instrument does, `grading` the rows that states are made of. All in SI; JSON between tasks.

use crate::clean::result::{Account, Reason, ValidityCheck};
use crate::reversal::remark::{ControlRemark, Remark, RunRemark};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Which quantity the instrument held.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Controlled {
    /// Shear rate.
    #[default]
    Rate,
    /// Shear stress.
    Stress,
}

impl Controlled {
    /// As it stands in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Rate => "rate",
            Self::Stress => "stress",
        }
    }
}

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// The steady stretch before a reversal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Before {
    /// |stress|, Pa.
    pub stress_pa: Estimate,
    /// |rate|, 1/s.
    pub rate_per_s: Estimate,
    /// Viscosity, Pa s.
    pub viscosity_pa_s: Estimate,
    /// Strain of the window.
    pub window_strain: f64,
    /// Readings in the window.
    pub readings: u32,
    /// Strain on record since the last change of rate or sense.
    pub record_strain: f64,
    /// Relative change of viscosity over the window, from generalised least squares.
    pub drift: Estimate,
    /// ln(viscosity recovered / viscosity before), where strain 3 or more was recorded afterwards.
    pub recovery: Option<Estimate>,
    /// Steady by both tests.
    pub steady: bool,
    /// Drift known too badly to show steadiness.
    pub steady_not_shown: bool,
    /// Median |torque| over the window in units of the torque floor; none where the floor is not known.
    pub floors: Option<f64>,
    /// Median |torque|, N m, of the window.
    pub torque_n_m: f64,
    /// First normal-stress difference, Pa, where a force is there.
    pub normal_stress_pa: Option<f64>,
}

/// Noise of ln η within the run at this set-point: w² + s²·exp(−h/ℓ) in strain h.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Noise {
    /// White part, standard deviation of one reading.
    pub white: f64,
    /// Correlated part, standard deviation.
    pub correlated: f64,
    /// Correlation length in strain.
    pub length: f64,
}

/// One form of the transient and what it gives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FormFit {
    /// `plain`, `delay`, `release`, `delay+release`.
    pub form: String,
    /// Weight in the average, 0–1.
    pub weight: f64,
    /// Contact share.
    pub contact_share: Estimate,
    /// Penalised sum of squares.
    pub objective: f64,
    /// Whether the minimiser converged.
    pub converged: bool,
}

/// The headline estimate with what stands beside it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct After {
    /// Contact share at zero strain, averaged over forms, unclipped.
    pub contact_share: Estimate,
    /// Standard uncertainty of the place of Γ = 0, carried into the contact share (part of its u).
    pub u_zero: f64,
    /// Viscosity at zero strain, Pa s.
    pub viscosity_pa_s: Estimate,
    /// The forms.
    pub forms: Vec<FormFit>,
    /// Sum of squares per bin of the best form, in the noise before the reversal; above 1 the errors are widened.
    pub squares_per_bin: f64,
    /// Bins with strain below 0.1.
    pub early_bins: u32,
    /// Early plateau: viscosity in Pa s and contact share, where there is a flat stretch.
    pub plateau: Option<(f64, f64)>,
    /// Minimum of the fitted curve, Pa s, and its strain.
    pub minimum_pa_s: f64,
    /// Strain at the minimum.
    pub strain_at_minimum: f64,
    /// Strain to 63.2 % of the way from the minimum to the value before; none where the fall is not significant.
    pub recovery_strain: Option<f64>,
    /// Strain to 90 %.
    pub recovery_strain_90: Option<f64>,
    /// The contacts' own strain to 63.2 %.
    pub contact_recovery_strain: Option<f64>,
    /// 1 − min(trace)/((1 − d_max)·η) less 1.645 u; none where it is ≤ 0.
    pub bound: Option<f64>,
    /// Fitted curve for figures: (strain, η/η_before) of the best form.
    pub curve: Vec<(f64, f64)>,
    /// Binned trace for figures: (strain, η/η_before, u).
    pub bins: Vec<(f64, f64, f64)>,
}

/// First usable strain by each cause; the largest decides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeadStrain {
    /// Speed not yet within its band.
    pub speed: f64,
    /// Inertia torque too large a part of the sample torque.
    pub inertia: f64,
    /// Momentum still diffusing.
    pub momentum: f64,
    /// Too few readings inside the ramp, or the first reading itself.
    pub sampling: f64,
    /// The control of the same instrument and geometry not yet back; 0 where there is none.
    pub control: f64,
}

impl DeadStrain {
    /// The largest.
    pub fn first_usable(&self) -> f64 {
        [self.speed, self.inertia, self.momentum, self.sampling, self.control].into_iter().fold(0.0, f64::max)
    }
}

/// What one instrument or sample term does to a reversal when it is moved by its standard uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SensitivityCoefficient {
    /// `instruments.bench.inertia`, `geometries.cone.radius`, …: the term's place in the study file, so that
    /// tasks can share one draw.
    pub term: String,
    /// ln(viscosity before) and contact share at −u, relative to the value in force.
    pub minus: (f64, f64),
    /// The same at +u.
    pub plus: (f64, f64),
}

/// A setting of the reading that could be defended as well as the one in force.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "setting", rename_all = "kebab-case")]
pub enum OtherSetting {
    /// The first usable strain, times `factor`.
    FirstUsableStrain {
        /// Factor on the one in force.
        factor: f64,
    },
    /// Another length of the window before.
    WindowBefore {
        /// Its strain.
        strain: f64,
    },
    /// The width of the priors, times `factor`.
    PriorWidth {
        /// Factor on the one in force.
        factor: f64,
    },
    /// Forms with an elastic release left out.
    WithoutRelease,
    /// The width of the strain bins, times `factor`.
    BinWidth {
        /// Factor on the one in force.
        factor: f64,
    },
    /// Readings that count as spikes left in.
    SpikesKept,
}

impl OtherSetting {
    /// Factor on the first usable strain, where that is what was chosen.
    pub fn strain_factor(self) -> Option<f64> {
        match self {
            Self::FirstUsableStrain { factor } => Some(factor),
            _ => None,
        }
    }
}

/// Contact share under another defensible setting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SensitivityReading {
    /// The setting.
    pub setting: OtherSetting,
    /// Contact share; none where the setting leaves too little to fit.
    pub contact_share: Option<Estimate>,
}

/// Contact share from a later strain on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LaterReading {
    /// Factor on the first usable strain.
    pub factor: f64,
    /// Contact share; none where too little is left to fit.
    pub contact_share: Option<Estimate>,
}

/// One reversal as its own run tells it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReversalRead {
    /// Number within the run, from 1.
    pub number: u32,
    /// Line in the export of the first reading after the turning point.
    pub row: u32,
    /// Step that begins with the reversal.
    pub step: i64,
    /// Time of the turning point, s.
    pub time_s: f64,
    /// +1 where the motion before was positive.
    pub sense_before: i8,
    /// What was held.
    pub controlled: Controlled,
    /// What was decided from the readings, or from the layout, about what was held.
    pub controlled_found: bool,
    /// Set-point from the layout: stress in Pa or rate in 1/s.
    pub set_point_in_export: Option<f64>,
    /// The stretch before; none where there is no steady motion to read.
    pub before: Option<Before>,
    /// Noise, where it could be found.
    pub noise: Option<Noise>,
    /// First usable strain by cause.
    pub dead: DeadStrain,
    /// Strain on record after the turning point, in the new sense.
    pub strain_after: f64,
    /// |speed| after / |speed| before, medians; rate control only.
    pub speed_ratio: Option<f64>,
    /// Median |torque| over strain 0.02–0.3 after, N m.
    pub torque_after_n_m: Option<f64>,
    /// The estimates; none where there is nothing to fit.
    pub after: Option<After>,
    /// Contact shares from later strains on, by rising factor: one of them counts where the control comes back late.
    pub later: Vec<LaterReading>,
    /// Mean normal-stress difference over strain 0.02–0.3 after, Pa.
    pub normal_stress_after_pa: Option<f64>,
    /// Responses to instrument and sample terms.
    pub sensitivity_coefficients: Vec<SensitivityCoefficient>,
    /// Values over the grid of choices.
    pub sensitivity: Vec<SensitivityReading>,
    /// Deviation of torque from its steady value after the turning point, for controls:
    /// (time since turning / s, torque / N m, its u).
    pub torque_residual: Vec<(f64, f64, f64)>,
    /// Excluded by hand, and why.
    pub set_aside: Option<String>,
    /// What is to be said of it.
    pub remarks: Vec<Remark>,
}

/// A stop after which the sample was sheared on in the old sense, under the same command.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Restart {
    /// Line in the export of the first reading after the leaving.
    pub row: u32,
    /// Time of the leaving, s.
    pub time_s: f64,
    /// 1 − η/η_before over strain 0.02–0.3 after the leaving, which must be zero; none where it cannot be read.
    pub drop: Option<Estimate>,
}

/// All that one run says by itself.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct RunRead {
    /// Path of the run in the study.
    pub run: String,
    /// The reversals in order.
    pub reversals: Vec<ReversalRead>,
    /// Stops after which the sample was sheared on in the old sense.
    pub restarts: Vec<Restart>,
    /// Numbers of reversals around which the torque fell for good.
    pub fallen: Vec<u32>,
    /// What is to be said of the run.
    pub remarks: Vec<RunRemark>,
    /// Readings excluded by reason.
    pub excluded: BTreeMap<Reason, u64>,
    /// Where each reading went.
    pub account: Account,
    /// All readings.
    pub rows: u64,
}

/// False torque of the drive at a time after the turning point, per change of rate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FalseTorque {
    /// Time since the turning point, s.
    pub time_s: f64,
    /// Torque in the new sense per change of rate, N m s.
    pub torque_n_m_s: f64,
    /// Its standard uncertainty.
    pub u: f64,
}

/// What the control of one instrument and geometry says.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Control {
    /// Control runs that were used.
    pub runs: Vec<String>,
    /// Reversals in them.
    pub reversals: u32,
    /// Mean apparent contact share, which must be zero; none without resolved reversals.
    pub contact_share: Option<Estimate>,
    /// Time after the turning point at which the torque is back within 2 u, s: largest over the reversals that
    /// can tell.
    pub dead_time_s: Option<f64>,
    /// Torque that does not change sign with the sense, N m.
    pub torque_offset_n_m: Option<Estimate>,
    /// Torque beyond what the liquid asks for, mean over the reversals.
    pub false_torque: Vec<FalseTorque>,
    /// |contact share| > 2 u and > 0.01.
    pub failed: bool,
    /// What is to be said of it, the gravest first.
    pub remarks: Vec<ControlRemark>,
}

/// Grade of a reversal by the printed rules.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Grade {
    /// Enters states, nothing to remark.
    A,
    /// Enters states, with remarks.
    B,
    /// Shown, does not enter states.
    C,
    /// Not usable.
    F,
}

impl Grade {
    /// As it stands in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::B => "B",
            Self::C => "C",
            Self::F => "F",
        }
    }
}

/// Who a run is: resolved from settings and preamble.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Identity {
    /// Path of the run in the study.
    pub run: String,
    /// BLAKE3 of the raw export.
    pub blake3: String,
    /// Sample name.
    pub sample: String,
    /// Control run.
    pub control: bool,
    /// Solid volume fraction, none for controls.
    pub volume_fraction: Option<f64>,
    /// Its standard uncertainty.
    pub u_volume_fraction: Option<f64>,
    /// Name of the geometry.
    pub geometry: String,
    /// Name of the instrument.
    pub instrument: String,
    /// Loading.
    pub loading: String,
    /// Repeat, none where not told.
    pub repeat: Option<String>,
    /// Start of the run, if told.
    pub started: Option<String>,
    /// Rows of data in the export.
    pub rows: u64,
    /// Chosen entries of the preamble by their keys; none where the export lacks it.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub preamble: BTreeMap<String, Option<String>>,
}

/// A graded reversal: everything a state or a table needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Graded {
    /// What the run says by itself, with `dead.control` filled in.
    pub read: ReversalRead,
    /// Control terms joined: contact share with its full standard uncertainty.
    pub contact_share: Option<Estimate>,
    /// Whether the value can be used as one.
    pub resolved: bool,
    /// The interval of the contact share at 95 %; low alone where only a bound is known.
    pub contact_share_low: Option<f64>,
    /// Upper end.
    pub contact_share_high: Option<f64>,
    /// Grade.
    pub grade: Grade,
    /// Why this grade, and remarks of `read`.
    pub remarks: Vec<Remark>,
}

/// What `grading` gives for a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GradedRun {
    /// Who the run is.
    pub identity: Identity,
    /// Its reversals.
    pub reversals: Vec<Graded>,
    /// Readings excluded by reason; a reading with several counts under each.
    pub excluded: BTreeMap<Reason, u64>,
    /// Where each row of the export went, so that the numbers add up.
    pub account: Account,
    /// Numbers by which the flow is judged.
    pub validity: Vec<ValidityCheck>,
    /// What reading the export has to say.
    pub ingest_remarks: Vec<crate::ingest::remark::Remark>,
    /// What cleaning has to say.
    pub clean_remarks: Vec<crate::clean::remark::Remark>,
    /// What this stage has to say.
    pub remarks: Vec<RunRemark>,
}

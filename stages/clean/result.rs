//! What clean hands on: the readings with stress, rate and strain, why which are excluded, and the checks of the flow.

use crate::clean::remark::Remark;
use crate::ingest::result::Readings;
use crate::physics::geometry::Constants;
use crate::table::{Columns, Long, Table, TableError, long_to_parquet};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Why a reading is excluded, the primary reason first: what was never measured comes before what somebody took out,
/// whole steps before single readings. Where numbers must add up, a reading counts under the first reason that it has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// Torque, time or motion is blank or no number.
    Missing,
    /// The time goes back.
    Clock,
    /// The time is that of the reading before.
    Duplicate,
    /// By hand, in the study file.
    SetAside,
    /// The step's torque is above the instrument's ceiling.
    AboveTorqueCeiling,
    /// The step's torque is too few torque floors.
    BelowTorqueFloor,
    /// Inertia of the sample drives a secondary flow in the step.
    SecondaryFlow,
    /// Behind an irreversible fall of the torque, or the step's stress is above what the edge holds.
    EdgeFracture,
    /// A later visit of a set-point whose viscosity is not that of the first.
    Drifting,
    /// The torque is spent on turning the rotor's own mass, or the drive is still turning round.
    InstrumentInertia,
    /// Momentum still crosses the gap.
    MomentumDiffusion,
    /// It stands out from its neighbours.
    Spike,
}

impl Reason {
    /// Every reason, the primary one first.
    pub const ALL: [Self; 12] = [
        Self::Missing,
        Self::Clock,
        Self::Duplicate,
        Self::SetAside,
        Self::AboveTorqueCeiling,
        Self::BelowTorqueFloor,
        Self::SecondaryFlow,
        Self::EdgeFracture,
        Self::Drifting,
        Self::InstrumentInertia,
        Self::MomentumDiffusion,
        Self::Spike,
    ];

    /// As it stands in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::Clock => "clock",
            Self::Duplicate => "duplicate",
            Self::SetAside => "set-aside",
            Self::AboveTorqueCeiling => "above-torque-ceiling",
            Self::BelowTorqueFloor => "below-torque-floor",
            Self::SecondaryFlow => "secondary-flow",
            Self::EdgeFracture => "edge-fracture",
            Self::Drifting => "drifting",
            Self::InstrumentInertia => "instrument-inertia",
            Self::MomentumDiffusion => "momentum-diffusion",
            Self::Spike => "spike",
        }
    }

    /// The reason of this name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|reason| reason.name() == name)
    }
}

/// Reasons for which one reading is excluded: a bit for each of [`Reason::ALL`]; none set means kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Flags(u16);

impl Flags {
    /// Adds a reason; one that is there already is not added twice.
    pub fn add(&mut self, reason: Reason) {
        self.0 |= 1 << reason as u16;
    }

    /// Whether no reason was found.
    pub fn kept(&self) -> bool {
        self.0 == 0
    }

    /// Whether this is one of the reasons.
    pub fn has(&self, reason: Reason) -> bool {
        self.0 >> reason as u16 & 1 == 1
    }

    /// The reasons, the primary one first.
    pub fn reasons(self) -> impl Iterator<Item = Reason> {
        Reason::ALL.into_iter().filter(move |reason| self.has(*reason))
    }

    /// As it stands in tables: names sorted, with `;` between; null for kept.
    pub fn to_cell(&self) -> Option<String> {
        let mut names: Vec<&str> = self.reasons().map(Reason::name).collect();
        names.sort_unstable();
        (!names.is_empty()).then(|| names.join(";"))
    }

    /// Back from a table; none where a name is of no reason.
    pub fn from_cell(cell: Option<&str>) -> Option<Self> {
        let mut flags = Self::default();
        for name in cell.into_iter().flat_map(|names| names.split(';')) {
            flags.add(Reason::named(name)?);
        }
        Some(flags)
    }
}

/// Readings of one run with derived columns; NaN where missing or not known. All vectors have one length,
/// and every row of ingest is there.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Points {
    /// Line in the export.
    pub row: Vec<u32>,
    /// Step.
    pub step: Vec<i64>,
    /// Time, s.
    pub time_s: Vec<f64>,
    /// Torque as exported, or stress times the geometry's constant, N m.
    pub torque_n_m: Vec<f64>,
    /// Torque on the sample: inertia taken off where it is known, N m.
    pub sample_torque_n_m: Vec<f64>,
    /// I·dΩ/dt that was taken off, or would have to be, N m; NaN where not known.
    pub inertia_torque_n_m: Vec<f64>,
    /// Speed from the motion, rad/s.
    pub speed_rad_per_s: Vec<f64>,
    /// Stress on the sample, Pa, signed.
    pub stress_pa: Vec<f64>,
    /// Rate from the motion, at one temperature where that was asked for, 1/s, signed.
    pub rate_per_s: Vec<f64>,
    /// Strain position, signed: grows with positive rate and turns back at reversal.
    pub strain: Vec<f64>,
    /// stress/rate, Pa s; NaN where the rate is not known.
    pub viscosity_pa_s: Vec<f64>,
    /// Axial force, N.
    pub normal_force_n: Vec<f64>,
    /// Temperature, °C.
    pub temperature_c: Vec<f64>,
    /// Set-point as stress, Pa, where the layout has it.
    pub set_stress_pa: Vec<f64>,
    /// Set-point as rate, 1/s, where the layout has it.
    pub set_rate_per_s: Vec<f64>,
    /// Why readings are excluded.
    pub flags: Vec<Flags>,
}

/// Readings of one run with what was made of them; all columns have one length. What follows from others is made when
/// it is written, since readings can be many.
#[derive(Debug, Clone)]
pub struct Cleaned {
    pub(super) constants: Constants,
    /// Row, step, time and the columns that are handed on as they are.
    pub(super) readings: Readings,
    pub(super) torque: Vec<f64>,
    pub(super) sample_torque: Vec<f64>,
    /// Empty where no moment of inertia is known.
    pub(super) inertia_torque: Vec<f64>,
    pub(super) speed: Vec<f64>,
    pub(super) strain: Vec<f64>,
    /// Stress over the apparent one; empty where it is that.
    pub(super) stress_factor: Vec<f64>,
    /// Rate at the reference temperature over the measured one; empty where it is that.
    pub(super) rate_factor: Vec<f64>,
    pub(super) flags: Vec<Flags>,
}

/// What a column holds in a row.
type InRow = fn(&Cleaned, usize) -> f64;

impl Cleaned {
    /// Those of [`Points::FLOATS`].
    const FLOATS: [InRow; 13] = [
        |c, row| c.readings.time_s[row],
        |c, row| c.torque[row],
        |c, row| c.sample_torque[row],
        |c, row| c.inertia_torque.get(row).copied().unwrap_or(f64::NAN),
        |c, row| c.speed[row],
        Self::stress,
        Self::rate,
        |c, row| c.strain[row],
        |c, row| match Self::rate(c, row) {
            0.0 => f64::NAN,
            rate => Self::stress(c, row) / rate,
        },
        |c, row| or_none(&c.readings.normal_force_n, row),
        |c, row| or_none(&c.readings.temperature_c, row),
        |c, row| or_none(&c.readings.set_stress_pa, row),
        |c, row| or_none(&c.readings.set_rate_per_s, row),
    ];

    fn stress(&self, row: usize) -> f64 {
        self.sample_torque[row] * self.constants.stress_per_torque * self.stress_factor.get(row).copied().unwrap_or(1.0)
    }

    fn rate(&self, row: usize) -> f64 {
        let of_speed = || self.speed[row] * self.constants.rate_per_speed;
        let measured = self.readings.rate_per_s.as_ref().map_or_else(of_speed, |rate| rate[row]);
        measured * self.rate_factor.get(row).copied().unwrap_or(1.0)
    }

    /// The Parquet bytes of the table that the reversal stage reads.
    ///
    /// # Errors
    /// If the columns differ in length.
    pub fn to_parquet(&self) -> Result<Vec<u8>, TableError> {
        let excluded = |row: usize| self.flags[row].to_cell();
        let floats = Self::FLOATS.map(|of| move |row: usize| of(self, row));
        let mut columns = vec![("row", Long::Line(&self.readings.row)), ("step", Long::Int(&self.readings.step))];
        columns.extend(Points::FLOATS.into_iter().zip(&floats).map(|(name, float)| (name, Long::FloatAt(float))));
        columns.push(("excluded", Long::TextAt(&excluded)));
        long_to_parquet(self.readings.len(), &columns)
    }
}

fn or_none(column: &Option<Vec<f64>>, row: usize) -> f64 {
    column.as_ref().map_or(f64::NAN, |values| values[row])
}

/// Where all rows of an export went: `rows` = `kept` + all of `excluded` + all of `refused`.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Account {
    /// Rows of data in the export.
    pub rows: u64,
    /// Readings that may enter a value.
    pub kept: u64,
    /// Excluded readings, each under its primary reason.
    pub excluded: BTreeMap<Reason, u64>,
    /// Rows that could not be read, by the reason that ingest gives.
    pub refused: BTreeMap<String, u64>,
}

impl Account {
    /// From the flags of all readings.
    pub fn new<'a>(flags: impl Iterator<Item = &'a Flags>) -> Self {
        let mut account = Self::default();
        for flags in flags {
            account.rows += 1;
            match flags.reasons().next() {
                None => account.kept += 1,
                Some(primary) => *account.excluded.entry(primary).or_insert(0) += 1,
            }
        }
        account
    }

    /// Adds the rows that could not be read, by reason.
    pub fn refuse(&mut self, refused: &BTreeMap<String, u64>) {
        self.rows += refused.values().sum::<u64>();
        self.refused.clone_from(refused);
    }
}

/// A number by which it is judged whether the flow was what it is taken for, with what it was made from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "check", rename_all = "kebab-case")]
pub enum Check {
    /// Smallest steady torque in torque floors.
    TorqueInFloors,
    /// Largest steady torque over the torque ceiling.
    TorqueOfCeiling,
    /// Strain that a twist of the instrument would mimic at a reversal.
    StrainOfTwist {
        /// Torsional compliance that was taken, rad/(N m).
        compliance: f64,
    },
    /// What inertia of the sample takes off N₁, Pa; it was added back.
    InertialNormalStress,
    /// Reynolds number of the gap.
    Reynolds {
        /// Part that the secondary flow adds to the torque.
        excess: f64,
    },
    /// Taylor number between cylinders.
    Taylor,
    /// ρh²/η, s.
    MomentumTime,
    /// Stress over what the edge holds by surface tension.
    EdgeStress,
    /// Stress over the older and lower limit of the edge.
    EdgeStressOlderLimit,
    /// Stress over surface tension by particle radius.
    Confinement,
    /// Nahme number.
    Nahme {
        /// By how much the middle of the gap would be warmer, K.
        warming_k: f64,
        /// Thermal conductivity that was taken, W/(m K).
        conductivity: f64,
    },
    /// Span of the temperatures of the steps, K.
    TemperatureSpan {
        /// Lowest, °C.
        low_c: f64,
        /// Highest, °C.
        high_c: f64,
        /// Relative change of the liquid's viscosity per kelvin that was taken.
        per_kelvin: f64,
    },
    /// Narrowest gap in particle diameters.
    GapTooNarrow {
        /// That gap, m.
        gap_m: f64,
    },
    /// Inertia of the liquid around a particle.
    ParticleReynolds,
    /// Inertia of a particle.
    Stokes,
    /// Shear against Brownian motion.
    Peclet {
        /// Whether the temperature was measured; else 25 °C.
        measured: bool,
    },
    /// Part of the widest gap that particles would settle, or rise, at rest during the run.
    Settled {
        /// Whether they rise.
        rise: bool,
        /// Duration of the run, s.
        seconds: f64,
    },
    /// Stress over the weight of a layer of particles.
    StressOverWeight,
}

impl Check {
    /// As it stands in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::TorqueInFloors => "torque-in-floors",
            Self::TorqueOfCeiling => "torque-of-ceiling",
            Self::StrainOfTwist { .. } => "strain-of-twist",
            Self::InertialNormalStress => "inertial-normal-stress",
            Self::Reynolds { .. } => "reynolds",
            Self::Taylor => "taylor",
            Self::MomentumTime => "momentum-time",
            Self::EdgeStress => "edge-stress",
            Self::EdgeStressOlderLimit => "edge-stress-older-limit",
            Self::Confinement => "confinement",
            Self::Nahme { .. } => "nahme",
            Self::TemperatureSpan { .. } => "temperature-span",
            Self::GapTooNarrow { .. } => "gap-too-narrow",
            Self::ParticleReynolds => "particle-reynolds",
            Self::Stokes => "stokes",
            Self::Peclet { .. } => "peclet",
            Self::Settled { .. } => "settled",
            Self::StressOverWeight => "stress-over-weight",
        }
    }

    /// Unit of its value; empty for none.
    pub const fn unit(self) -> &'static str {
        match self {
            Self::InertialNormalStress => "Pa",
            Self::MomentumTime => "s",
            Self::TemperatureSpan { .. } => "K",
            _ => "",
        }
    }

    /// Whether flags and grades tell of it reading by reading, so that the run need not.
    pub const fn told_by_flags(self) -> bool {
        matches!(self, Self::TorqueInFloors | Self::TorqueOfCeiling)
    }
}

/// A check at its worst over the steps of a run.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ValidityCheck {
    /// What it is.
    #[serde(flatten)]
    pub check: Check,
    /// Step where it is worst; none where it is of the whole run.
    pub step: Option<i64>,
    /// The value, SI.
    pub value: f64,
    /// What it is held against.
    pub bound: Option<f64>,
    /// Whether it is within; none where there is no bound.
    pub holds: Option<bool>,
}

/// Where the strain position of a run comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MotionSource {
    /// The angle.
    Angle,
    /// The exported strain.
    Strain,
    /// The integral of the exported speed.
    Speed,
    /// The integral of the exported rate.
    Rate,
    /// There is no motion in the export.
    #[default]
    None,
}

/// What was decided for the run as a whole.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct CleanNotes {
    /// Sampling interval known well enough for dΩ/dt, and inertia known: the correction was applied.
    pub inertia_corrected: bool,
    /// Where the strain position comes from.
    pub motion: MotionSource,
    /// Whole run excluded by hand: the reason.
    pub set_aside: Option<String>,
    /// Steps excluded by hand and why.
    pub set_aside_steps: Vec<(i64, String)>,
    /// Numbers by which the flow is judged.
    pub validity: Vec<ValidityCheck>,
    /// What else is to be said of the run.
    pub remarks: Vec<Remark>,
}

/// The flags of the readings.
fn excluded(columns: &Columns<'_>) -> Result<Vec<Flags>, TableError> {
    let cells = columns.texts("excluded", Flags::from_cell)?.unwrap_or_default();
    let unknown = || TableError::new("column excluded holds a reason that this version does not know");
    cells.into_iter().map(|flags| flags.ok_or_else(unknown)).collect()
}

impl Points {
    const FLOATS: [&'static str; 13] = [
        "time_s",
        "torque_n_m",
        "sample_torque_n_m",
        "inertia_torque_n_m",
        "speed_rad_per_s",
        "stress_pa",
        "rate_per_s",
        "strain",
        "viscosity_pa_s",
        "normal_force_n",
        "temperature_c",
        "set_stress_pa",
        "set_rate_per_s",
    ];

    fn floats(&self) -> [&Vec<f64>; 13] {
        [
            &self.time_s,
            &self.torque_n_m,
            &self.sample_torque_n_m,
            &self.inertia_torque_n_m,
            &self.speed_rad_per_s,
            &self.stress_pa,
            &self.rate_per_s,
            &self.strain,
            &self.viscosity_pa_s,
            &self.normal_force_n,
            &self.temperature_c,
            &self.set_stress_pa,
            &self.set_rate_per_s,
        ]
    }

    /// Number of readings.
    pub fn len(&self) -> usize {
        self.row.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.row.is_empty()
    }

    /// As the table that the reversal stage reads.
    pub fn to_table(&self) -> Table {
        let mut table = Table::new()
            .int("row", self.row.iter().map(|r| Some(i64::from(*r))))
            .int("step", self.step.iter().map(|s| Some(*s)));
        for (name, values) in Self::FLOATS.into_iter().zip(self.floats()) {
            table = table.float(name, values.iter().map(|v| Some(*v)));
        }
        table.text("excluded", self.flags.iter().map(Flags::to_cell))
    }

    /// From Parquet bytes that [`Cleaned::to_parquet`] made.
    ///
    /// # Errors
    /// If they are not.
    pub fn from_parquet(bytes: &[u8]) -> Result<Self, TableError> {
        let columns = Columns::open(bytes)?;
        let float = |name: &str| columns.floats(name).map(Option::unwrap_or_default);
        Ok(Self {
            torque_n_m: float("torque_n_m")?,
            viscosity_pa_s: float("viscosity_pa_s")?,
            temperature_c: float("temperature_c")?,
            set_stress_pa: float("set_stress_pa")?,
            set_rate_per_s: float("set_rate_per_s")?,
            ..Self::for_reversals(bytes)?
        })
    }

    /// The same without what only passes through the search for reversals, which stays empty: torque as exported,
    /// viscosity and temperature; and set-points where the export has none.
    ///
    /// # Errors
    /// As [`Self::from_parquet`].
    pub fn for_reversals(bytes: &[u8]) -> Result<Self, TableError> {
        let columns = Columns::open(bytes)?;
        let float = |name: &str| columns.floats(name).map(Option::unwrap_or_default);
        let some = |values: &Vec<f64>| values.iter().any(|value| !value.is_nan());
        let if_any = |name: &str| columns.floats(name).map(|values| values.filter(some).unwrap_or_default());
        Ok(Self {
            set_stress_pa: if_any("set_stress_pa")?,
            set_rate_per_s: if_any("set_rate_per_s")?,
            row: columns.ints("row")?,
            step: columns.ints("step")?,
            time_s: float("time_s")?,
            sample_torque_n_m: float("sample_torque_n_m")?,
            inertia_torque_n_m: float("inertia_torque_n_m")?,
            speed_rad_per_s: float("speed_rad_per_s")?,
            stress_pa: float("stress_pa")?,
            rate_per_s: float("rate_per_s")?,
            strain: float("strain")?,
            normal_force_n: float("normal_force_n")?,
            flags: excluded(&columns)?,
            ..Self::default()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reasons_have_one_name_each_and_come_back_from_a_table() {
        for (at, reason) in Reason::ALL.into_iter().enumerate() {
            assert_eq!((reason as usize, Reason::named(reason.name())), (at, Some(reason)));
        }
        let mut flags = Flags::default();
        [Reason::Spike, Reason::InstrumentInertia, Reason::Spike].into_iter().for_each(|r| flags.add(r));
        assert_eq!(flags.to_cell().as_deref(), Some("instrument-inertia;spike"));
        assert_eq!(Flags::from_cell(Some("instrument-inertia;spike")), Some(flags));
        assert_eq!(Flags::from_cell(None), Some(Flags::default()));
        // A reason that nobody knows must not keep the reading.
        assert_eq!(Flags::from_cell(Some("spike;moonlight")), None);
    }

    #[test]
    fn an_account_adds_up_whatever_the_reasons() {
        let flags = |reasons: &[Reason]| {
            let mut flags = Flags::default();
            reasons.iter().for_each(|r| flags.add(*r));
            flags
        };
        let all = [
            flags(&[]),
            flags(&[Reason::Spike, Reason::SetAside]),
            flags(&[Reason::Spike]),
            flags(&[Reason::Spike, Reason::Missing]),
            flags(&[]),
        ];
        let refused = BTreeMap::from([("missing time".to_owned(), 3)]);
        let mut account = Account::new(all.iter());
        account.refuse(&refused);
        assert_eq!((account.rows, account.kept), (8, 2));
        assert_eq!(account.excluded, [(Reason::Missing, 1), (Reason::SetAside, 1), (Reason::Spike, 1)].into());
        assert_eq!(account.refused, refused);
    }
}

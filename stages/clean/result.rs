//! What clean hands on: the readings with stress, rate and strain, and the fate of each.

use crate::ingest::result::Readings;
use crate::physics::geometry::Constants;
use crate::table::{Columns, Long, Table, TableError, long_to_parquet};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Reasons for which a reading is set aside, in one set per reading: a bit for each of [`REASONS`].
///
/// Written sorted with `;` between; empty means kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Flags(u16);

/// Every reason a reading can be excluded for, sorted, as it stands in tables.
pub const REASONS: [&str; 13] = [
    "above-torque-ceiling",
    "below-torque-floor",
    "clock",
    "drifting",
    "duplicate",
    "edge-fracture",
    "gap-too-narrow",
    "instrument-inertia",
    "missing",
    "momentum-diffusion",
    "secondary-flow",
    "set-aside",
    "spike",
];

/// The same reasons, the gravest first: a reading with several is counted under the first of these where numbers must
/// add up. What was never measured comes before what somebody took out, whole steps before single readings.
const GRAVEST_FIRST: [&str; 13] = [
    "missing",
    "clock",
    "duplicate",
    "set-aside",
    "above-torque-ceiling",
    "below-torque-floor",
    "secondary-flow",
    "edge-fracture",
    "drifting",
    "gap-too-narrow",
    "instrument-inertia",
    "momentum-diffusion",
    "spike",
];

impl Flags {
    /// Adds a reason of [`REASONS`]; one that is there already is not added twice.
    pub fn add(&mut self, reason: &str) {
        self.0 |= REASONS.iter().position(|known| *known == reason).map_or(0, |at| 1 << at);
    }

    /// Whether no reason was found.
    pub fn kept(&self) -> bool {
        self.0 == 0
    }

    /// Whether this is one of the reasons.
    pub fn has(&self, reason: &str) -> bool {
        self.reasons().any(|known| known == reason)
    }

    /// The reasons, sorted.
    pub fn reasons(self) -> impl Iterator<Item = &'static str> {
        REASONS.into_iter().enumerate().filter(move |(at, _)| self.0 >> at & 1 == 1).map(|(_, reason)| reason)
    }

    /// The one reason under which the reading is counted where numbers must add up; none: kept.
    pub fn gravest(&self) -> Option<&'static str> {
        if self.kept() { None } else { GRAVEST_FIRST.into_iter().find(|reason| self.has(reason)) }
    }

    /// As it stands in tables: null for kept.
    pub fn text(&self) -> Option<String> {
        (!self.kept()).then(|| self.reasons().collect::<Vec<_>>().join(";"))
    }

    /// Back from a table.
    pub fn from_text(text: Option<&str>) -> Self {
        let mut flags = Self::default();
        text.into_iter().flat_map(|t| t.split(';')).for_each(|r| flags.add(r));
        flags
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
    /// Why a reading is set aside.
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
        let excluded = |row: usize| self.flags[row].text();
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

/// Where all rows of an export went: `rows` = `kept` + all of `counted`.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Account {
    /// Rows of data in the export.
    pub rows: u64,
    /// Readings that may enter a value.
    pub kept: u64,
    /// Rows under one reason each: rows that could not be read as `refused: …`, readings under the gravest.
    pub counted: BTreeMap<String, u64>,
}

impl Account {
    /// From the fates of all readings.
    pub fn new<'a>(flags: impl Iterator<Item = &'a Flags>) -> Self {
        let mut account = Self::default();
        for flags in flags {
            account.rows += 1;
            match flags.gravest() {
                None => account.kept += 1,
                Some(reason) => *account.counted.entry(reason.to_owned()).or_insert(0) += 1,
            }
        }
        account
    }

    /// Adds the rows that could not be read, by reason.
    pub fn refuse(&mut self, refused: &BTreeMap<String, u64>) {
        for (reason, n) in refused {
            self.rows += n;
            *self.counted.entry(format!("refused: {reason}")).or_insert(0) += n;
        }
    }
}

/// A number by which it is judged whether the flow was what it is taken for: the worst over the steps of a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ValidityCheck {
    /// What it is, for example `reynolds`.
    pub check: String,
    /// Step where it is worst; none where it is of the whole run.
    pub step: Option<i64>,
    /// The value, SI.
    pub value: f64,
    /// Its unit; empty for none.
    pub unit: String,
    /// What it is held against.
    pub bound: Option<f64>,
    /// Whether it is within; none where there is no bound.
    pub holds: Option<bool>,
    /// How it was made.
    pub remark: String,
}

/// What was decided for the run as a whole.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct CleanNotes {
    /// Sampling interval known well enough for dΩ/dt, and inertia known: the correction was applied.
    pub inertia_corrected: bool,
    /// Where the strain position comes from: `angle`, `strain`, `speed` or `rate`.
    pub motion: String,
    /// Whole run set aside by hand: the reason.
    pub set_aside: Option<String>,
    /// Steps set aside by hand and why.
    pub set_aside_steps: Vec<(i64, String)>,
    /// Numbers by which the flow is judged.
    #[serde(default)]
    pub validity: Vec<ValidityCheck>,
    /// Remarks for the person.
    pub remarks: Vec<String>,
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
        table.text("excluded", self.flags.iter().map(Flags::text))
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
            flags: columns.texts("excluded", Flags::from_text)?.unwrap_or_default(),
            ..Self::default()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_reason_has_its_gravity() {
        let mut sorted = GRAVEST_FIRST;
        sorted.sort_unstable();
        assert_eq!(sorted, REASONS);
    }

    #[test]
    fn an_account_adds_up_whatever_the_reasons() {
        let flags = |reasons: &[&str]| {
            let mut flags = Flags::default();
            reasons.iter().for_each(|r| flags.add(r));
            flags
        };
        let flags =
            [flags(&[]), flags(&["spike", "set-aside"]), flags(&["spike"]), flags(&["spike", "missing"]), flags(&[])];
        let refused = BTreeMap::from([("missing time".to_owned(), 3)]);
        let mut account = Account::new(flags.iter());
        account.refuse(&refused);
        assert_eq!((account.rows, account.kept), (8, 2));
        let expected = [("missing", 1), ("refused: missing time", 3), ("set-aside", 1), ("spike", 1)];
        assert_eq!(account.counted, expected.map(|(reason, n)| (reason.to_owned(), n)).into());
    }
}

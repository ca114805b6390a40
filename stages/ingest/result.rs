//! What ingest hands on: the readings of one raw export in SI, and its head.

use crate::ingest::remark::Remark;
use crate::table::{Columns, Long, Table, TableError, long_to_parquet};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What was found around the readings.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Head {
    /// Entries of the preamble, trimmed, by their key as written.
    pub preamble: BTreeMap<String, String>,
    /// Rows of data in the file: `kept + refused`.
    pub rows: u64,
    /// Rows refused by name, for example `missing time`: reason and number.
    pub refused: BTreeMap<String, u64>,
    /// BLAKE3 of the raw bytes, in hexadecimal.
    pub blake3: String,
    /// Start of the run as ISO 8601, if the export tells.
    pub started: Option<String>,
    /// Encoding that was found or stated.
    pub encoding: String,
    /// What is to be said of the export: a file cut off, units that were not understood.
    pub remarks: Vec<Remark>,
}

/// Readings of one raw export in SI, a value per kept row in each vector. Missing values are NaN; columns that
/// the layout does not have are absent.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Readings {
    /// Line in the export, from 1.
    pub row: Vec<u32>,
    /// Step as numbered in the export, or counted from 1.
    pub step: Vec<i64>,
    /// Time, s.
    pub time_s: Vec<f64>,
    /// Angle of the moving part, rad, unwrapped.
    pub angle_rad: Option<Vec<f64>>,
    /// Speed, rad/s.
    pub speed_rad_per_s: Option<Vec<f64>>,
    /// Torque as exported, N m.
    pub torque_n_m: Option<Vec<f64>>,
    /// Shear stress as exported, Pa.
    pub stress_pa: Option<Vec<f64>>,
    /// Shear rate as exported, 1/s.
    pub rate_per_s: Option<Vec<f64>>,
    /// Strain as exported: a signed position that turns back at reversal, dimensionless.
    pub strain: Option<Vec<f64>>,
    /// Axial force, N.
    pub normal_force_n: Option<Vec<f64>>,
    /// Temperature, °C.
    pub temperature_c: Option<Vec<f64>>,
    /// Set-point column of the layout: stress in Pa.
    pub set_stress_pa: Option<Vec<f64>>,
    /// Set-point column of the layout: rate in 1/s.
    pub set_rate_per_s: Option<Vec<f64>>,
}

impl Readings {
    const OPTIONAL: [&'static str; 10] = [
        "angle_rad",
        "speed_rad_per_s",
        "torque_n_m",
        "stress_pa",
        "rate_per_s",
        "strain",
        "normal_force_n",
        "temperature_c",
        "set_stress_pa",
        "set_rate_per_s",
    ];

    fn optional(&self) -> [&Option<Vec<f64>>; 10] {
        [
            &self.angle_rad,
            &self.speed_rad_per_s,
            &self.torque_n_m,
            &self.stress_pa,
            &self.rate_per_s,
            &self.strain,
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

    /// As a table, absent columns left out.
    pub fn to_table(&self) -> Table {
        let mut table = Table::new()
            .int("row", self.row.iter().map(|r| Some(i64::from(*r))))
            .int("step", self.step.iter().map(|s| Some(*s)))
            .float("time_s", self.time_s.iter().map(|t| Some(*t)));
        for (name, values) in Self::OPTIONAL.into_iter().zip(self.optional()) {
            if let Some(values) = values {
                table = table.float(name, values.iter().map(|v| Some(*v)));
            }
        }
        table
    }

    /// The Parquet bytes of that table, made without a copy of it.
    ///
    /// # Errors
    /// If the vectors differ in length.
    pub fn to_parquet(&self) -> Result<Vec<u8>, TableError> {
        let optional = Self::OPTIONAL.into_iter().zip(self.optional());
        let there = optional.filter_map(|(name, values)| Some((name, Long::Float(values.as_ref()?))));
        let first =
            [("row", Long::Line(&self.row)), ("step", Long::Int(&self.step)), ("time_s", Long::Float(&self.time_s))];
        long_to_parquet(self.len(), &first.into_iter().chain(there).collect::<Vec<_>>())
    }

    /// From Parquet bytes that [`Self::to_parquet`] made.
    ///
    /// # Errors
    /// If they are not.
    pub fn from_parquet(bytes: &[u8]) -> Result<Self, TableError> {
        let columns = Columns::open(bytes)?;
        Ok(Self {
            row: columns.ints("row")?,
            step: columns.ints("step")?,
            time_s: columns.floats("time_s")?.unwrap_or_default(),
            angle_rad: columns.floats("angle_rad")?,
            speed_rad_per_s: columns.floats("speed_rad_per_s")?,
            torque_n_m: columns.floats("torque_n_m")?,
            stress_pa: columns.floats("stress_pa")?,
            rate_per_s: columns.floats("rate_per_s")?,
            strain: columns.floats("strain")?,
            normal_force_n: columns.floats("normal_force_n")?,
            temperature_c: columns.floats("temperature_c")?,
            set_stress_pa: columns.floats("set_stress_pa")?,
            set_rate_per_s: columns.floats("set_rate_per_s")?,
        })
    }
}

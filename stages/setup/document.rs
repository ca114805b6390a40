//! `study.yaml` as typed: which keys there are, and nothing checked that needs a second look. What it means is
//! made in the files beside this one. Quantities are text here, because they carry their unit.

use crate::claims::params::Claim;
use crate::earlier_results::params::EarlierTable;
use crate::ingest::layout::Layout;
use crate::physics::quantity::Quantity;
use crate::setup::origin::Origin;
use crate::setup::stages::Stages;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A study of contact shares by shear reversal.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Document {
    /// Title of the study.
    pub study: String,
    /// Who did it.
    #[serde(default)]
    pub authors: Vec<Author>,
    /// Licence of the data, an SPDX identifier where there is one.
    #[serde(default)]
    pub licence: Option<String>,
    /// Date of the report, YYYY-MM-DD; default: the latest start of a run.
    #[serde(default)]
    pub date: Option<String>,
    /// Abstract of the report.
    #[serde(default)]
    pub r#abstract: Option<String>,
    /// Keywords.
    #[serde(default)]
    pub keywords: Vec<String>,
    /// How it was measured, in free words: pre-shear, waits, mixing.
    #[serde(default)]
    pub protocol: Option<String>,
    /// Seed of all random numbers.
    #[serde(default = "default_seed")]
    pub seed: u64,
    /// Suspending liquids and liquids of controls, by name.
    #[serde(default)]
    pub liquids: BTreeMap<String, Liquid>,
    /// Solid particles, by name.
    #[serde(default)]
    pub particles: BTreeMap<String, Particles>,
    /// What is sheared, by name.
    #[serde(default)]
    pub samples: BTreeMap<String, Sample>,
    /// Measuring geometries, by name.
    #[serde(default)]
    pub geometries: BTreeMap<String, Geometry>,
    /// Rheometers, by name.
    #[serde(default)]
    pub instruments: BTreeMap<String, Instrument>,
    /// How raw exports are laid out, by name.
    #[serde(default)]
    pub layouts: BTreeMap<String, Layout>,
    /// The raw exports, and what each is of.
    #[serde(default)]
    pub raw: Vec<Raw>,
    /// What is set aside by hand, with reasons.
    #[serde(default)]
    pub set_aside: Vec<SetAside>,
    /// Settings of the stages.
    #[serde(default)]
    pub stages: Stages,
    /// How the report looks.
    #[serde(default)]
    pub report: Report,
    /// The chain once more with other settings, by name: only what differs is written.
    #[serde(default)]
    pub variants: BTreeMap<String, Stages>,
    /// Numbers held against what the study gives.
    #[serde(default)]
    pub claims: Vec<Claim>,
    /// Tables of results from before, by name, held row by row against what the raw exports give.
    #[serde(default)]
    pub earlier_results: BTreeMap<String, EarlierTable>,
}

/// Seed where none is given; any other would do.
const fn default_seed() -> u64 {
    1
}

/// An author.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Author {
    /// Name as it stands on the report.
    pub name: String,
    /// Affiliation.
    #[serde(default)]
    pub affiliation: Option<String>,
    /// ORCID iD: four groups of four digits.
    #[serde(default)]
    pub orcid: Option<String>,
}

/// What a liquid is made of, where its viscosity need not be measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Composition {
    /// Ordinary water: viscosity by IAPWS R12-08.
    Water,
    /// Water and glycerol: viscosity by Cheng (2008).
    WaterGlycerol,
}

/// A liquid.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Liquid {
    /// Instead of a measured viscosity: what it is made of; then its temperature is needed.
    #[serde(default)]
    pub composition: Option<Composition>,
    /// Temperature of the measurements, where the viscosity follows from the composition.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub temperature: Option<String>,
    /// Mass fraction of glycerol, for water-glycerol.
    #[serde(default)]
    #[schemars(with = "Option<PureNumber>")]
    pub glycerol: Option<String>,
    /// Viscosity.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub viscosity: Option<String>,
    /// Density.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub density: Option<String>,
}

/// Particles.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Particles {
    /// Density.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub density: Option<String>,
    /// Diameter.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub diameter: Option<String>,
}

/// A sample.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Sample {
    /// Name of its liquid.
    pub liquid: String,
    /// Name of its particles.
    #[serde(default)]
    pub particles: Option<String>,
    /// Solid volume fraction; else from the two masses and the densities.
    #[serde(default)]
    #[schemars(with = "Option<PureNumber>")]
    pub volume_fraction: Option<String>,
    /// Mass of particles that were weighed in.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub particle_mass: Option<String>,
    /// Mass of liquid that was weighed in.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub liquid_mass: Option<String>,
    /// A Newtonian liquid under the same protocol, which measures the instrument.
    #[serde(default)]
    pub control: bool,
}

/// Shape of a geometry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Kind {
    /// Cone and plate: radius, angle, truncation.
    ConePlate,
    /// Two parallel plates: radius, gap.
    ParallelPlates,
    /// Concentric cylinders: inner_radius, outer_radius, length, end_effect.
    ConcentricCylinders,
}

/// A geometry; which dimensions it has depends on its kind.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Geometry {
    /// Shape.
    pub kind: Kind,
    /// Radius of cone or plate.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub radius: Option<String>,
    /// Angle between cone and plate.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub angle: Option<String>,
    /// Truncation of the cone.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub truncation: Option<String>,
    /// Gap between plates.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub gap: Option<String>,
    /// Radius of the inner cylinder.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub inner_radius: Option<String>,
    /// Radius of the cup.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub outer_radius: Option<String>,
    /// Length of the inner cylinder.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub length: Option<String>,
    /// End-effect factor of the torque; 1.10 for the standard geometry of ISO 3219.
    #[serde(default)]
    #[schemars(with = "Option<PureNumber>")]
    pub end_effect: Option<String>,
    /// Moment of inertia.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub inertia: Option<String>,
}

/// A rheometer; what is left out counts as not known.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Instrument {
    /// Moment of inertia of its moving part without the geometry.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub inertia: Option<String>,
    /// Smallest torque that it resolves.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub torque_floor: Option<String>,
    /// Largest torque that it reads.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub torque_ceiling: Option<String>,
    /// Relative standard uncertainty of its torque.
    #[serde(default)]
    #[schemars(with = "Option<PureNumber>")]
    pub torque_calibration: Option<String>,
    /// Torsional compliance.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub compliance: Option<String>,
}

/// Raw exports of one kind. Names may be left out where the study has exactly one.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Raw {
    /// Pattern of their paths in the study, with `/`; `*` stays within a folder, `**` does not.
    pub files: String,
    /// Sheets that are runs, where the files are workbooks; else the one sheet that has the layout's columns.
    #[serde(default)]
    pub sheets: Vec<String>,
    /// Name of their layout.
    #[serde(default)]
    pub layout: Option<String>,
    /// Name of the sample.
    #[serde(default)]
    pub sample: Option<String>,
    /// Name of the geometry.
    #[serde(default)]
    pub geometry: Option<String>,
    /// Name of the instrument.
    #[serde(default)]
    pub instrument: Option<String>,
    /// Where the loading's name comes from; default: each export is its own loading.
    #[serde(default)]
    pub loading: Option<Origin>,
    /// Where the repeat's name comes from.
    #[serde(default)]
    pub repeat: Option<Origin>,
    /// Entries of the exports' preambles that become columns of the table `runs`, by their keys.
    #[serde(default)]
    pub preamble: Vec<String>,
    /// Set-points, stresses or rates; found from the data where left out.
    #[serde(default)]
    #[schemars(with = "Vec<Quantity>")]
    pub set_points: Vec<String>,
}

/// A stretch of a run that is set aside; without step and times the whole run.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SetAside {
    /// Path of the run.
    pub run: String,
    /// Step as numbered in the export.
    #[serde(default)]
    pub step: Option<i64>,
    /// First time that is set aside.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub from: Option<String>,
    /// Last time that is set aside.
    #[serde(default)]
    #[schemars(with = "Option<Quantity>")]
    pub to: Option<String>,
    /// The reason, which the report prints.
    pub because: String,
}

/// How the report looks.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Report {
    /// Title, where it is not the study's.
    pub title: Option<String>,
    /// Line below the title.
    pub subtitle: Option<String>,
    /// Size of the paper.
    pub paper: Paper,
    /// All of it, or a letter's supplement.
    pub form: Form,
    /// Sections of the authors' own, in their order.
    pub sections: Vec<OwnSection>,
}

/// How long the report is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Form {
    /// Everything, every reversal and every setting included.
    #[default]
    Full,
    /// A letter's supplement: without atlas, table of reversals, list of settings and budget table.
    Short,
}

/// A section of the authors' own: text, and results made elsewhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OwnSection {
    /// Its heading.
    pub title: String,
    /// Path of its text in the study: Typst (`.typ`) or plain text (`.txt`).
    pub file: String,
    /// Files that the text shows, by their paths in the study.
    #[serde(default)]
    pub uses: Vec<String>,
    /// The section that it follows.
    #[serde(default)]
    pub after: After,
}

/// The sections of the report that others can follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum After {
    /// The first page.
    Answer,
    /// What was measured.
    Measured,
    /// Results, the control and the fits.
    #[default]
    Results,
    /// The methods text.
    Methods,
}

/// Size of the paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Paper {
    /// ISO 216 A4.
    #[default]
    A4,
    /// US letter.
    Letter,
}

/// A dimensionless quantity.
struct PureNumber;

impl JsonSchema for PureNumber {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "PureNumber".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "type": ["string", "number"],
            "description": "A number, in % if so marked, with its standard uncertainty where known: `0.500 ± 0.004`, `0.5 %`"
        })
    }
}

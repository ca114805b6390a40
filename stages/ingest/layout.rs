//! How one family of raw exports is laid out, as the study file says it. Reading bytes by it is in `read.rs`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How the bytes of an export are text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Encoding {
    /// By the byte-order mark; without one UTF-16 is recognised by its NULs, the rest is UTF-8 if it is valid as
    /// such and Windows-1252 otherwise.
    #[default]
    Auto,
    /// UTF-8.
    #[serde(rename = "utf-8", alias = "utf8", alias = "ascii")]
    Utf8,
    /// UTF-16; the byte order by its mark, or by where the NULs are.
    #[serde(rename = "utf-16", alias = "utf16")]
    Utf16,
    /// UTF-16, little end first.
    #[serde(rename = "utf-16le", alias = "utf-16-le")]
    Utf16Le,
    /// UTF-16, big end first.
    #[serde(rename = "utf-16be", alias = "utf-16-be")]
    Utf16Be,
    /// Windows-1252, which holds Latin-1.
    #[serde(alias = "latin-1", alias = "latin1", alias = "iso-8859-1")]
    Windows1252,
}

/// What stands between two fields of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Separator {
    /// The one by which some line holds all mapped names.
    #[default]
    Auto,
    /// A tab.
    #[serde(alias = "\t")]
    Tab,
    /// A semicolon.
    #[serde(rename = ";", alias = "semicolon")]
    Semicolon,
    /// A comma.
    #[serde(rename = ",", alias = "comma")]
    Comma,
    /// A vertical bar.
    #[serde(rename = "|", alias = "bar")]
    Bar,
    /// Any number of blanks; column names may then hold none, or stand in quotes.
    #[serde(alias = " ")]
    Spaces,
}

/// The sign before the decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum Decimal {
    /// `1.5`
    #[default]
    #[serde(rename = ".", alias = "point")]
    Point,
    /// `1,5`
    #[serde(rename = ",", alias = "comma")]
    Comma,
}

/// The sign between groups of three digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Thousands {
    /// `1.000`
    #[serde(rename = ".", alias = "point")]
    Point,
    /// `1,000`
    #[serde(rename = ",", alias = "comma")]
    Comma,
    /// `1 000`, also with a no-break blank.
    #[serde(rename = " ", alias = "space")]
    Space,
    /// `1'000`
    #[serde(rename = "'", alias = "apostrophe")]
    Apostrophe,
}

/// One mapped column.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Column {
    /// Its name in the header of the export.
    pub name: String,
    /// Its unit, a UCUM code; not for `step` and `label`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
}

/// Columns by their role.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Columns {
    /// Number of the step, a whole number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step: Option<Column>,
    /// Name of the step; a change of it begins a step where there is no number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub label: Option<Column>,
    /// Time.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time: Option<Column>,
    /// Angle of the moving part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub angle: Option<Column>,
    /// Speed of the moving part.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed: Option<Column>,
    /// Torque.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub torque: Option<Column>,
    /// Shear stress.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stress: Option<Column>,
    /// Shear rate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate: Option<Column>,
    /// Strain, a position that turns back at reversal.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub strain: Option<Column>,
    /// Axial force.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub normal_force: Option<Column>,
    /// Temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature: Option<Column>,
    /// Set-point of the stress.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set_stress: Option<Column>,
    /// Set-point of the rate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub set_rate: Option<Column>,
}

/// How one family of raw exports is laid out. The header needs no line number: it is the line that holds all
/// mapped names; a row of units below it is found by itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Layout {
    /// How the bytes are text.
    pub encoding: Encoding,
    /// What stands between two fields.
    pub separator: Separator,
    /// The sign before the decimals.
    pub decimal: Decimal,
    /// The sign between groups of three digits, none by default.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub thousands: Option<Thousands>,
    /// What a comment line begins with; `# key = value` before the header belongs to the preamble.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub comment: Option<String>,
    /// Columns by their role.
    pub columns: Columns,
    /// A regular expression: a line that matches it begins a step and is no row of data.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step_starts: Option<String>,
    /// Whether the exported torque or stress still holds the torque that turns the rotor's own mass. Some
    /// programs take it off before they write, and taking it off twice would invent a drop; raw torque is the
    /// safe reading, because a wrong `true` shows in the control.
    pub torque_includes_inertia: bool,
}

impl Default for Layout {
    fn default() -> Self {
        Self {
            encoding: Encoding::Auto,
            separator: Separator::Auto,
            decimal: Decimal::Point,
            thousands: None,
            comment: None,
            columns: Columns::default(),
            step_starts: None,
            torque_includes_inertia: true,
        }
    }
}

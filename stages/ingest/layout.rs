//! How one family of raw exports is laid out, as the study file says it. Reading bytes by it is in `read.rs`.

use super::times::TimeFormat;
use crate::physics::units::{Dimension, Unit, parse_unit, parse_unit_of};
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
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Column {
    /// Its name in the header of the export.
    pub name: String,
    /// Its unit, a UCUM code; not for `step` and `label`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Which of the columns of that name it is, from 1, where the header repeats the name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1))]
    pub which: Option<usize>,
    /// How times are written that are no plain numbers: `hh:mm:ss`, `mm:ss`, `date-time` (ISO 8601, or day first with
    /// points), or a pattern such as `%d/%m/%Y %H:%M:%S%.f`; for `time` only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub format: Option<String>,
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
    /// Whether the time begins anew in each step. The steps are then laid end to end: a step begins at the last time
    /// of the one before.
    pub time_restarts: bool,
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
            time_restarts: false,
            torque_includes_inertia: true,
        }
    }
}

/// What a mapped column is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)]
pub enum Role {
    Step,
    Label,
    Time,
    Angle,
    Speed,
    Torque,
    Stress,
    Rate,
    Strain,
    NormalForce,
    Temperature,
    SetStress,
    SetRate,
}

impl Role {
    /// As it stands in the study file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Step => "step",
            Self::Label => "label",
            Self::Time => "time",
            Self::Angle => "angle",
            Self::Speed => "speed",
            Self::Torque => "torque",
            Self::Stress => "stress",
            Self::Rate => "rate",
            Self::Strain => "strain",
            Self::NormalForce => "normal_force",
            Self::Temperature => "temperature",
            Self::SetStress => "set_stress",
            Self::SetRate => "set_rate",
        }
    }

    /// What its unit must measure; none for `step` and `label`.
    pub const fn dimension(self) -> Option<Dimension> {
        match self {
            Self::Step | Self::Label => None,
            Self::Time => Some(Dimension::TIME),
            Self::Angle => Some(Dimension::ANGLE),
            Self::Speed => Some(Dimension::ANGULAR_SPEED),
            Self::Torque => Some(Dimension::TORQUE),
            Self::Stress | Self::SetStress => Some(Dimension::STRESS),
            Self::Rate | Self::SetRate => Some(Dimension::RATE),
            Self::Strain => Some(Dimension::NONE),
            Self::NormalForce => Some(Dimension::FORCE),
            Self::Temperature => Some(Dimension::TEMPERATURE),
        }
    }
}

impl Role {
    /// Reads a unit of this role. A speed may be given in turns per time: `1/min` on a drive says rpm (ISO 80000-3,
    /// 3-17: rotational frequency).
    ///
    /// # Errors
    /// If it is no unit, has none (`step`, `label`), or measures something else.
    pub fn unit(self, text: &str) -> Result<Unit, String> {
        let dimension = self.dimension().ok_or("this column has no unit")?;
        let turns = parse_unit(text).ok().filter(|unit| self == Self::Speed && unit.dimension == Dimension::RATE);
        match turns {
            Some(unit) => Ok(Unit { dimension, factor: unit.factor * 2.0 * std::f64::consts::PI, ..unit }),
            None => parse_unit_of(text, dimension),
        }
    }
}

impl Columns {
    /// The mapped columns with their roles, in a fixed order.
    pub fn mapped(&self) -> Vec<(Role, &Column)> {
        let all = [
            (Role::Step, &self.step),
            (Role::Label, &self.label),
            (Role::Time, &self.time),
            (Role::Angle, &self.angle),
            (Role::Speed, &self.speed),
            (Role::Torque, &self.torque),
            (Role::Stress, &self.stress),
            (Role::Rate, &self.rate),
            (Role::Strain, &self.strain),
            (Role::NormalForce, &self.normal_force),
            (Role::Temperature, &self.temperature),
            (Role::SetStress, &self.set_stress),
            (Role::SetRate, &self.set_rate),
        ];
        all.into_iter().filter_map(|(role, column)| Some((role, column.as_ref()?))).collect()
    }
}

impl Layout {
    /// Everything that makes this layout unusable, whatever the export; empty if it can be used.
    pub fn problems(&self) -> Vec<String> {
        let mut found = self.lacking();
        found.extend(self.signs_in_conflict());
        found.extend(self.columns.mapped().into_iter().filter_map(|(role, column)| unit_problem(role, column)));
        found.extend(self.names_used_twice());
        if let Some(Err(error)) = self.step_starts.as_deref().map(regex::Regex::new) {
            found.push(format!("step_starts: {error}"));
        }
        if self.comment.as_deref().is_some_and(|mark| mark.trim().is_empty()) {
            found.push(
                "comment: expected a mark such as `#`, found none; leave the key out if there are no comments".into(),
            );
        }
        found
    }

    fn lacking(&self) -> Vec<String> {
        let c = &self.columns;
        let mut found = Vec::new();
        if c.time.is_none() {
            found.push("columns: `time` is not mapped; every reading needs its time".into());
        }
        if c.torque.is_none() && c.stress.is_none() {
            found.push("columns: neither `torque` nor `stress` is mapped; one of them is needed".into());
        }
        if c.angle.is_none() && c.speed.is_none() && c.strain.is_none() && c.rate.is_none() {
            found.push(
                "columns: none of `angle`, `speed`, `strain`, `rate` is mapped; strain comes from the motion".into(),
            );
        }
        found
    }

    fn signs_in_conflict(&self) -> Vec<String> {
        let decimal = self.decimal.sign();
        let mut found = Vec::new();
        if self.separator.sign() == Some(decimal) {
            found.push(format!("separator and decimal are both `{decimal}`"));
        }
        if let Some(thousands) = self.thousands {
            if thousands.sign() == decimal {
                found.push(format!("thousands and decimal are both `{decimal}`"));
            }
            if self.separator.sign() == Some(thousands.sign())
                || (self.separator == Separator::Spaces && thousands == Thousands::Space)
            {
                found.push(format!("separator and thousands are both `{}`", thousands.sign()));
            }
        }
        found
    }

    fn names_used_twice(&self) -> Vec<String> {
        let mapped = self.columns.mapped();
        let same = |a: &Column, b: &Column| a.name.trim() == b.name.trim() && a.which == b.which;
        let earlier = |at: usize| mapped[..at].iter().find(|(_, c)| same(c, mapped[at].1));
        (0..mapped.len())
            .filter_map(|at| Some((mapped[at], earlier(at)?)))
            .map(|((role, column), (first, _))| {
                format!("columns: `{}` is mapped to both `{}` and `{}`", column.name, first.name(), role.name())
            })
            .collect()
    }
}

fn unit_problem(role: Role, column: &Column) -> Option<String> {
    if column.name.trim().is_empty() {
        return Some(format!("columns.{}: the name is empty", role.name()));
    }
    if column.which == Some(0) {
        return Some(format!("columns.{}.which: columns of one name are counted from 1", role.name()));
    }
    if let Some(format) = &column.format {
        return format_problem(role, column, format).map(|why| format!("columns.{}.format: {why}", role.name()));
    }
    match (role.dimension(), &column.unit) {
        (Some(_), Some(unit)) => role.unit(unit).err(),
        (None, Some(_)) => Some("this column has no unit".to_owned()),
        _ => None,
    }
    .map(|problem| format!("columns.{}.unit: {problem}", role.name()))
}

fn format_problem(role: Role, column: &Column, format: &str) -> Option<String> {
    if role != Role::Time {
        Some("only times have a format".to_owned())
    } else if column.unit.is_some() {
        Some("a time with a format has no unit: its parts say it".to_owned())
    } else {
        TimeFormat::parse(format).err()
    }
}

impl Separator {
    /// The sign itself; none for `auto` and `spaces`.
    pub const fn sign(self) -> Option<char> {
        match self {
            Self::Auto | Self::Spaces => None,
            Self::Tab => Some('\t'),
            Self::Semicolon => Some(';'),
            Self::Comma => Some(','),
            Self::Bar => Some('|'),
        }
    }

    /// As it stands in the study file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::Tab => "tab",
            Self::Semicolon => ";",
            Self::Comma => ",",
            Self::Bar => "|",
            Self::Spaces => "spaces",
        }
    }
}

impl Decimal {
    /// The sign itself.
    pub const fn sign(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
        }
    }
}

impl Thousands {
    /// The sign itself.
    pub const fn sign(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
            Self::Space => ' ',
            Self::Apostrophe => '\'',
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(name: &str, unit: &str) -> Option<Column> {
        Some(Column { name: name.into(), unit: Some(unit.into()), ..Column::default() })
    }

    fn usable() -> Layout {
        let columns = Columns {
            time: column("t", "min"),
            torque: column("M", "uN.m"),
            angle: column("angle", "mrad"),
            ..Columns::default()
        };
        Layout { columns, ..Layout::default() }
    }

    #[test]
    fn a_usable_layout_has_no_problems() {
        assert_eq!(usable().problems(), Vec::<String>::new());
    }

    #[test]
    fn what_is_lacking_is_named_at_once() {
        let found = Layout::default().problems().join("\n");
        assert!(found.contains("`time`") && found.contains("`torque` nor `stress`") && found.contains("`angle`"));
    }

    #[test]
    fn units_must_fit_their_role() {
        let mut layout = usable();
        layout.columns.torque = column("M", "Pa");
        let found = layout.problems();
        assert_eq!(found.len(), 1);
        assert!(found[0].starts_with("columns.torque.unit: `Pa`"), "{found:?}");
    }

    #[test]
    fn one_sign_cannot_have_two_meanings() {
        let layout = Layout { separator: Separator::Comma, decimal: Decimal::Comma, ..usable() };
        assert_eq!(layout.problems(), ["separator and decimal are both `,`"]);
        let layout = Layout { thousands: Some(Thousands::Point), ..usable() };
        assert_eq!(layout.problems(), ["thousands and decimal are both `.`"]);
    }

    #[test]
    fn patterns_and_names_are_checked() {
        let mut layout = Layout { step_starts: Some("Step (".into()), ..usable() };
        layout.columns.angle = column("M", "rad");
        let found = layout.problems();
        assert!(found.iter().any(|p| p.starts_with("step_starts: ")), "{found:?}");
        assert!(found.iter().any(|p| p.contains("mapped to both `angle` and `torque`")), "{found:?}");
    }

    #[test]
    fn reads_what_people_write() {
        let text = r#"{"encoding": "latin-1", "separator": "\t", "decimal": ",", "thousands": " ",
            "columns": {"time": {"name": "t", "unit": "s"}}}"#;
        let layout: Layout = serde_json::from_str(text).unwrap_or_default();
        assert_eq!(layout.encoding, Encoding::Windows1252);
        assert_eq!((layout.separator, layout.decimal), (Separator::Tab, Decimal::Comma));
        assert_eq!(layout.thousands, Some(Thousands::Space));
        assert!(serde_json::from_str::<Layout>(r#"{"seperator": ";"}"#).is_err());
    }
}

//! The unit of each mapped column: what the layout says, what the export says, and that both agree.

use super::header::{Header, split, without_comment};
use super::layout::{Column, Layout, Role};
use super::number::{Field, Format};
use super::remark::Remark;
use super::text::{RAW, shown};
use super::times::TimeFormat;
use crate::physics::units::{Dimension, Unit, code, parse_unit};
use pipeline::diagnostic::{Diagnostic, Place};

/// Zero of the Celsius scale, K (SI brochure, 9th edition, 2.3.1).
const ZERO_CELSIUS: f64 = 273.15;

/// How the numbers of one column become SI, or °C for temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Conversion {
    /// `step` and `label` have no unit.
    None,
    /// Into SI.
    Si(Unit),
    /// A temperature that is in °C already: not over K and back, which would change its last digits.
    Celsius,
    /// Any other temperature.
    ToCelsius(Unit),
}

impl Conversion {
    fn new(role: Role, unit: Unit) -> Self {
        let celsius = Unit { factor: 1.0, power_of_ten: 0, offset: ZERO_CELSIUS, ..unit };
        match role {
            Role::Temperature if unit == celsius => Self::Celsius,
            Role::Temperature => Self::ToCelsius(unit),
            _ => Self::Si(unit),
        }
    }

    pub(super) fn apply(&self, value: f64) -> f64 {
        match self {
            Self::None | Self::Celsius => value,
            Self::Si(unit) => unit.to_si(value),
            Self::ToCelsius(unit) => unit.to_si(value) - ZERO_CELSIUS,
        }
    }
}

/// A row of units below the header.
#[derive(Debug)]
pub(super) struct UnitsRow {
    line: usize,
    fields: Vec<String>,
}

impl UnitsRow {
    /// The next of the lines below the header that says something, if it is one of units: no mapped quantity in it is
    /// a number but 1, the unit of pure numbers, and at least one is a unit in letters.
    pub(super) fn find(below: &[&str], header: &Header, layout: &Layout, format: &Format) -> Option<Self> {
        let at = below.iter().position(|line| !line.trim().is_empty())?;
        let line = header.line + 1 + at;
        let mut fields = Vec::new();
        split(without_comment(below[at], layout).0, header.separator, &mut fields);
        let quantities = || {
            let roles = header.at.iter().filter(|(role, _)| role.dimension().is_some());
            roles.map(|(_, at)| fields.get(*at).copied().unwrap_or_default())
        };
        let number = |text: &str| matches!(format.read(text), Field::Number(_));
        let no_number = quantities().all(|text| !number(text) || bare(text) == "1");
        let unit = |text: &str| !says_nothing(bare(text)) && exported_unit(bare(text)).is_ok();
        let some_unit = quantities().any(|text| !number(text) && unit(text));
        let fields = fields.iter().map(|f| bare(f).to_owned()).collect();
        (no_number && some_unit).then_some(Self { line, fields })
    }

    /// Index of its line.
    pub(super) fn line(&self) -> usize {
        self.line
    }
}

/// A unit without the brackets around it.
pub(crate) fn bare(text: &str) -> &str {
    let text = text.trim();
    let inner = |open, close| text.strip_prefix(open).and_then(|t: &str| t.strip_suffix(close));
    inner('[', ']').or_else(|| inner('(', ')')).unwrap_or(text).trim()
}

fn says_nothing(text: &str) -> bool {
    text.is_empty() || text.chars().all(|c| c == '-')
}

/// What the export itself says of a column's unit: in the row of units, else with the name.
fn exported<'a>(row: Option<&'a UnitsRow>, header: &'a Header, role: Role, at: usize) -> Option<(&'a str, usize)> {
    let in_row = row.and_then(|row| Some((row.fields.get(at)?.as_str(), row.line)));
    let in_name = || {
        let name = header.names.get(at)?;
        let (_, unit) = with_unit(name)?;
        // A unit in brackets is meant as one; behind other signs only what fits can be told from a part of the name.
        (name.trim_end().ends_with([']', ')', '}']) || fits(role, unit)).then_some((unit, header.line))
    };
    // A dash is how people write that a pure number has no unit.
    let pure = |(text, line): (&'a str, usize)| {
        (role.dimension() == Some(Dimension::NONE) && text.starts_with('-')).then_some(("1", line))
    };
    in_row.filter(|(text, _)| !says_nothing(text)).or_else(in_name).or_else(|| in_row.and_then(pure))
}

/// A name and the unit that stands with it: `Torque [mN.m]`, `Torque (mN.m)`, `M/mN.m`, `M in mN.m`, `M, mN.m`.
pub(crate) fn with_unit(name: &str) -> Option<(&str, &str)> {
    let name = name.trim();
    let bracket = |open: char, close: char| {
        let (before, unit) = name.strip_suffix(close)?.rsplit_once(open)?;
        Some((before.trim(), unit.trim()))
    };
    let behind = |sign: &str| name.split_once(sign).map(|(before, unit)| (before.trim(), unit.trim()));
    let known = |pair: &(&str, &str)| !pair.0.is_empty() && (is_time_format(pair.1) || exported_unit(pair.1).is_ok());
    [bracket('[', ']'), bracket('(', ')'), bracket('{', '}'), behind("/"), behind(" in "), behind(",")]
        .into_iter()
        .flatten()
        .find(known)
}

fn is_time_format(text: &str) -> bool {
    TimeFormat::parse(text).is_ok()
}

fn fits(role: Role, unit: &str) -> bool {
    unit_for(role, unit).is_ok() || (role == Role::Time && is_time_format(unit))
}

/// A unit as programs write it: that of a study file, and symbols run together (`mNm`, `mPas`).
pub(crate) fn exported_unit(text: &str) -> Result<Unit, String> {
    parse_unit(text).or_else(|message| code(text).map_or(Err(message), |code| parse_unit(&code)))
}

/// The unit that an export writes, if it fits the role.
fn unit_for(role: Role, text: &str) -> Result<Unit, String> {
    role.unit(text).or_else(|message| code(text).map_or(Err(message), |code| role.unit(&code)))
}

/// The conversion of every mapped column, in the order of `header.at`, and remarks on units not understood; `text` is a
/// line of the export.
pub(super) fn conversions<'t>(
    text: impl Fn(usize) -> &'t str,
    header: &Header,
    row: Option<&UnitsRow>,
    layout: &Layout,
) -> Result<(Vec<Conversion>, Vec<Remark>), Vec<Diagnostic>> {
    let (mut found, mut remarks, mut problems) = (Vec::new(), Vec::new(), Vec::new());
    for ((role, at), (_, column)) in header.at.iter().zip(layout.columns.mapped()) {
        match conversion(*role, column.unit.as_deref(), exported(row, header, *role, *at), column) {
            Ok((conversion, remark)) => {
                found.push(conversion);
                remarks.extend(remark);
            }
            Err(problem) => {
                let (problem, line) = *problem;
                let line = line.unwrap_or(header.line);
                let place = Place { text: Some(shown(text(line))), ..Place::line(RAW, line as u64 + 1) };
                problems.push(problem.at(place));
            }
        }
    }
    if problems.is_empty() { Ok((found, remarks)) } else { Err(problems) }
}

/// A conversion with its remark, or a problem with the line that it stands in.
type Found = Result<(Conversion, Option<Remark>), Box<(Diagnostic, Option<usize>)>>;

fn conversion(role: Role, stated: Option<&str>, exported: Option<(&str, usize)>, column: &Column) -> Found {
    let (Some(dimension), None) = (role.dimension(), &column.format) else { return Ok((Conversion::None, None)) };
    let problem = |message: String, help: String, line: Option<usize>| {
        Box::new((Diagnostic::new(format!("column `{}`: {message}", column.name)).help(help), line))
    };
    let stated = stated.map(|unit| role.unit(unit).map(|parsed| (unit, parsed))).transpose();
    let example = format!("write its unit in the layout, for example `unit: {}`", dimension.example());
    let stated = stated.map_err(|message| problem(message, example.clone(), None))?;
    match (stated, exported) {
        (Some((_, unit)), None) => Ok((Conversion::new(role, unit), None)),
        (None, None) => {
            let message = format!("neither the layout nor the export says its unit (role `{}`)", role.name());
            Err(problem(message, example, None))
        }
        (None, Some((text, line))) if role == Role::Time && is_time_format(text) => {
            let help = format!("write `format: {text}` in the layout");
            Err(problem(format!("its times are written as `{text}`"), help, Some(line)))
        }
        (None, Some((text, line))) => match unit_for(role, text) {
            Ok(unit) => Ok((Conversion::new(role, unit), None)),
            Err(message) => Err(problem(message, example, Some(line))),
        },
        (Some((text, unit)), Some((other, line))) => match unit_for(role, other).or_else(|_| exported_unit(other)) {
            Ok(exported) if same(&unit, &exported) => Ok((Conversion::new(role, unit), None)),
            Ok(_) if text.trim() == "rad/s" && matches!(other, "1/s" | "s-1" | "s^-1" | "s⁻¹" | "/s") => {
                // The radian is one (SI brochure, 9th edition, table 4), so a program may leave it out; the layout decides.
                let remark = Remark::RadianLeftOut { column: column.name.clone(), exported: other.to_owned() };
                Ok((Conversion::new(role, unit), Some(remark)))
            }
            Ok(_) => {
                let message = format!("its unit is `{other}` in the export and `{text}` in the layout");
                let help = format!("write `unit: {other}` in the layout if the export is right, or leave the unit out");
                Err(problem(message, help, Some(line)))
            }
            Err(_) => {
                let (exported, stated) = (other.to_owned(), text.to_owned());
                let remark = Remark::UnitNotUnderstood { column: column.name.clone(), exported, stated };
                Ok((Conversion::new(role, unit), Some(remark)))
            }
        },
    }
}

/// The same dimension, zero and size; sizes that differ only in rounding are one.
fn same(a: &Unit, b: &Unit) -> bool {
    let size = |unit: &Unit| unit.to_si(1.0) - unit.to_si(0.0);
    a.dimension == b.dimension && a.offset == b.offset && (size(a) - size(b)).abs() <= 1e-9 * size(a).abs()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn named(name: &str) -> Column {
        Column { name: name.into(), ..Column::default() }
    }

    fn torque(stated: Option<&str>, exported: &str) -> Result<f64, String> {
        let found = conversion(Role::Torque, stated, Some((exported, 4)), &named("M"));
        found.map(|(c, _)| c.apply(2.0)).map_err(|problem| problem.0.to_string())
    }

    #[test]
    fn the_export_may_speak_for_itself() {
        assert_eq!(torque(None, "mN.m"), Ok(2e-3));
        assert!(torque(None, "Pa").unwrap_err().contains("`Pa` is the unit of a stress"));
    }

    #[test]
    fn export_and_layout_must_agree() {
        assert_eq!(torque(Some("uN.m"), "µN·m"), Ok(2e-6));
        assert_eq!(torque(Some("uN.m"), "1000 nN.m").map_err(|_| ()), Ok(2e-6));
        let said = torque(Some("uN.m"), "mN.m").unwrap_err();
        assert!(said.contains("`mN.m` in the export and `uN.m` in the layout"), "{said}");
        assert!(torque(Some("uN.m"), "s").is_err());
    }

    #[test]
    fn a_unit_nobody_knows_is_a_remark() {
        let (_, remark) = conversion(Role::Torque, Some("uN.m"), Some(("Skt", 4)), &named("M")).unwrap();
        let (column, exported, stated) = ("M".to_owned(), "Skt".to_owned(), "uN.m".to_owned());
        assert_eq!(remark, Some(Remark::UnitNotUnderstood { column, exported, stated }));
    }

    #[test]
    fn units_as_people_write_them() {
        for (text, factor) in [("mNm", 1e-3), ("µN·m", 1e-6), ("uN.m", 1e-6), ("nNm", 1e-9), ("N m", 1.0)] {
            assert!((torque(None, text).unwrap() / (2.0 * factor) - 1.0).abs() < 1e-12, "{text}");
        }
        let stress = |unit| conversion(Role::Stress, None, Some((unit, 4)), &named("tau")).unwrap().0.apply(1.0);
        assert_eq!((stress("kPa"), stress("N/m²")), (1e3, 1.0));
    }

    #[test]
    fn a_drive_speaks_in_turns() {
        let speed = |stated, exported: Option<&str>| {
            let found = conversion(Role::Speed, stated, exported.map(|unit| (unit, 1)), &named("n"))
                .map_err(|p| p.0.to_string());
            found.map(|(c, remark)| (c.apply(60.0), remark.is_some()))
        };
        let two_pi = 2.0 * std::f64::consts::PI;
        for (unit, expected) in
            [("rpm", two_pi), ("1/min", two_pi), ("min-1", two_pi), ("1/s", 60.0 * two_pi), ("rad/s", 60.0)]
        {
            let (value, _) = speed(None, Some(unit)).unwrap();
            assert!((value / expected - 1.0).abs() < 1e-12, "{unit}: {value}");
            assert_eq!(speed(Some(unit), None).unwrap().0, value, "{unit} in the layout");
        }
        assert_eq!(speed(Some("rad/s"), Some("1/s")).unwrap(), (60.0, true), "the layout decides, with a remark");
        assert!(speed(Some("rpm"), Some("1/s")).is_err());
        assert!(speed(Some("Pa"), None).is_err());
    }

    #[test]
    fn units_stand_with_names_in_many_ways() {
        for text in ["M [mN.m]", "M (mN·m)", "M / mNm", "M/mN.m", "M in mN.m", "M, mN.m"] {
            let (name, unit) = with_unit(text).unwrap();
            assert_eq!(name, "M", "{text}");
            assert!((exported_unit(unit).unwrap().to_si(1.0) - 1e-3).abs() < 1e-15, "{text}");
        }
        assert_eq!(with_unit("time [hh:mm:ss]"), Some(("time", "hh:mm:ss")));
        for text in ["stress", "M (raw)", "Part label", "(Pa)", "a/b c"] {
            assert_eq!(with_unit(text), None, "{text}");
        }
    }

    #[test]
    fn no_unit_anywhere_is_an_error() {
        let said = conversion(Role::Rate, None, None, &named("D")).unwrap_err().0.to_string();
        assert!(said.contains("for example `unit: 1/s`"), "{said}");
    }

    #[test]
    fn temperatures_come_out_in_celsius() {
        let celsius = |unit| conversion(Role::Temperature, Some(unit), None, &named("T")).unwrap().0;
        assert_eq!(celsius("Cel").apply(25.02), 25.02);
        assert!((celsius("K").apply(298.15) - 25.0).abs() < 1e-12);
        assert!(conversion(Role::Temperature, Some("Cel"), Some(("degC", 1)), &named("T")).is_ok());
        assert!(conversion(Role::Temperature, Some("Cel"), Some(("K", 1)), &named("T")).is_err());
    }
}

//! A value with its standard uncertainty, in SI, and how people write one. Units themselves are in `units.rs`.
//!
//! The notations are those of JCGM 100:2008, 7.2.2: `45.2(5) mPa.s`, `45.2(0.5) mPa.s`, `45.2 ± 0.5 mPa.s`,
//! `(45.2 ± 0.5) mPa.s`, and `45.2 mPa.s ± 1 %` relative to the value. What stands behind `±` is a standard
//! uncertainty, unless `(k=2)` follows, an expanded one divided by k (JCGM 100, 4.3.3), or `(limits)`, half the
//! width of a rectangular distribution divided by √3 (JCGM 100, 4.3.7).

use super::units::{Dimension, Unit, parse_unit_of};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A value and its standard uncertainty, both in the coherent SI unit of the quantity.
///
/// As a setting it is one leaf: `[value, u]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(from = "[f64; 2]", into = "[f64; 2]")]
pub struct Quantity {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty, 0 where none was given.
    pub u: f64,
}

impl Quantity {
    /// A value without uncertainty.
    pub const fn exact(value: f64) -> Self {
        Self { value, u: 0.0 }
    }

    /// u / |value|; 0 where the value is 0.
    pub fn relative(self) -> f64 {
        if self.value == 0.0 { 0.0 } else { self.u / self.value.abs() }
    }
}

impl From<[f64; 2]> for Quantity {
    fn from([value, u]: [f64; 2]) -> Self {
        Self { value, u }
    }
}

impl From<Quantity> for [f64; 2] {
    fn from(q: Quantity) -> Self {
        [q.value, q.u]
    }
}

impl JsonSchema for Quantity {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Quantity".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "type": "string",
            "description": "A value with its unit and, where known, its standard uncertainty: `45.2(5) mPa.s`, `45.2 ± 0.5 mPa.s`, `45.2 mPa.s ± 1 %`",
            "pattern": "^\\s*[(]?\\s*[-+−]?[0-9.].*$"
        })
    }
}

impl Quantity {
    /// Reads a quantity of the given kind into SI. A pure number may have the unit `%`, `1` or none.
    ///
    /// # Errors
    /// If the unit is missing or of another kind, if the text is not a quantity, or if it can be read in two ways.
    pub fn parse(text: &str, dimension: Dimension) -> Result<Self, String> {
        let (body, divisor) = split_coverage(text.trim())?;
        let body = body.replace("+/-", "±").replace("+-", "±");
        let quantity = match body.split_once('±') {
            None if divisor.is_some() => {
                return Err(format!("`{}` has no `±` that its last parenthesis could belong to", text.trim()));
            }
            None => plain(&body, dimension)?,
            Some((value, spread)) => with_spread(value.trim(), spread.trim(), dimension)?,
        };
        let quantity = Self { u: quantity.u / divisor.unwrap_or(1.0), ..quantity };
        let finite = quantity.value.is_finite() && quantity.u.is_finite();
        if finite { Ok(quantity) } else { Err(format!("`{}` is out of range", text.trim())) }
    }
}

/// Takes `(k=2)` or `(limits)` off the end; gives what to divide the uncertainty by.
fn split_coverage(text: &str) -> Result<(&str, Option<f64>), String> {
    let Some((body, inside)) = text.strip_suffix(')').and_then(|t| t.rsplit_once('(')) else {
        return Ok((text, None));
    };
    let inside: String = inside.chars().filter(|c| !c.is_whitespace()).collect();
    if inside == "limits" {
        return Ok((body, Some(3.0_f64.sqrt())));
    }
    match inside.strip_prefix("k=").map(|k| k.parse::<f64>()) {
        None => Ok((text, None)),
        Some(Ok(k)) if k > 0.0 && k.is_finite() => Ok((body, Some(k))),
        Some(_) => Err(format!("`({inside})`: the coverage factor k is a positive number, for example `(k=2)`")),
    }
}

/// `45.2 mPa.s` or `45.2(5) mPa.s`.
fn plain(text: &str, dimension: Dimension) -> Result<Quantity, String> {
    let (number, unit) = Number::split(text.trim(), dimension)?;
    let unit = unit_of(&number, unit, dimension)?;
    let u = number.concise.as_ref().map_or(0.0, |u| u.width(unit));
    Ok(Quantity { value: number.value.in_si(unit), u })
}

/// Value and spread on the two sides of `±`.
fn with_spread(value: &str, spread: &str, dimension: Dimension) -> Result<Quantity, String> {
    if let Some(value) = value.strip_prefix('(') {
        let missing = || format!("`({value} ± {spread}` lacks a `)`");
        let (spread, unit) = spread.split_once(')').ok_or_else(missing)?;
        return one_unit(&bare(value, dimension)?, &bare(spread, dimension)?, unit.trim(), dimension);
    }
    let (number, value_unit) = Number::split(value, dimension)?;
    let (width, spread_unit) = Number::split(spread, dimension)?;
    if dimension == Dimension::NONE && spread_unit == "%" {
        return Err(format!(
            "`± {spread}` can be read as a share of the value or as points: write for example `0.500 ± 0.005` or `(50.0 ± 0.5) %`"
        ));
    }
    match (value_unit, spread_unit) {
        ("", unit) => one_unit(&number, &width, unit, dimension),
        (unit, "%") => relative(&number, &width, unit_of(&number, unit, dimension)?),
        (a, b) => {
            let (a, b) = (unit_of(&number, a, dimension)?, unit_of(&width, b, dimension)?);
            spread_of(&number, &width).map(|width| Quantity { value: number.value.in_si(a), u: width.width(b) })
        }
    }
}

/// Value and spread in the same unit.
fn one_unit(number: &Number<'_>, width: &Number<'_>, unit: &str, dimension: Dimension) -> Result<Quantity, String> {
    let unit = unit_of(number, unit, dimension)?;
    let width = spread_of(number, width)?;
    Ok(Quantity { value: number.value.in_si(unit), u: width.width(unit) })
}

/// A spread in percent of the value.
fn relative(number: &Number<'_>, width: &Number<'_>, unit: Unit) -> Result<Quantity, String> {
    if unit.offset != 0.0 {
        return Err("percent of a temperature in °C has no meaning: give the uncertainty in `K`".to_owned());
    }
    let value = number.value.in_si(unit);
    let share = spread_of(number, width)?.shifted(-2);
    Ok(Quantity { value, u: value.abs() * share })
}

/// The number behind `±`, which has no sign and no uncertainty of its own.
fn spread_of<'a>(number: &Number<'_>, width: &'a Number<'_>) -> Result<&'a Decimal, String> {
    if number.concise.is_some() || width.concise.is_some() {
        return Err(format!("`{} ± {}` has two uncertainties", number.text, width.text));
    }
    if width.value.negative {
        return Err(format!("`{}`: an uncertainty is not negative", width.text));
    }
    Ok(&width.value)
}

fn unit_of(number: &Number<'_>, unit: &str, dimension: Dimension) -> Result<Unit, String> {
    match unit {
        "" if dimension == Dimension::NONE => parse_unit_of("1", dimension),
        "" => Err(format!(
            "`{}` has no unit: expected {}, for example `{}`",
            number.text,
            dimension.name(),
            dimension.example()
        )),
        unit => parse_unit_of(unit, dimension),
    }
}

/// A number with nothing behind it.
fn bare(text: &str, dimension: Dimension) -> Result<Number<'_>, String> {
    match Number::split(text.trim(), dimension)? {
        (number, "") => Ok(number),
        (_, rest) => Err(format!("`{rest}` is not expected within the parentheses: the unit stands behind them")),
    }
}

/// A decimal number as digits and exponent, so that shifts round once.
#[derive(Debug, Clone, PartialEq)]
struct Decimal {
    negative: bool,
    digits: String,
    exponent: i32,
}

impl Decimal {
    /// 10ⁿ of it, rounded once.
    fn shifted(&self, n: i32) -> f64 {
        let sign = if self.negative { "-" } else { "" };
        let exponent = self.exponent.saturating_add(n);
        format!("{sign}{}e{exponent}", self.digits).parse().unwrap_or(f64::NAN)
    }

    fn in_si(&self, unit: Unit) -> f64 {
        self.width(unit) + unit.offset
    }

    /// As a difference: without the unit's offset.
    fn width(&self, unit: Unit) -> f64 {
        self.shifted(unit.power_of_ten) * unit.factor
    }
}

/// A number at the start of a text.
#[derive(Debug, Clone, PartialEq)]
struct Number<'a> {
    text: &'a str,
    value: Decimal,
    /// The uncertainty in parentheses behind the digits.
    concise: Option<Decimal>,
}

impl<'a> Number<'a> {
    /// The number and what stands behind it, without the blanks between.
    fn split(text: &'a str, dimension: Dimension) -> Result<(Self, &'a str), String> {
        let signless = text.strip_prefix(['+', '-', '−']).unwrap_or(text);
        let (digits, decimals, rest) = mantissa(signless);
        if digits.is_empty() {
            let wanted = if dimension == Dimension::NONE { "" } else { dimension.example() };
            return Err(format!(
                "`{text}` does not begin with a number: expected {}, for example `{}`",
                dimension.name(),
                format!("2.5 {wanted}").trim()
            ));
        }
        let (inner, rest) = parenthesis(rest).map_or((None, rest), |(inner, rest)| (Some(inner), rest));
        let (power, rest) = exponent(rest)?;
        if rest.starts_with(',') {
            return Err(format!("`{text}`: study files have a decimal point, whatever the exports have"));
        }
        let negative = text.starts_with(['-', '−']);
        let value = Decimal { negative, digits, exponent: power.saturating_sub(decimals) };
        let concise = inner.map(|inner| concise(inner, decimals, power));
        Ok((Self { text: text[..text.len() - rest.len()].trim_end(), value, concise }, rest.trim_start()))
    }
}

/// Digits without the point, how many stood behind it, and the rest.
fn mantissa(text: &str) -> (String, i32, &str) {
    let digits_at = |t: &str| t.find(|c: char| !c.is_ascii_digit()).unwrap_or(t.len());
    let (whole, rest) = text.split_at(digits_at(text));
    let Some(behind) = rest.strip_prefix('.') else { return (whole.to_owned(), 0, rest) };
    let (part, rest) = behind.split_at(digits_at(behind));
    (format!("{whole}{part}"), i32::try_from(part.len()).unwrap_or(i32::MAX), rest)
}

/// `(5)` or `(0.5)` directly behind the digits: what is inside, and the rest.
fn parenthesis(rest: &str) -> Option<(&str, &str)> {
    let (inner, rest) = rest.strip_prefix('(')?.split_once(')')?;
    let number = inner.contains(|c: char| c.is_ascii_digit()) && mantissa(inner).2.is_empty();
    number.then_some((inner, rest))
}

/// Digits in parentheses count in the last places of the value; with a point they are in its unit.
fn concise(inner: &str, decimals: i32, power: i32) -> Decimal {
    let (digits, own, _) = mantissa(inner);
    let places = if inner.contains('.') { own } else { decimals };
    Decimal { negative: false, digits, exponent: power.saturating_sub(places) }
}

/// `e-3` behind a number.
fn exponent(rest: &str) -> Result<(i32, &str), String> {
    let Some(behind) = rest.strip_prefix(['e', 'E']) else { return Ok((0, rest)) };
    let signless = behind.strip_prefix(['+', '-']).unwrap_or(behind);
    let end = signless.find(|c: char| !c.is_ascii_digit()).unwrap_or(signless.len());
    if end == 0 {
        return Ok((0, rest));
    }
    let (text, rest) = behind.split_at(behind.len() - signless.len() + end);
    text.parse().map(|power| (power, rest)).map_err(|_| format!("the exponent `{text}` is out of range"))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn read(text: &str, dimension: Dimension) -> (f64, f64) {
        let q = Quantity::parse(text, dimension).unwrap();
        (q.value, q.u)
    }

    /// The four statements of one result in JCGM 100:2008, 7.2.2, and the expanded one of 7.2.4: m = 100.02147 g,
    /// u = 0.35 mg, U = 0.79 mg with k = 2.26.
    #[test]
    fn notations_of_the_guide() {
        let expected = (0.10002147, 3.5e-7);
        for text in ["100.02147(35) g", "100.02147(0.00035) g", "(100.02147 ± 0.00035) g", "100.02147 g ± 0.35 mg"] {
            assert_eq!(read(text, Dimension::MASS), expected, "{text}");
        }
        let (value, u) = read("(100.02147 ± 0.00079) g (k=2.26)", Dimension::MASS);
        // The guide prints U to two digits, so u comes back to 0.35 mg within half a digit of U over k.
        assert!(value == expected.0 && (u - expected.1).abs() < 0.005e-6 / 2.26, "{u}");
    }

    #[test]
    fn forms_by_hand() {
        let viscosity = (0.0452, 5e-4);
        for text in [
            "45.2(5) mPa.s",
            "45.2 ± 0.5 mPa.s",
            "(45.2 ± 0.5) mPa.s",
            "45.2 +/- 0.5 mPa.s",
            "4.52(5)e1 mPa.s",
            "45.2±0.5mPa·s",
        ] {
            assert_eq!(read(text, Dimension::VISCOSITY), viscosity, "{text}");
        }
        assert_eq!(read("45.2 ± 1.0 mPa.s (k=2)", Dimension::VISCOSITY), viscosity);
        assert_eq!(read("45.2 mPa.s ± 1.0 mPa.s (k = 2)", Dimension::VISCOSITY), viscosity);
        assert_eq!(read("45.2 mPa.s ± 1 %", Dimension::VISCOSITY), (0.0452, 0.0452 * 0.01));
        assert_eq!(read("45.2 mPa.s ± 2 % (k=2)", Dimension::VISCOSITY), (0.0452, 0.0452 * 0.02 / 2.0));
        assert_eq!(read("0.500 ± 0.004", Dimension::NONE), (0.5, 0.004));
        assert_eq!(read("(50.0 ± 0.4) %", Dimension::NONE), (0.5, 0.004));
        assert_eq!(read("50.0(4) %", Dimension::NONE), (0.5, 0.004));
        assert_eq!(read("0.5 %", Dimension::NONE), (0.005, 0.0));
        assert_eq!(read("-.5", Dimension::NONE), (-0.5, 0.0));
        assert_eq!(read("25.0 ± 0.1 Cel", Dimension::TEMPERATURE), (298.15, 0.1));
        let (value, u) = read("2.00(2) deg", Dimension::ANGLE);
        let degree = std::f64::consts::PI / 180.0;
        assert_eq!((value, u), (2.0 * degree, 0.02 * degree));
        // 1.0/√3 = 0.577350269189625764509…
        let (_, limits) = read("45.2 ± 1.0 Pa.s (limits)", Dimension::VISCOSITY);
        assert!((limits - 0.577_350_269_189_625_8).abs() < 2e-16);
    }

    #[test]
    fn decimal_shifts_are_done_on_the_digits() {
        for texts in [
            ["20 mm", "2.0 cm", "0.020 m"],
            ["52 um", "0.052 mm", "52000 nm"],
            ["0.3(1) mm", "300(100) um", "3(1)e-4 m"],
        ] {
            let [a, b, c] = texts.map(|t| read(t, Dimension::LENGTH));
            assert!(a == b && b == c, "{texts:?}: {a:?} {b:?} {c:?}");
        }
        assert_eq!(read("31.50 uN.m.s2", Dimension::INERTIA), read("315.0 g.cm2", Dimension::INERTIA));
    }

    #[test]
    fn never_a_guess() {
        let table = [
            ("45.2", "`45.2` has no unit: expected a viscosity, for example `mPa.s`"),
            ("45.2 ± 0.5", "`45.2` has no unit"),
            ("45.2 ± 1 %", "`%` is the unit of a pure number: expected a viscosity"),
            ("45.2 s", "`s` is the unit of a time: expected a viscosity, for example `mPa.s`"),
            ("45.2 mpa.s", "did you mean `mPa.s`?"),
            ("45,2 mPa.s", "decimal point"),
            ("about 45 mPa.s", "does not begin with a number: expected a viscosity, for example `2.5 mPa.s`"),
            ("45.2 ± -0.5 mPa.s", "not negative"),
            ("45.2(5) ± 0.5 mPa.s", "two uncertainties"),
            ("45.2 mPa.s (k=2)", "has no `±`"),
            ("45.2 ± 0.5 mPa.s (k=0)", "coverage factor"),
            ("(45.2 ± 0.5 mPa.s", "lacks a `)`"),
            ("(45.2 ± 0.5 mPa.s) (k=2)", "the unit stands behind them"),
            ("1e999 mPa.s", "out of range"),
            ("1e99999999999 mPa.s", "out of range"),
            ("1 208 mPa.s", "not a unit"),
            ("", "does not begin with a number"),
        ];
        for (text, expected) in table {
            let message = Quantity::parse(text, Dimension::VISCOSITY).unwrap_err();
            assert!(message.contains(expected), "{text}: {message}");
        }
        for text in ["0.5 ± 1 %", "50 % ± 1 %", "50 ± 1 %"] {
            let message = Quantity::parse(text, Dimension::NONE).unwrap_err();
            assert!(message.contains("a share of the value or as points"), "{text}: {message}");
        }
        assert!(Quantity::parse("25 Cel ± 1 %", Dimension::TEMPERATURE).unwrap_err().contains("in `K`"));
    }
}

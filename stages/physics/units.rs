//! Units as people write them: UCUM codes and the usual marks beside them. Values with uncertainties are read
//! in `quantity.rs`.
//!
//! Codes, prefixes and the rule that `/` divides by the next unit only are those of the Unified Code for Units of
//! Measure (UCUM, version 2.1, sections 2 and 4). Beside them stand `rpm`, `rev`, `°`, `°C`, `degC`, `C` (°C here,
//! never coulomb), `°F`, `arcmin`, `arcsec`, `lbf`, `psi`, `inch`, `µ`, `·`, `*`, a blank for a product, `^`,
//! superscripts, and `-` for a pure number.

use crate::near_miss::nearest;

/// What kind of quantity a unit measures, as exponents of its base kinds.
///
/// Angle counts as a kind of its own, so that `rad/s` is no shear rate and `1/s` no angular speed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Dimension {
    mass: i16,
    length: i16,
    time: i16,
    temperature: i16,
    angle: i16,
}

impl Dimension {
    /// A pure number.
    pub const NONE: Self = Self { mass: 0, length: 0, time: 0, temperature: 0, angle: 0 };
    /// Length, m.
    pub const LENGTH: Self = Self { length: 1, ..Self::NONE };
    /// Mass, kg.
    pub const MASS: Self = Self { mass: 1, ..Self::NONE };
    /// Time, s.
    pub const TIME: Self = Self { time: 1, ..Self::NONE };
    /// Temperature, K.
    pub const TEMPERATURE: Self = Self { temperature: 1, ..Self::NONE };
    /// Plane angle, rad.
    pub const ANGLE: Self = Self { angle: 1, ..Self::NONE };
    /// Angular speed, rad/s.
    pub const ANGULAR_SPEED: Self = Self { angle: 1, time: -1, ..Self::NONE };
    /// Shear rate, 1/s.
    pub const RATE: Self = Self { time: -1, ..Self::NONE };
    /// Force, N.
    pub const FORCE: Self = Self { mass: 1, length: 1, time: -2, ..Self::NONE };
    /// Torque, N m.
    pub const TORQUE: Self = Self { mass: 1, length: 2, time: -2, ..Self::NONE };
    /// Stress and pressure, Pa.
    pub const STRESS: Self = Self { mass: 1, length: -1, time: -2, ..Self::NONE };
    /// Viscosity, Pa s.
    pub const VISCOSITY: Self = Self { mass: 1, length: -1, time: -1, ..Self::NONE };
    /// Density, kg/m³.
    pub const DENSITY: Self = Self { mass: 1, length: -3, ..Self::NONE };
    /// Moment of inertia, N m s² = kg m².
    pub const INERTIA: Self = Self { mass: 1, length: 2, ..Self::NONE };
    /// Torsional compliance, rad/(N m).
    pub const COMPLIANCE: Self = Self { mass: -1, length: -2, time: 2, angle: 1, ..Self::NONE };

    /// Every named kind: what it is called, and a unit as one writes it.
    const KINDS: [(Self, &'static str, &'static str); 15] = [
        (Self::NONE, "a pure number", "1"),
        (Self::LENGTH, "a length", "mm"),
        (Self::MASS, "a mass", "g"),
        (Self::TIME, "a time", "s"),
        (Self::TEMPERATURE, "a temperature", "Cel"),
        (Self::ANGLE, "an angle", "deg"),
        (Self::ANGULAR_SPEED, "an angular speed", "rad/s"),
        (Self::RATE, "a rate", "1/s"),
        (Self::FORCE, "a force", "N"),
        (Self::TORQUE, "a torque", "uN.m"),
        (Self::STRESS, "a stress", "Pa"),
        (Self::VISCOSITY, "a viscosity", "mPa.s"),
        (Self::DENSITY, "a density", "kg/m3"),
        (Self::INERTIA, "a moment of inertia", "uN.m.s2"),
        (Self::COMPLIANCE, "a torsional compliance", "rad/(N.m)"),
    ];

    /// What it is called, with its article: `a viscosity`.
    pub fn name(self) -> &'static str {
        self.kind().map_or("a quantity of another kind", |(_, name, _)| name)
    }

    /// A unit of it as one writes it: `mPa.s`.
    pub fn example(self) -> &'static str {
        self.kind().map_or("1", |(_, _, example)| example)
    }

    fn kind(self) -> Option<(Self, &'static str, &'static str)> {
        Self::KINDS.into_iter().find(|(kind, _, _)| *kind == self)
    }

    fn plus(self, other: Self, times: i16) -> Self {
        Self {
            mass: self.mass + times * other.mass,
            length: self.length + times * other.length,
            time: self.time + times * other.time,
            temperature: self.temperature + times * other.temperature,
            angle: self.angle + times * other.angle,
        }
    }
}

/// A unit: one of it is `factor · 10^power_of_ten` of the coherent SI unit, counted from `offset`.
///
/// Powers of ten are kept apart so that they can be applied to the digits of a written number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// What it measures.
    pub dimension: Dimension,
    /// What is left of the factor to SI without its power of ten.
    pub factor: f64,
    /// Power of ten of the factor to SI.
    pub power_of_ten: i32,
    /// Value in SI at zero: 273.15 for °C, 255.372… for °F, else 0.
    pub offset: f64,
}

impl Unit {
    const ONE: Self = Self { dimension: Dimension::NONE, factor: 1.0, power_of_ten: 0, offset: 0.0 };

    /// `value` of this unit in SI. Decimal factors round once.
    pub fn to_si(&self, value: f64) -> f64 {
        let power = ten_to(self.power_of_ten.unsigned_abs());
        let shifted = if self.power_of_ten < 0 { value / power } else { value * power };
        shifted * self.factor + self.offset
    }

    fn times(self, other: Self, exponent: i16) -> Self {
        let factor = (0..exponent.unsigned_abs()).fold(1.0, |product, _| product * other.factor);
        Self {
            dimension: self.dimension.plus(other.dimension, exponent),
            factor: if exponent < 0 { self.factor / factor } else { self.factor * factor },
            power_of_ten: self.power_of_ten + i32::from(exponent) * other.power_of_ten,
            offset: 0.0,
        }
    }
}

/// 10ⁿ by multiplication: exact to n = 22.
fn ten_to(n: u32) -> f64 {
    (0..n).fold(1.0, |power, _| power * 10.0)
}

/// A unit symbol: its spellings, what one of it is, and whether it takes prefixes.
struct Symbol {
    spellings: &'static [&'static str],
    unit: Unit,
    prefixes: bool,
}

const fn symbol(spellings: &'static [&'static str], dimension: Dimension, power_of_ten: i32) -> Symbol {
    Symbol { spellings, unit: Unit { dimension, factor: 1.0, power_of_ten, offset: 0.0 }, prefixes: true }
}

const fn plain(spellings: &'static [&'static str], dimension: Dimension, factor: f64) -> Symbol {
    Symbol { spellings, unit: Unit { dimension, factor, power_of_ten: 0, offset: 0.0 }, prefixes: false }
}

const PI: f64 = std::f64::consts::PI;
/// Standard acceleration of free fall, m/s² (SI brochure, 9th edition, 2.3.4: exact by convention).
const FREE_FALL: f64 = 9.806_65;
/// Pound, kg, and inch, m (UCUM `[lb_av]`, `[in_i]`; exact by the agreement of 1959).
const POUND: f64 = 0.453_592_37;
const INCH: f64 = 0.0254;

/// The symbols. Where a spelling could also be read as prefix and symbol, the spelling wins (`min`, `Pa`, `d`).
const SYMBOLS: [Symbol; 27] = [
    symbol(&["m"], Dimension::LENGTH, 0),
    symbol(&["g"], Dimension::MASS, -3),
    symbol(&["s"], Dimension::TIME, 0),
    symbol(&["K"], Dimension::TEMPERATURE, 0),
    symbol(&["rad"], Dimension::ANGLE, 0),
    symbol(&["N"], Dimension::FORCE, 0),
    symbol(&["Pa"], Dimension::STRESS, 0),
    symbol(&["bar"], Dimension::STRESS, 5),
    symbol(&["P"], Dimension::VISCOSITY, -1),
    symbol(&["dyn"], Dimension::FORCE, -5),
    Symbol {
        spellings: &["gf"],
        unit: Unit { dimension: Dimension::FORCE, factor: FREE_FALL, power_of_ten: -3, offset: 0.0 },
        prefixes: true,
    },
    plain(&["[lbf_av]", "lbf"], Dimension::FORCE, POUND * FREE_FALL),
    plain(&["[psi]", "psi"], Dimension::STRESS, POUND * FREE_FALL / (INCH * INCH)),
    plain(&["[in_i]", "inch"], Dimension::LENGTH, INCH),
    symbol(&["l", "L"], Dimension { length: 3, ..Dimension::NONE }, -3),
    plain(&["min"], Dimension::TIME, 60.0),
    plain(&["h"], Dimension::TIME, 3600.0),
    plain(&["d"], Dimension::TIME, 86_400.0),
    plain(&["deg", "°"], Dimension::ANGLE, PI / 180.0),
    plain(&["gon"], Dimension::ANGLE, PI / 200.0),
    plain(&["'", "arcmin", "′"], Dimension::ANGLE, PI / 10_800.0),
    plain(&["''", "arcsec", "″"], Dimension::ANGLE, PI / 648_000.0),
    plain(&["rev"], Dimension::ANGLE, 2.0 * PI),
    plain(&["rpm"], Dimension::ANGULAR_SPEED, PI / 30.0),
    Symbol { spellings: &["%"], unit: Unit { power_of_ten: -2, ..Unit::ONE }, prefixes: false },
    Symbol {
        spellings: &["Cel", "degC", "°C", "℃", "C"],
        unit: Unit { dimension: Dimension::TEMPERATURE, factor: 1.0, power_of_ten: 0, offset: 273.15 },
        prefixes: false,
    },
    Symbol {
        spellings: &["[degF]", "degF", "°F", "℉"],
        unit: Unit {
            dimension: Dimension::TEMPERATURE,
            factor: 5.0 / 9.0,
            power_of_ten: 0,
            offset: 459.67 * 5.0 / 9.0,
        },
        prefixes: false,
    },
];

/// Prefixes and their powers of ten; both code points of µ.
const PREFIXES: [(&str, i32); 13] = [
    ("m", -3),
    ("u", -6),
    ("µ", -6),
    ("μ", -6),
    ("n", -9),
    ("k", 3),
    ("c", -2),
    ("M", 6),
    ("p", -12),
    ("G", 9),
    ("h", 2),
    ("da", 1),
    ("d", -1),
];

/// Words that people write for a unit, and its code.
const WORDS: [(&str, &str); 19] = [
    ("sec", "s"),
    ("secs", "s"),
    ("seconds", "s"),
    ("mins", "min"),
    ("minutes", "min"),
    ("hr", "h"),
    ("hrs", "h"),
    ("hours", "h"),
    ("degree", "deg"),
    ("degrees", "deg"),
    ("rads", "rad"),
    ("radians", "rad"),
    ("micron", "um"),
    ("celsius", "Cel"),
    ("fahrenheit", "[degF]"),
    ("dynes", "dyn"),
    ("arcminutes", "'"),
    ("percent", "%"),
    ("cps", "cP"),
];

/// Longest text that is looked at; no unit of rheometry comes near.
const LONGEST: usize = 64;

/// Reads a unit.
///
/// # Errors
/// If it is empty, has an unknown symbol (with the nearest known one) or is not well formed.
pub fn parse_unit(text: &str) -> Result<Unit, String> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err("a unit is missing: write `1` for a pure number".to_owned());
    }
    if trimmed.len() > LONGEST {
        return Err("this is too long for a unit".to_owned());
    }
    if trimmed == "-" {
        return Ok(Unit::ONE);
    }
    let mut reader = Reader { text: trimmed, at: 0 };
    let unit = reader.product()?;
    match reader.peek() {
        None => Ok(unit),
        Some(c) => Err(format!("`{trimmed}` is not a unit: `{c}` is not expected there")),
    }
}

/// Reads a unit of the given kind.
///
/// # Errors
/// As [`parse_unit`], and if it measures something else.
pub fn parse_unit_of(text: &str, dimension: Dimension) -> Result<Unit, String> {
    let unit = parse_unit(text)?;
    if unit.dimension == dimension {
        return Ok(unit);
    }
    let mut message = format!(
        "`{}` is the unit of {}: expected {}, for example `{}`",
        text.trim(),
        unit.dimension.name(),
        dimension.name(),
        dimension.example()
    );
    if let Some(code) = with_parentheses(text.trim())
        && parse_unit(&code).is_ok_and(|unit| unit.dimension == dimension)
    {
        message.push_str(&format!("; `/` divides by the next unit only: write `{code}`"));
    }
    Err(message)
}

/// The code for a unit as programs write it: symbols run together (`mNm`), words for units, and every mark that
/// stands beside UCUM's own. None if it is no unit even then.
pub fn code(text: &str) -> Option<String> {
    let text = text.trim();
    let mut out = String::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let letters = rest.find(|c: char| !c.is_alphabetic() && !['°', '℃', '℉'].contains(&c)).unwrap_or(rest.len());
        if letters > 0 {
            let name = &rest[..letters];
            out += &if known(name).is_some() { name.to_owned() } else { meant(name)? };
            rest = &rest[letters..];
            continue;
        }
        out.push(first);
        rest = &rest[first.len_utf8()..];
    }
    let out = plain_signs(&out);
    parse_unit(&out).is_ok().then_some(out)
}

/// The same unit in UCUM's own signs.
fn plain_signs(text: &str) -> String {
    if ["°C", "degC", "℃", "C"].contains(&text) {
        return "Cel".to_owned();
    }
    if ["°F", "degF", "℉"].contains(&text) {
        return "[degF]".to_owned();
    }
    let raised = [('⁰', '0'), ('¹', '1'), ('²', '2'), ('³', '3'), ('⁴', '4'), ('⁻', '-'), ('−', '-')];
    let signs = [('µ', 'u'), ('μ', 'u'), ('·', '.'), ('⋅', '.'), ('*', '.'), ('×', '.')];
    let plain = |c: char| raised.iter().chain(&signs).find(|(from, _)| *from == c).map_or(c, |(_, to)| *to);
    let plain: String = text.chars().filter(|c| *c != '^').map(plain).collect();
    plain.split_whitespace().collect::<Vec<_>>().join(".").replace("./", "/").replace("/.", "/").replace("°", "deg")
}

/// `rad/N.m` with everything behind the first `/` in parentheses.
fn with_parentheses(text: &str) -> Option<String> {
    let (above, below) = text.split_once('/')?;
    (!below.contains(['/', '('])).then(|| format!("{above}/({below})"))
}

/// Reads a code from left to right.
struct Reader<'a> {
    text: &'a str,
    at: usize,
}

impl<'a> Reader<'a> {
    fn rest(&self) -> &'a str {
        &self.text[self.at..]
    }

    fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    fn take(&mut self, c: char) -> bool {
        let found = self.peek() == Some(c);
        if found {
            self.at += c.len_utf8();
        }
        found
    }

    fn take_while(&mut self, keep: impl Fn(char) -> bool) -> &'a str {
        let rest = self.rest();
        let end = rest.find(|c| !keep(c)).unwrap_or(rest.len());
        self.at += end;
        &rest[..end]
    }

    /// Terms with `.` or `/` between; a leading `/` is allowed.
    fn product(&mut self) -> Result<Unit, String> {
        let mut unit = Unit::ONE;
        let mut sign = self.sign();
        let single = self.at == 0;
        loop {
            let (term, exponent) = self.term()?;
            self.take_while(char::is_whitespace);
            let ends = matches!(self.peek(), None | Some(')'));
            if single && ends && unit == Unit::ONE && sign.is_none() && exponent == 1 {
                return Ok(term);
            }
            if term.offset != 0.0 {
                return Err(format!("`{}`: a temperature scale cannot be part of a product; use `K`", self.text));
            }
            unit = unit.times(term, sign.unwrap_or(1) * exponent);
            if ends {
                return Ok(unit);
            }
            sign = self.sign();
        }
    }

    /// The operator before a term: −1 for `/`, 1 for a product sign, none where terms only stand side by side.
    fn sign(&mut self) -> Option<i16> {
        self.take_while(char::is_whitespace);
        let sign = match self.peek() {
            Some('/') => -1,
            Some('.' | '·' | '⋅' | '*' | '×') if self.at > 0 => 1,
            _ => return None,
        };
        self.at += self.peek().map_or(0, char::len_utf8);
        self.take_while(char::is_whitespace);
        Some(sign)
    }

    /// A symbol with its exponent, `1`, or a product in parentheses.
    fn term(&mut self) -> Result<(Unit, i16), String> {
        if self.take('(') {
            let unit = self.product()?;
            return if self.take(')') { Ok((unit, 1)) } else { Err(format!("`{}` lacks a `)`", self.text)) };
        }
        if self.take('1') && !self.peek().is_some_and(|c| c.is_ascii_digit()) {
            return Ok((Unit::ONE, 1));
        }
        let start = self.at;
        let name = self.symbol();
        if name.is_empty() {
            return Err(format!("`{}` is not a unit", self.text));
        }
        let unit = known(name).ok_or_else(|| self.unknown(name, start))?;
        Ok((unit, self.exponent()?))
    }

    /// A symbol in letters, in brackets (`[degF]`), of primes, or `%`.
    fn symbol(&mut self) -> &'a str {
        let rest = self.rest();
        match rest.chars().next() {
            Some('%') => {
                self.at += 1;
                &rest[..1]
            }
            Some('[') => {
                self.at += rest.find(']').map_or(rest.len(), |end| end + 1);
                &rest[..self.at - (self.text.len() - rest.len())]
            }
            Some('\'' | '′' | '″') => self.take_while(|c| ['\'', '′', '″'].contains(&c)),
            _ => self.take_while(|c| c.is_alphabetic() || ['°', '℃', '℉'].contains(&c)),
        }
    }

    /// `2`, `-1`, `^2`, `²`, `⁻¹`, or nothing for 1.
    fn exponent(&mut self) -> Result<i16, String> {
        const RAISED: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
        let caret = self.take('^');
        let negative = self.take('-') || self.take('−') || self.take('⁻');
        let digits = self.take_while(|c| c.is_ascii_digit() || RAISED.contains(&c));
        let plain: String = digits
            .chars()
            .map(|c| RAISED.iter().position(|r| *r == c).and_then(|d| char::from_digit(d as u32, 10)).unwrap_or(c))
            .collect();
        match plain.parse::<i16>() {
            Ok(exponent @ 1..=9) => Ok(if negative { -exponent } else { exponent }),
            Err(_) if plain.is_empty() && !caret && !negative => Ok(1),
            _ => Err(format!(
                "`{}` is not a unit: an exponent is a whole number from 1 to 9, with or without `-`",
                self.text
            )),
        }
    }

    fn unknown(&self, name: &str, start: usize) -> String {
        let message = format!("unknown unit `{name}`");
        match suggestion(name) {
            None => message,
            Some(code) => {
                let whole = format!("{}{code}{}", &self.text[..start], &self.text[start + name.len()..]);
                format!("{message}: did you mean `{whole}`?")
            }
        }
    }
}

/// The unit that a symbol stands for, with or without prefix.
fn known(name: &str) -> Option<Unit> {
    let exact = SYMBOLS.iter().find(|s| s.spellings.contains(&name));
    exact.map(|s| s.unit).or_else(|| PREFIXES.iter().find_map(|(prefix, power)| prefixed(name, prefix, *power)))
}

fn prefixed(name: &str, prefix: &str, power: i32) -> Option<Unit> {
    let rest = name.strip_prefix(prefix)?;
    let symbol = SYMBOLS.iter().find(|s| s.prefixes && s.spellings.contains(&rest))?;
    Some(Unit { power_of_ten: symbol.unit.power_of_ten + power, ..symbol.unit })
}

/// A code that was probably meant: a word for a unit, two symbols without the dot between (`mPas`), the same but for
/// case, or a slip of the finger.
fn suggestion(name: &str) -> Option<String> {
    let codes: Vec<String> = ["", "m", "u", "n", "k", "c"]
        .iter()
        .flat_map(|prefix| SYMBOLS.iter().filter(|s| prefix.is_empty() || s.prefixes).map(move |s| (prefix, s)))
        .map(|(prefix, s)| format!("{prefix}{}", s.spellings[0]))
        .collect();
    meant(name).or_else(|| nearest(name, codes.iter().map(String::as_str)).map(str::to_owned))
}

/// A word for a unit, or two symbols without the dot between (`mPas`).
fn meant(name: &str) -> Option<String> {
    let folded = name.to_lowercase();
    let word = WORDS.iter().find(|(word, _)| *word == folded).map(|(_, code)| (*code).to_owned());
    let split = || {
        let cuts = name.char_indices().skip(1).map(|(at, _)| name.split_at(at));
        let halves = cuts.filter(|(a, b)| known(a).is_some() && known(b).is_some());
        halves.last().map(|(a, b)| format!("{a}.{b}"))
    };
    word.or_else(split)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn what_programs_write_has_a_code() {
        let pairs = [
            ("mNm", "mN.m"),
            ("µN·m", "uN.m"),
            ("°C", "Cel"),
            ("C", "Cel"),
            ("degC", "Cel"),
            ("1/min", "1/min"),
            ("s⁻¹", "s-1"),
            ("N m", "N.m"),
            ("N/m²", "N/m2"),
            ("mPas", "mPa.s"),
            ("sec", "s"),
            ("°", "deg"),
            ("%", "%"),
            ("-", "-"),
        ];
        for (text, expected) in pairs {
            assert_eq!(code(text).as_deref(), Some(expected), "{text}");
        }
        assert_eq!(code("Skt"), None);
    }

    fn si(text: &str) -> (f64, Dimension) {
        let unit = parse_unit(text).unwrap();
        (unit.to_si(1.0), unit.dimension)
    }

    /// Factors from the SI brochure (9th edition, tables 4, 7 and 8); poise and dyne from its 8th edition, table 9.
    #[test]
    fn factors_and_kinds() {
        let table: [(&str, f64, Dimension); 56] = [
            ("mPa.s", 1e-3, Dimension::VISCOSITY),
            ("cP", 1e-3, Dimension::VISCOSITY),
            ("Pa·s", 1.0, Dimension::VISCOSITY),
            ("Pa*s", 1.0, Dimension::VISCOSITY),
            ("uN.m.s2", 1e-6, Dimension::INERTIA),
            ("kg.m2", 1.0, Dimension::INERTIA),
            ("g.cm2", 1e-7, Dimension::INERTIA),
            ("uN.m", 1e-6, Dimension::TORQUE),
            ("µN·m", 1e-6, Dimension::TORQUE),
            ("μN⋅m", 1e-6, Dimension::TORQUE),
            ("N m", 1.0, Dimension::TORQUE),
            ("nN.m", 1e-9, Dimension::TORQUE),
            ("dyn.cm", 1e-7, Dimension::TORQUE),
            ("kg/m3", 1.0, Dimension::DENSITY),
            ("kg/m³", 1.0, Dimension::DENSITY),
            ("g/cm3", 1e3, Dimension::DENSITY),
            ("g/mL", 1e3, Dimension::DENSITY),
            ("1/s", 1.0, Dimension::RATE),
            ("/s", 1.0, Dimension::RATE),
            ("s-1", 1.0, Dimension::RATE),
            ("s⁻¹", 1.0, Dimension::RATE),
            ("s^-1", 1.0, Dimension::RATE),
            ("1/min", 1.0 / 60.0, Dimension::RATE),
            ("rpm", std::f64::consts::PI / 30.0, Dimension::ANGULAR_SPEED),
            ("rev/min", std::f64::consts::PI / 30.0, Dimension::ANGULAR_SPEED),
            ("rad/s", 1.0, Dimension::ANGULAR_SPEED),
            ("mrad", 1e-3, Dimension::ANGLE),
            ("deg", std::f64::consts::PI / 180.0, Dimension::ANGLE),
            ("°", std::f64::consts::PI / 180.0, Dimension::ANGLE),
            ("%", 1e-2, Dimension::NONE),
            ("1", 1.0, Dimension::NONE),
            ("-", 1.0, Dimension::NONE),
            ("K", 1.0, Dimension::TEMPERATURE),
            ("Pa", 1.0, Dimension::STRESS),
            ("kPa", 1e3, Dimension::STRESS),
            ("N/m2", 1.0, Dimension::STRESS),
            ("dyn/cm2", 0.1, Dimension::STRESS),
            ("min", 60.0, Dimension::TIME),
            ("ms", 1e-3, Dimension::TIME),
            ("h", 3600.0, Dimension::TIME),
            ("um", 1e-6, Dimension::LENGTH),
            ("mg", 1e-6, Dimension::MASS),
            ("rad/(N.m)", 1.0, Dimension::COMPLIANCE),
            ("rad / (N m)", 1.0, Dimension::COMPLIANCE),
            // UCUM 2.1, tables 5 to 8 (values from memory; NIST SP 811, appendix B, prints the same): gram-force, pound-force,
            // psi, inch, gon, minute and second of angle.
            ("gf", 9.806_65e-3, Dimension::FORCE),
            ("kgf", 9.806_65, Dimension::FORCE),
            ("gf.cm", 9.806_65e-5, Dimension::TORQUE),
            ("dyn", 1e-5, Dimension::FORCE),
            ("[lbf_av]", 4.448_221_615_260_5, Dimension::FORCE),
            ("[psi]", 6_894.757_293_168_361, Dimension::STRESS),
            ("psi", 6_894.757_293_168_361, Dimension::STRESS),
            ("[in_i]", 0.0254, Dimension::LENGTH),
            ("gon", std::f64::consts::PI / 200.0, Dimension::ANGLE),
            ("'", std::f64::consts::PI / 10_800.0, Dimension::ANGLE),
            ("arcmin", std::f64::consts::PI / 10_800.0, Dimension::ANGLE),
            ("''", std::f64::consts::PI / 648_000.0, Dimension::ANGLE),
        ];
        for (text, factor, dimension) in table {
            let (found, kind) = si(text);
            // Factors that are not powers of ten may round in the last place.
            assert!((found / factor - 1.0).abs() < 4e-16, "{text}: {found} for {factor}");
            assert_eq!(kind, dimension, "{text}");
        }
    }

    #[test]
    fn celsius_has_an_offset_and_stands_alone() {
        for text in ["Cel", "degC", "C", "°C", "℃"] {
            let unit = parse_unit(text).unwrap();
            assert_eq!(unit.to_si(25.0), 298.15, "{text}");
            assert_eq!(unit.dimension, Dimension::TEMPERATURE);
        }
        assert!(parse_unit("W/Cel").is_err());
        assert!(parse_unit("1/Cel").unwrap_err().contains("use `K`"));
        assert!(parse_unit("Cel2").unwrap_err().contains("use `K`"));
    }

    /// 212 °F is the boiling point of water at 100 °C, 32 °F its melting point at 0 °C (definition of the scale).
    #[test]
    fn fahrenheit_is_a_scale_of_its_own() {
        for text in ["[degF]", "degF", "°F"] {
            let unit = parse_unit(text).unwrap();
            assert!((unit.to_si(212.0) - 373.15).abs() < 1e-12 && (unit.to_si(32.0) - 273.15).abs() < 1e-12, "{text}");
            assert_eq!(code(text).as_deref(), Some("[degF]"), "{text}");
        }
        assert!(parse_unit("1/[degF]").unwrap_err().contains("use `K`"));
        assert!(parse_unit("[degF").is_err() && parse_unit("[deg]").is_err() && parse_unit("[]").is_err());
    }

    #[test]
    fn division_is_by_the_next_unit_only() {
        let message = parse_unit_of("rad/N.m", Dimension::COMPLIANCE).unwrap_err();
        assert!(message.contains("write `rad/(N.m)`"), "{message}");
        assert_eq!(si("N/m.s").1, Dimension { mass: 1, time: -1, ..Dimension::NONE });
    }

    #[test]
    fn angle_is_a_kind_of_its_own() {
        let message = parse_unit_of("rad/s", Dimension::RATE).unwrap_err();
        assert_eq!(message, "`rad/s` is the unit of an angular speed: expected a rate, for example `1/s`");
        assert!(parse_unit_of("1/s", Dimension::ANGULAR_SPEED).is_err());
    }

    #[test]
    fn near_misses() {
        let table = [
            ("mpa.s", "did you mean `mPa.s`?"),
            ("mPas", "did you mean `mPa.s`?"),
            ("mNm", "did you mean `mN.m`?"),
            ("Nm", "did you mean `N.m`?"),
            ("sec", "did you mean `s`?"),
            ("1/mins", "did you mean `1/min`?"),
            ("RPM", "did you mean `rpm`?"),
            ("rqd/s", "did you mean `rad/s`?"),
            ("frob", "unknown unit `frob`"),
        ];
        for (text, expected) in table {
            let message = parse_unit(text).unwrap_err();
            assert!(message.contains(expected), "{text}: {message}");
        }
    }

    #[test]
    fn malformed_is_refused() {
        for text in ["", "  ", "N..m", "N.", "(N.m", "N.m)", "s--1", "s^", "s0", "s-", "m12", "11/s", "N/", "5", "N,m"]
        {
            assert!(parse_unit(text).is_err(), "{text:?}");
        }
        assert!(parse_unit(&"(".repeat(10_000)).is_err());
    }

    #[test]
    fn every_symbol_is_its_own_and_every_word_leads_to_one() {
        let all: Vec<_> = SYMBOLS.iter().flat_map(|s| s.spellings).collect();
        let distinct: std::collections::BTreeSet<_> = all.iter().collect();
        assert_eq!(all.len(), distinct.len());
        assert!(WORDS.iter().all(|(word, code)| known(word).is_none() && known(code).is_some()));
    }
}

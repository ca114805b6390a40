//! Every printed number is rounded here: by its standard uncertainty, to two significant digits of it
//! (JCGM 100:2008, 7.2.6), with a real minus sign and powers of ten in superscript. No other room rounds.

use stages::states::result::Interval;

/// What stands for a missing value.
pub const MISSING: &str = "–";

/// A value and its uncertainty on one power of ten, with equal decimals.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rounded {
    value: String,
    u: String,
    decimals: usize,
    exponent: i32,
}

/// A standard uncertainty below this part of its value is rounding of the arithmetic, as where one value comes back
/// from several sums; no measurement is that good.
const ARITHMETIC: f64 = 1e-12;

/// Rounds `value` by its standard uncertainty `u`; none where either is not finite or `u` says nothing.
fn rounded(value: f64, u: f64) -> Option<Rounded> {
    if !value.is_finite() || !u.is_finite() || u <= ARITHMETIC * value.abs() {
        return None;
    }
    // Two significant digits of u end at this power of ten; formatting carries 0.0996 to 0.10.
    let last = decimal_exponent(u, 1) - 1;
    let top = decimal_exponent(value, 6).max(last + 1);
    let exponent = if (-3..5).contains(&top) && last <= 0 { 0 } else { top };
    let decimals = usize::try_from(exponent - last).unwrap_or(0);
    Some(Rounded { value: scaled(value, exponent, decimals), u: scaled(u, exponent, decimals), decimals, exponent })
}

/// Power of ten of the first digit once `x` is rounded to `digits` more digits; far below all for zero.
fn decimal_exponent(x: f64, digits: usize) -> i32 {
    if x == 0.0 {
        return i32::MIN / 2;
    }
    let text = format!("{:.digits$e}", x.abs());
    text.split_once('e').and_then(|(_, e)| e.parse().ok()).unwrap_or(0)
}

/// `x` / 10^`exponent` with `decimals` decimals; the shift is done on the digits, not by a division.
fn scaled(x: f64, exponent: i32, decimals: usize) -> String {
    if exponent == 0 || x == 0.0 {
        return minus(&format!("{x:.decimals$}"));
    }
    let sign = if x < 0.0 { "-" } else { "" };
    let digits = whole_units(x.abs(), exponent - i32::try_from(decimals).unwrap_or(0));
    let padded = format!("{digits:0>width$}", width = decimals + 1);
    let (before, after) = padded.split_at(padded.len() - decimals);
    minus(&if after.is_empty() { format!("{sign}{before}") } else { format!("{sign}{before}.{after}") })
}

/// Digits of `x` (positive) counted in units of 10^`unit`, rounded to a whole number of them.
fn whole_units(x: f64, unit: i32) -> String {
    let more = decimal_exponent(x, 17) - unit;
    let Ok(places) = usize::try_from(more) else {
        // Below one unit: the first digit tells whether it is nearer to one or to none.
        let first = format!("{x:e}").bytes().next().unwrap_or(b'0');
        return if more == -1 && first >= b'5' { "1".to_owned() } else { "0".to_owned() };
    };
    let text = format!("{x:.places$e}");
    let (mantissa, top) = text.split_once('e').unwrap_or((&text, "0"));
    // A carry (9.996 → 10.00) adds a digit.
    let carried = top.parse::<i32>().unwrap_or(0) - unit - more;
    let zeros = usize::try_from(carried).unwrap_or(0);
    format!("{}{}", mantissa.replace('.', ""), "0".repeat(zeros))
}

/// A real minus sign, and none before a zero.
fn minus(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().any(|c| c.is_ascii_digit() && c != '0') => format!("\u{2212}{rest}"),
        Some(rest) => rest.to_owned(),
        None => text.to_owned(),
    }
}

/// `×10⁻³`; empty for 0.
fn power(exponent: i32) -> String {
    if exponent == 0 { String::new() } else { format!("×10{}", superscript(exponent)) }
}

/// A whole number in superscript characters.
pub fn superscript(n: i32) -> String {
    let digit = |c: char| match c {
        '-' => '⁻',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        '4' => '⁴',
        '5' => '⁵',
        '6' => '⁶',
        '7' => '⁷',
        '8' => '⁸',
        '9' => '⁹',
        _ => '⁰',
    };
    n.to_string().chars().map(digit).collect()
}

/// `12.3 ± 0.4` style: `0.860 ± 0.012`, `(1.23 ± 0.45)×10⁻⁵`; without uncertainty as [`plain`].
pub fn plus_minus(value: f64, u: f64) -> String {
    match rounded(value, u) {
        None => plain(value),
        Some(r) if r.exponent == 0 => format!("{} ± {}", r.value, r.u),
        Some(r) => format!("({} ± {}){}", r.value, r.u, power(r.exponent)),
    }
}

/// Concise form of the same: `0.860(12)`, `1.23(45)×10⁻⁵` (JCGM 100:2008, 7.2.2).
pub fn concise(value: f64, u: f64) -> String {
    match rounded(value, u) {
        None => plain(value),
        Some(r) => {
            let in_last_digits = if r.u.starts_with("0.") { r.u.replace("0.", "") } else { r.u.clone() };
            let in_last_digits = in_last_digits.trim_start_matches('0');
            format!("{}({in_last_digits}){}", r.value, power(r.exponent))
        }
    }
}

/// The value alone, rounded as its uncertainty asks.
pub fn value_of(value: f64, u: f64) -> String {
    rounded(value, u).map_or_else(|| plain(value), |r| format!("{}{}", r.value, power(r.exponent)))
}

/// `[0.84, 0.88]`, both ends with the decimals of the value; a missing end is open.
pub fn interval(i: &Interval) -> String {
    let end = |x: Option<f64>, open: &str| x.map_or_else(|| open.to_owned(), |x| like(x, i.value, i.u));
    match (i.low, i.high) {
        (None, None) => MISSING.to_owned(),
        (low, high) => format!("[{}, {}]", end(low, "\u{2212}∞"), end(high, "∞")),
    }
}

/// `x` with the decimals and the power of ten that `value` has beside its uncertainty `u`.
pub fn like(x: f64, value: f64, u: f64) -> String {
    match rounded(value, u) {
        Some(r) if x.is_finite() => format!("{}{}", scaled(x, r.exponent, r.decimals), power(r.exponent)),
        _ => plain(x),
    }
}

/// A number without stated uncertainty, to three significant digits.
pub fn plain(x: f64) -> String {
    significant(x, 3)
}

/// A number to `digits` significant digits (at least one).
pub fn significant(x: f64, digits: usize) -> String {
    if !x.is_finite() {
        return MISSING.to_owned();
    }
    if x == 0.0 {
        return "0".to_owned();
    }
    let more = digits.saturating_sub(1);
    let top = decimal_exponent(x, more);
    let last = top - i32::try_from(more).unwrap_or(0);
    if (-3..5).contains(&top) && last <= 0 {
        scaled(x, 0, usize::try_from(-last).unwrap_or(0))
    } else if (0..5).contains(&top) {
        // A whole number below 100,000 keeps its digits.
        scaled(x, 0, 0)
    } else {
        format!("{}{}", scaled(x, top, more), power(top))
    }
}

/// A setting as it was meant: the shortest decimal text that gives the number back, with a real minus sign.
pub fn setting(x: f64) -> String {
    if x.is_finite() && x != 0.0 && !(1e-4..1e6).contains(&x.abs()) {
        let text = format!("{x:e}");
        let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        return format!("{}{}", minus(mantissa), power(exponent.parse().unwrap_or(0)));
    }
    minus(&format!("{x}"))
}

/// Part of a whole as per cent: `0.4 %`, `12 %`; two significant digits below 10.
pub fn percent(share: f64) -> String {
    if !share.is_finite() {
        return MISSING.to_owned();
    }
    let p = 100.0 * share;
    let text = if p == 0.0 || p.abs() >= 9.95 { minus(&format!("{p:.0}")) } else { significant(p, 2) };
    format!("{text}{PER_CENT}")
}

/// A setting between 0 and 1 as per cent, as it was meant: `5 %`, `2.5 %`.
pub fn setting_percent(share: f64) -> String {
    // Twelve digits take away what the multiplication adds.
    let text = format!("{:.12}", 100.0 * share);
    format!("{}{PER_CENT}", minus(text.trim_end_matches('0').trim_end_matches('.')))
}

/// The sign after a space that does not break (ISO 80000-1, 7.1.4: a space stands before it).
const PER_CENT: &str = "\u{a0}%";

/// `3 readings`, `1 reading`: a count with its noun, thousands set apart by a thin space.
pub fn count(n: u64, noun: &str) -> String {
    let plural = if n == 1 { "" } else { "s" };
    format!("{} {noun}{plural}", whole(n))
}

/// A whole number, thousands set apart from five digits on (ISO 80000-1, 7.3.1: thin space, no comma).
pub fn whole(n: u64) -> String {
    let digits = n.to_string();
    if digits.len() < 5 {
        return digits;
    }
    let mut out = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    out
}

#[cfg(test)]
#[path = "numbers_tests.rs"]
mod tests;

//! Numbers as exports write them. Units are applied elsewhere.

use super::layout::{Decimal, Layout};

/// How numbers are written, and what stands for a missing one.
#[derive(Debug)]
pub(crate) struct Format {
    decimal: char,
    thousands: Option<char>,
    missing: Vec<String>,
}

/// What a field holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Field {
    Number(f64),
    Missing,
    Unreadable,
}

impl Format {
    pub(crate) fn new(layout: &Layout, missing: &[String]) -> Self {
        Self {
            decimal: layout.decimal.sign(),
            thousands: layout.thousands.map(|t| t.sign()),
            missing: missing.to_vec(),
        }
    }

    /// Reads one trimmed field.
    pub(crate) fn read(&self, text: &str) -> Field {
        if text.is_empty() {
            return Field::Missing;
        }
        match self.number(text) {
            Some(value) => Field::Number(value),
            None if self.missing.iter().any(|word| word.eq_ignore_ascii_case(text)) => Field::Missing,
            None => Field::Unreadable,
        }
    }

    fn number(&self, text: &str) -> Option<f64> {
        let simple = |c: u8| c.is_ascii_digit() || matches!(c, b'.' | b'-' | b'+' | b'e' | b'E');
        let plain = self.decimal == '.' && self.thousands.is_none() && text.bytes().all(simple);
        let parsed: f64 = if plain { text.parse().ok()? } else { self.normal(text)?.parse().ok()? };
        parsed.is_finite().then_some(parsed)
    }

    /// The same number as Rust writes it.
    fn normal(&self, text: &str) -> Option<String> {
        let (before, after) = text.split_once(self.decimal).map_or((text, None), |(b, a)| (b, Some(a)));
        let mut out = String::with_capacity(text.len());
        out.push_str(&self.without_groups(before)?.replace('\u{2212}', "-"));
        if let Some(after) = after {
            out.push('.');
            out.push_str(&after.replace('\u{2212}', "-"));
        }
        let known = |c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+' | 'e' | 'E');
        let points = out.matches('.').count() == usize::from(after.is_some());
        (points && out.chars().all(known)).then_some(out)
    }

    /// The whole part without the signs between groups; none where the groups are not of three digits.
    fn without_groups(&self, whole: &str) -> Option<String> {
        let Some(sign) = self.thousands else { return Some(whole.to_owned()) };
        let between = |c: char| c == sign || (sign == ' ' && c.is_whitespace());
        let mut groups = whole.split(between);
        let first = groups.next()?.to_owned();
        groups.try_fold(first, |number, group| {
            (group.len() == 3 && group.bytes().all(|b| b.is_ascii_digit())).then(|| number + group)
        })
    }

    /// Whether the field would be a number with the other decimal sign.
    pub(super) fn other_decimal(&self, text: &str) -> Option<Decimal> {
        let other = if self.decimal == '.' { Decimal::Comma } else { Decimal::Point };
        let format = Self { decimal: other.sign(), thousands: None, missing: Vec::new() };
        format.number(text).map(|_| other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn format(decimal: char, thousands: Option<char>) -> Format {
        Format { decimal, thousands, missing: vec!["-".into(), "NaN".into()] }
    }

    fn value(format: &Format, text: &str) -> Option<f64> {
        match format.read(text) {
            Field::Number(value) => Some(value),
            _ => None,
        }
    }

    #[test]
    fn decimal_comma_exponents_and_signs() {
        let comma = format(',', None);
        assert_eq!(value(&comma, "1,2E-03"), Some(1.2e-3));
        assert_eq!(value(&comma, "-47,6109"), Some(-47.6109));
        assert_eq!(value(&comma, "\u{2212}5"), Some(-5.0));
        assert_eq!(value(&comma, "+,5e1"), Some(5.0));
        assert_eq!(value(&comma, "1.5"), None);
        assert_eq!(comma.other_decimal("1.5"), Some(Decimal::Point));
    }

    #[test]
    fn groups_must_be_of_three() {
        let grouped = format(',', Some('.'));
        assert_eq!(value(&grouped, "12.345.678,5"), Some(12_345_678.5));
        assert_eq!(value(&grouped, "1.5"), None);
        assert_eq!(value(&format('.', Some(' ')), "1\u{a0}000.5"), Some(1000.5));
    }

    #[test]
    fn words_and_overflow_are_no_numbers() {
        let point = format('.', None);
        for text in ["inf", "1_000", "0x10", "1e999", "12 Pa", "1.2.3", "e"] {
            assert_eq!(point.read(text), Field::Unreadable, "{text}");
        }
        for text in ["", "-", "nan"] {
            assert_eq!(point.read(text), Field::Missing, "{text}");
        }
    }
}

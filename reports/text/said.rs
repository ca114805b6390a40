//! Words of the stages made fit for print: real minus signs, powers of ten, thousands set apart, sentences with a capital
//! and a stop. What they say is left alone.

use super::numbers::{superscript, whole};

/// A remark as it is printed: `-4 %` with a real minus sign, `2e-14` as a power of ten.
pub fn printed(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::new();
    let mut at = 0;
    while at < chars.len() {
        let behind = at.checked_sub(1).map(|i| chars[i]);
        if let Some((power, length)) = power(&chars[at..]).filter(|_| behind.is_some_and(|c| c.is_ascii_digit())) {
            out.push_str(&format!("×10{}", superscript(power)));
            at += length;
            continue;
        }
        if let Some((number, length)) =
            long(&chars[at..]).filter(|_| behind.is_none_or(|c| c.is_whitespace() || c == '('))
        {
            out.push_str(&whole(number));
            at += length;
            continue;
        }
        let begins = behind.is_none_or(|c| c.is_whitespace() || "([,".contains(c));
        let minus = chars[at] == '-' && begins && chars.get(at + 1).is_some_and(char::is_ascii_digit);
        out.push(if minus { '\u{2212}' } else { chars[at] });
        at += 1;
    }
    out
}

/// A whole number of five digits or more that stands alone, and how many characters it takes.
fn long(chars: &[char]) -> Option<(u64, usize)> {
    let length = chars.iter().take_while(|c| c.is_ascii_digit()).count();
    let ends = chars.get(length).is_none_or(|c| c.is_whitespace() || ",;:)".contains(*c));
    let text: String = chars[..length].iter().collect();
    (length >= 5 && chars[0] != '0' && ends).then_some(())?;
    Some((text.parse().ok()?, length))
}

/// The exponent that `e-14` says and how many characters it takes, where a number ends behind it.
fn power(chars: &[char]) -> Option<(i32, usize)> {
    let sign = usize::from(*chars.get(1)? == '-');
    let digits = chars[1 + sign..].iter().take_while(|c| c.is_ascii_digit()).count();
    let length = 1 + sign + digits;
    let ends = chars.get(length).is_none_or(|c| !c.is_alphanumeric());
    let text: String = chars[1..length].iter().collect();
    (chars[0] == 'e' && digits > 0 && ends).then_some(())?;
    Some((text.parse().ok()?, length))
}

/// The same as a sentence: a capital in front, a stop behind.
pub fn sentence(text: &str) -> String {
    let text = printed(text);
    let mut chars = text.chars();
    let capital: String = chars.next().into_iter().flat_map(char::to_uppercase).collect();
    let stop = if text.ends_with(['.', '!', '?']) || text.is_empty() { "" } else { "." };
    format!("{capital}{}{stop}", chars.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_a_remark_are_set_and_names_are_not() {
        assert_eq!(
            printed("flat (-4 to +2 %) in control-1.csv, step 3-5"),
            "flat (\u{2212}4 to +2 %) in control-1.csv, step 3-5"
        );
        assert_eq!(printed("adds 2e-14 of the torque; 6e-4"), "adds 2×10⁻¹⁴ of the torque; 6×10⁻⁴");
        assert_eq!(
            printed("150000 trials, 280000; 12345x, 1234 and 12345.csv"),
            "150\u{202f}000 trials, 280\u{202f}000; 12345x, 1234 and 12345.csv"
        );
        assert_eq!(printed("step1e5x, 3 e-4, R12e, 2026-10-12"), "step1e5x, 3 e-4, R12e, 2026-10-12");
    }

    #[test]
    fn a_sentence_has_a_capital_and_one_stop() {
        assert_eq!(sentence("äther is -1"), "Äther is \u{2212}1.");
        assert_eq!(sentence("Done."), "Done.");
        assert_eq!(sentence(""), "");
    }
}

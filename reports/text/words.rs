//! Lists, exceptions and small numbers in words, for running text; tables keep figures.

use super::numbers::{setting, whole};

/// So many names are listed; of more, the last ones are counted.
const LISTED: usize = 6;

/// So many exceptions are named before the rest is listed instead.
const EXCEPTIONS: usize = 3;

/// `a`, `a and b`, `a, b and c`.
pub fn listed(items: impl Iterator<Item = String>) -> String {
    joined(items.collect(), "and")
}

/// `a`, `a or b`, `a, b or c`.
pub fn either(items: impl Iterator<Item = String>) -> String {
    joined(items.collect(), "or")
}

fn joined(items: Vec<String>, last_word: &str) -> String {
    match items.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} {last_word} {last}", rest.join(", ")),
    }
}

/// The same where there may be many: `a, b, c, d, e and 15 others`.
pub fn shortened(items: impl Iterator<Item = String>) -> String {
    let mut items: Vec<String> = items.collect();
    if items.len() > LISTED {
        let others = items.split_off(LISTED - 1).len() as u64;
        items.push(format!("{} others", number(others)));
    }
    joined(items, "and")
}

/// Some of `all` in the shortest true words: `all 20 samples`, `all samples but A and B`, else a list that is not too
/// long. One or two of few are named, and all where some are not among them.
pub fn among(some: &[String], all: &[String], noun: &str) -> String {
    let left_out: Vec<String> = all.iter().filter(|name| !some.contains(name)).cloned().collect();
    if some.iter().any(|name| !all.contains(name)) {
        return shortened(some.iter().cloned());
    }
    match left_out.len() {
        0 if some.len() > 2 => format!("all {}", counted(some.len() as u64, noun)),
        1..=EXCEPTIONS if some.len() > LISTED => format!("all {} but {}", plural(noun), listed(left_out.into_iter())),
        _ => shortened(some.iter().cloned()),
    }
}

/// [`among`] at the beginning of a sentence; names are left as they are.
pub fn among_first(some: &[String], all: &[String], noun: &str) -> String {
    let text = among(some, all, noun);
    text.strip_prefix("all ").map_or_else(|| text.clone(), |rest| format!("All {rest}"))
}

/// `one` to `nine` in words, larger ones in figures.
pub fn number(n: u64) -> String {
    const WORDS: [&str; 10] = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
    usize::try_from(n).ok().and_then(|n| WORDS.get(n)).map_or_else(|| whole(n), |word| (*word).to_owned())
}

/// A multiple as it was set: `three` standard uncertainties, but 2.5 or 12 of them.
pub fn multiple(x: f64) -> String {
    let whole = x.fract() == 0.0 && (1.0..10.0).contains(&x);
    if whole { number(x as u64) } else { setting(x) }
}

/// A number of things in running text: `three readings`, `one reading`, `12 readings`.
pub fn counted(n: u64, noun: &str) -> String {
    if n == 1 { format!("one {noun}") } else { format!("{} {}", number(n), plural(noun)) }
}

/// A part of a number of things: `three of eight states`; both in figures where one of them is: `3 of 16 states`.
pub fn part_of(n: u64, all: u64, noun: &str) -> String {
    let things = if all == 1 { noun.to_owned() } else { plural(noun) };
    if n == 0 {
        return format!("none of {} {things}", number(all));
    }
    if all < 10 {
        format!("{} of {} {things}", number(n), number(all))
    } else {
        format!("{n} of {} {things}", whole(all))
    }
}

fn plural(noun: &str) -> String {
    if let Some((things, what)) = noun.split_once(" with ") {
        return format!("{} with {what}", plural(things));
    }
    match noun.strip_suffix('y').filter(|stem| !stem.ends_with(['a', 'e', 'i', 'o', 'u'])) {
        Some(stem) => format!("{stem}ies"),
        None => format!("{noun}s"),
    }
}

/// With a capital in front.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    let first: String = chars.next().into_iter().flat_map(char::to_uppercase).collect();
    first + chars.as_str()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(n: usize) -> Vec<String> {
        (1..=n).map(|i| format!("S{i}")).collect()
    }

    #[test]
    fn lists_of_any_length_read_well() {
        assert_eq!(listed(names(0).into_iter()), "");
        assert_eq!(listed(names(1).into_iter()), "S1");
        assert_eq!(listed(names(2).into_iter()), "S1 and S2");
        assert_eq!(either(names(3).into_iter()), "S1, S2 or S3");
        assert_eq!(shortened(names(6).into_iter()), "S1, S2, S3, S4, S5 and S6");
        assert_eq!(shortened(names(20).into_iter()), "S1, S2, S3, S4, S5 and 15 others");
        // Never one other: that one could have been named.
        assert_eq!(shortened(names(7).into_iter()), "S1, S2, S3, S4, S5 and two others");
    }

    #[test]
    fn exceptions_are_named_where_they_are_fewer() {
        let all = names(20);
        assert_eq!(among(&all, &all, "sample"), "all 20 samples");
        assert_eq!(among(&all[2..], &all, "sample"), "all samples but S1 and S2");
        assert_eq!(among_first(&all[2..], &all, "sample"), "All samples but S1 and S2");
        assert_eq!(among_first(&["ash".to_owned()], &all, "sample"), "ash");
        assert_eq!(among(&all[..2], &all, "sample"), "S1 and S2");
        assert_eq!(among(&all[..12], &all, "sample"), "S1, S2, S3, S4, S5 and seven others");
        assert_eq!(among(&all[..1], &all[..1], "sample"), "S1");
        assert_eq!(among(&all[..4], &all[..3], "sample"), "S1, S2, S3 and S4");
        assert_eq!(among(&all[..3], &all[..4], "sample"), "S1, S2 and S3");
    }

    #[test]
    fn small_numbers_stand_in_words() {
        assert_eq!(counted(1, "reading"), "one reading");
        assert_eq!(counted(3, "quantity"), "three quantities");
        assert_eq!(counted(0, "relay"), "no relays");
        assert_eq!(counted(2, "sample with a bound"), "two samples with a bound");
        assert_eq!(counted(12_345, "row"), "12\u{202f}345 rows");
        assert_eq!(part_of(3, 8, "state"), "three of eight states");
        assert_eq!(part_of(3, 16, "state"), "3 of 16 states");
        assert_eq!(part_of(0, 1, "state"), "none of one state");
        assert_eq!(capital("éa b"), "Éa b");
        assert_eq!([multiple(3.0), multiple(2.5), multiple(12.0)], ["three", "2.5", "12"]);
    }
}

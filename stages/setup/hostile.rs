//! Study files as broken editors, wrong merges and ill will leave them: valid ones, damaged in seeded ways. Whatever
//! comes, the answer is a study or errors with their place; never a crash, never silence.

use super::tests::{FILES, WHOLE, folder, tables};
use super::*;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// What stands in the place of values: wrong types, numbers out of every range, words of other programs.
const VALUES: [&str; 72] = [
    "",
    "~",
    "null",
    "[]",
    "{}",
    "[[]]",
    "{{}: {}}",
    "true",
    "yes",
    "NaN",
    ".nan",
    ".inf",
    "-.inf",
    "1e999",
    "-1e999",
    "5e-324",
    "0",
    "-0",
    "-1",
    "1e308",
    "99999999999999999999999999",
    "0x7fffffffffffffff",
    "0o777",
    "1_000",
    "١٢ mm",
    "１２ mm",
    "12\u{a0}mm",
    "12 mm mm",
    "12 mm/mm",
    "12 m99999999999",
    "12 mm-300",
    "12 µm",
    "12 μm",
    "12 (mm",
    "12 mm)",
    "1(5)(5) mm",
    "1(99999999999999999999999) mm",
    "1.0000000000000000000000000000000000001(1) mm",
    "1 ± mm",
    "1 ± -1 mm",
    "1 ± 1e999 mm",
    "1 mm ± 1 % ± 1 %",
    "1 ± 1 mm (k=0)",
    "1 ± 1 mm (k=1e-320)",
    "1 ± 1 mm (limits)",
    "(1 ± 1) mm",
    "1 Cel",
    "-300 Cel",
    "1 %",
    "1e400 Pa",
    "2026-02-30",
    "2026-13-45T99:99:99",
    "'a\\0b'",
    "\"a\\0b\"",
    "\"\\uD800\"",
    "\"\\U0001F4A9\"",
    "a\u{202e}b",
    "e\u{301}\u{301}\u{301}",
    "*a",
    "&a [*a]",
    "&a {<<: *a}",
    "!!binary AAAA",
    "!!map []",
    "!thing {a: b}",
    "|",
    ">-",
    "'",
    "\"",
    "raw/{a,{b,{c",
    "raw/***/[",
    "'(a*)*(b'",
    r"'\w{9999}{9999}'",
];

/// Lines that come in from nowhere.
const LINES: [&str; 16] = [
    "---",
    "...",
    "%YAML 9.9",
    "\t",
    "- - - - - -",
    ": :",
    "? ?",
    "<<: *a",
    "study: again",
    "samples: {}",
    "raw: 5",
    "stages: []",
    "variants: {a: {clean: {spike: {threshold: 1e999}}}}",
    "claims: [{says: a, table: states, column: b, value: 1, within: 0}]",
    "earlier_results: {a: {file: ../../etc/passwd}}",
    "set_aside: [{run: a, because: ''}]",
];

/// Small, fixed and good enough to pick cases (xorshift; Marsaglia 2003, doi:10.18637/jss.v008.i14).
struct Dice(u64);

impl Dice {
    fn number(number: u64) -> Self {
        let mut dice = Self((number + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15));
        (0..4).for_each(|_| {
            dice.roll(2);
        });
        dice
    }

    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as usize % sides.max(1)
    }

    fn pick<'a>(&mut self, items: &[&'a str]) -> &'a str {
        items[self.roll(items.len())]
    }
}

fn open_study(name: &str) -> &'static str {
    match name {
        "ledger" => include_str!("reference/ledger-study.yaml"),
        "sheet" => include_str!("reference/sheet-study.yaml"),
        _ => include_str!("reference/mixed-study.yaml"),
    }
}

/// A valid study, damaged one to four times.
fn damaged(number: u64) -> Vec<u8> {
    let dice = &mut Dice::number(number);
    let bases = [WHOLE, open_study("ledger"), open_study("sheet"), open_study("mixed")];
    let mut bytes = dice.pick(&bases).as_bytes().to_vec();
    for _ in 0..=dice.roll(4) {
        bytes = match dice.roll(3) {
            0 => by_bytes(&bytes, dice),
            _ => by_lines(&String::from_utf8_lossy(&bytes), dice, &bases),
        };
    }
    bytes
}

fn by_bytes(bytes: &[u8], dice: &mut Dice) -> Vec<u8> {
    let at = dice.roll(bytes.len() + 1);
    let (before, after) = bytes.split_at(at);
    let odd = [0, 9, 10, 13, 0x1b, 0x22, 0x27, 0x7f, 0x80, 0xa0, 0xc3, 0xff][dice.roll(12)];
    match dice.roll(6) {
        0 => before.to_vec(),
        1 => [before, after.get(1..).unwrap_or_default()].concat(),
        2 => [before, &[odd], after].concat(),
        3 => [before, "\u{feff}".as_bytes(), after].concat(),
        4 => bytes.iter().flat_map(|b| if *b == b'\n' { vec![b'\r', b'\n'] } else { vec![*b] }).collect(),
        _ => bytes.iter().map(|b| if *b == b'\n' { b'\r' } else { *b }).collect(),
    }
}

fn by_lines(text: &str, dice: &mut Dice, bases: &[&str]) -> Vec<u8> {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let (at, other) = (dice.roll(lines.len()), dice.roll(lines.len()));
    if lines.is_empty() {
        return dice.pick(&LINES).as_bytes().to_vec();
    }
    match dice.roll(12) {
        0 => lines.insert(at, lines[other].clone()),
        1 => lines.swap(at, other),
        2 => drop(lines.remove(at)),
        3 => lines[at] = format!("{}{}", [" ", "  ", "\t", "     "][dice.roll(4)], lines[at]),
        4 => lines[at] = lines[at].trim_start().to_owned(),
        5 => lines.insert(at, dice.pick(&LINES).to_owned()),
        6 => lines.insert(at, bomb(dice)),
        7 => lines[at] = vec![lines[at].clone(); 2000].join("\n"),
        8 => {
            let foreign: Vec<&str> = bases[dice.roll(bases.len())].lines().collect();
            lines.insert(at, foreign[dice.roll(foreign.len())].to_owned());
        }
        9 => lines[at] = with_key(&lines[at], dice),
        _ => lines[at] = with_value(&lines[at], dice),
    }
    lines.join("\n").into_bytes()
}

/// Another value behind one of the colons of a line, to the end of that entry.
fn with_value(line: &str, dice: &mut Dice) -> String {
    let colons: Vec<usize> = line.match_indices(": ").map(|(at, _)| at + 2).collect();
    let Some(from) = colons.get(dice.roll(colons.len())).copied() else { return line.to_owned() };
    let to = line[from..].find([',', '}', ']']).map_or(line.len(), |at| from + at);
    let long = "7".repeat(1 + dice.roll(200_000));
    let value = if dice.roll(20) == 0 { &long } else { dice.pick(&VALUES) };
    format!("{}{value}{}", &line[..from], &line[to..])
}

/// A key without a letter, or one more.
fn with_key(line: &str, dice: &mut Dice) -> String {
    let Some(end) = line.find(':') else { return line.to_owned() };
    let key: Vec<char> = line[..end].chars().collect();
    let at = dice.roll(key.len());
    let mut other = key.clone();
    match dice.roll(2) {
        0 if !key.is_empty() => drop(other.remove(at)),
        _ => other.insert(at, ['x', '"', '*', '.', '[', 'ü'][dice.roll(6)]),
    }
    format!("{}{}", other.into_iter().collect::<String>(), &line[end..])
}

/// Little text that means much.
fn bomb(dice: &mut Dice) -> String {
    let deep = 10 + dice.roll(5000);
    match dice.roll(5) {
        0 => format!("deep: {}", "[".repeat(deep)),
        1 => format!("deep: {}1{}", "{a: ".repeat(deep), "}".repeat(deep)),
        2 => (0..deep).map(|depth| format!("{:depth$}a:\n", "")).take(300).collect(),
        3 => {
            let laugh = |i: usize| format!("a{i}: &a{i} [{}]\n", vec![format!("*a{}", i - 1); 9].join(", "));
            format!("a0: &a0 [lol]\n{}", (1..12).map(laugh).collect::<String>())
        }
        _ => format!("many: [{}]", "a, ".repeat(deep * 20)),
    }
}

/// The exports that the undamaged files speak of.
fn exports() -> Vec<String> {
    let mut files: Vec<String> = FILES.map(str::to_owned).to_vec();
    for ending in ["txt", "tsv"] {
        files.push(format!("raw/control/control_L1.{ending}"));
        files.extend((1..=4).flat_map(|s| (1..=3).map(move |l| format!("raw/S{s}/S{s}_L{l}.{ending}"))));
    }
    files
}

/// What a study file may come to: a study, or errors that help. Gives whether it is a study.
fn judge(bytes: &[u8], folder: &Path) -> Result<bool, String> {
    let Err(problems) = decoded(bytes.to_vec()).and_then(|text| load_text(text, folder, &tables())) else {
        return Ok(true);
    };
    if problems.is_empty() {
        return Err("an error that says nothing".to_owned());
    }
    for problem in &problems {
        let place = problem.place.as_ref().ok_or(format!("without a place: {problem}"))?;
        // What is not there has no line.
        let nowhere = ["is missing", "is empty", "has no raw exports"].iter().any(|w| problem.message.ends_with(w));
        if place.file != STUDY_FILE || !(nowhere || place.line.is_some() && place.column.is_some()) {
            return Err(format!("without line and column: {problem}"));
        }
        if problem.message.len() > 1000 || problem.help.as_ref().is_some_and(|help| help.len() > 2000) {
            return Err(format!("a message of {} bytes: {:.300}", problem.message.len(), problem.message));
        }
    }
    Ok(false)
}

fn variable(name: &str, ordinary: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(ordinary)
}

#[test]
fn damaged_study_files_are_answered_with_their_place() {
    let first = variable("SHEARBACK_FIRST", 0);
    let count = variable("SHEARBACK_STUDIES", 400);
    let files = exports();
    let folder = folder("", &files.iter().map(String::as_str).collect::<Vec<_>>());
    let (mut valid, mut wrong) = (0, Vec::new());
    for number in first..first + count {
        let bytes = damaged(number);
        match catch_unwind(AssertUnwindSafe(|| judge(&bytes, folder.path()))) {
            Ok(Ok(is_study)) => valid += u64::from(is_study),
            Ok(Err(word)) => wrong.push(format!("case {number}: {word}")),
            Err(_) => wrong.push(format!("case {number} crashed")),
        }
    }
    wrong.truncate(20);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    println!("{count} damaged study files from number {first} on, {valid} still valid");
    // Both sides are reached: some damage does no harm, most does.
    assert!(count < 100 || (valid * 50 > count && valid * 2 < count), "{valid} of {count} still valid");
}

/// What such damage brought to light.
#[test]
fn what_was_found_stays_mended() {
    let folder = folder("", &FILES);
    let said = |text: String| load_text(text, folder.path(), &tables()).err().unwrap_or_default();
    // The value stood whole in the message.
    let long = said(WHOLE.replace("45.2(5) mPa.s", &"7".repeat(100_000)));
    assert!(!long.is_empty() && long.iter().all(|problem| problem.message.len() < 1000));
    // Sixty lists in one another took more stack than a thread may have.
    for (open, close) in [("[", "]"), ("{a: ", "}")] {
        let deep = format!("study: A\nabstract: {}1{}\n", open.repeat(60), close.repeat(60));
        assert!(said(deep)[0].message.contains("more deeply nested than any study"));
    }
}

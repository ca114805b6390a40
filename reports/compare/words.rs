//! A comparison, in words and as JSON.

use super::changes::{Change, Kind};
use super::replace::{Interaction, Replaced, headline};
use super::sides::TABLES;
use crate::audit::Surrounding;
use crate::tables::cells::{Differences, Moved};
use crate::text::numbers;
use serde_json::{Value, json};
use std::fmt::Write;

/// More than this of one kind is counted; all stand in the JSON.
const SHOWN: usize = 8;

/// What was found.
pub struct Comparison {
    /// Names of the two sides.
    pub sides: [String; 2],
    /// What differs in study file and raw exports; none where a side has no study file.
    pub changes: Vec<Change>,
    /// Whether study files could be compared.
    pub files_known: bool,
    /// Program and tools that differ.
    pub surroundings: Vec<Surrounding>,
    /// What differs in each table.
    pub moved: Vec<(String, Differences)>,
    /// What each change moved by itself.
    pub replaced: Replaced,
}

/// For people.
pub fn comparison_text(found: &Comparison) -> String {
    let mut text = format!("first:  {}\nsecond: {}\n", found.sides[0], found.sides[1]);
    if !found.files_known {
        text.push_str("settings: not known on both sides, because a results folder does not contain its study file\n");
    }
    let changes: Vec<String> = found.changes.iter().map(change).collect();
    list(&mut text, "differences", &changes);
    let around = found.surroundings.iter().map(|s| format!("{}: {} -> {}", s.what, s.then, s.now)).collect::<Vec<_>>();
    list(&mut text, "made with", &around);
    let all = headline(&found.moved);
    for (table, moves) in by_table(&all) {
        let title = format!("{table}: {} moved, largest first", numbers::count(moves.len() as u64, "number"));
        list(&mut text, &title, &moves.into_iter().map(cell).collect::<Vec<_>>());
    }
    for (table, differences) in &found.moved {
        list(&mut text, &format!("rows of {table} only in the first"), &differences.rows_gone);
        list(&mut text, &format!("rows of {table} only in the second"), &differences.rows_new);
    }
    if all.is_empty() && found.moved.iter().all(|(_, d)| d.rows_gone.is_empty() && d.rows_new.is_empty()) {
        text.push_str("no number moved\n");
    } else {
        text.push_str(&replaced(&found.replaced));
    }
    text
}

/// Moves table by table, in the order in which tables are told; the largest first in each.
fn by_table(moves: &[(String, Moved)]) -> Vec<(&str, Vec<&Moved>)> {
    let of =
        |table: &'static str| moves.iter().filter(move |(name, _)| name == table).map(|(_, moved)| moved).collect();
    TABLES.iter().map(|table| (*table, of(table))).filter(|(_, moves): &(_, Vec<_>)| !moves.is_empty()).collect()
}

fn list(text: &mut String, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    let _ = writeln!(text, "{title}:");
    lines.iter().take(SHOWN).for_each(|line| text.push_str(&format!("  {line}\n")));
    if lines.len() > SHOWN {
        let _ = writeln!(text, "  … and {} more (--json lists all)", lines.len() - SHOWN);
    }
}

fn change(change: &Change) -> String {
    let what = match change.kind {
        Kind::Setting => format!("setting {}", change.what),
        Kind::Words => format!("{} (moves no number)", change.what),
        Kind::Raw => format!("raw export {}", change.what),
    };
    let none = if change.kind == Kind::Raw { "not there" } else { "default" };
    let side = |text: &Option<String>| text.clone().unwrap_or_else(|| none.to_owned());
    format!("{what}: {} -> {}", side(&change.old), side(&change.new))
}

/// `B52, 2.00 1/s, rate: contact_share 0.740 -> 0.735 (0.4 standard uncertainties)`.
fn cell(moved: &Moved) -> String {
    let u = moved.change.zip(moved.in_u).map_or(f64::NAN, |(change, in_u)| change.abs() / in_u);
    let side = |text: &Option<String>| match text {
        None => "no value".to_owned(),
        Some(text) => text.parse().map_or_else(|_| text.clone(), |value| numbers::value_of(value, u / 10.0)),
    };
    let size =
        moved.in_u.map_or_else(String::new, |d| format!(" ({} standard uncertainties)", numbers::significant(d, 2)));
    format!("{}: {} {} -> {}{size}", moved.row, moved.column, side(&moved.old), side(&moved.new))
}

fn replaced(found: &Replaced) -> String {
    let mut text = String::new();
    if !found.effects.is_empty() {
        text.push_str("one change at a time, applied to the first:\n");
    }
    for effect in &found.effects {
        let words = match (&effect.not_possible, effect.moved.len()) {
            (Some(why), _) => format!("cannot be applied alone: {why}"),
            (None, 0) => "moves no number, at most an uncertainty".to_owned(),
            (None, n) => format!("moves {}", numbers::count(n as u64, "number")),
        };
        let _ = writeln!(text, "  {}: {words}", effect.what);
        for (table, moves) in by_table(&effect.moved) {
            let largest = moves.first().map_or_else(String::new, |moved| cell(moved));
            let _ = writeln!(text, "    {table}, {}: largest {largest}", numbers::whole(moves.len() as u64));
        }
    }
    match found.interactions.first() {
        Some(largest) => text.push_str(&interact(found.interactions.len(), largest)),
        None if found.effects.len() > 1 && found.remarks.is_empty() => {
            text.push_str("the single moves add up to the whole: the changes do not interact\n")
        }
        None => {}
    }
    found.remarks.iter().for_each(|remark| text.push_str(&format!("{remark}\n")));
    text
}

fn interact(count: usize, largest: &Interaction) -> String {
    let u = |x: f64| numbers::significant(x, 2);
    format!(
        "the single moves do not add up to the whole for {}: the changes interact there, or something else moved them; largest {}: together {}, one by one {} standard uncertainties\n",
        numbers::count(count as u64, "number"),
        largest.what,
        u(largest.whole),
        u(largest.sum)
    )
}

/// For programs.
pub fn comparison_json(found: &Comparison) -> Value {
    let moves = |list: &[(String, Moved)]| {
        list.iter().map(|(table, m)| json!({"table": table, "moved": m})).collect::<Vec<_>>()
    };
    json!({
        "first": found.sides[0], "second": found.sides[1],
        "changes": found.changes,
        "settings_known": found.files_known,
        "surroundings": found.surroundings,
        "moved": moves(&headline(&found.moved)),
        "tables": found.moved.iter().map(|(name, d)| json!({"table": name, "differences": d})).collect::<Vec<_>>(),
        "one_at_a_time": found.replaced.effects.iter().map(|e| json!({
            "change": e.what, "moved": moves(&e.moved), "not_possible": e.not_possible,
        })).collect::<Vec<_>>(),
        "interactions": found.replaced.interactions,
        "remarks": found.replaced.remarks,
    })
}

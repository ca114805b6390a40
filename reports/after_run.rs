//! What the end of a run tells, read off the published tables: verdicts, what is unresolved, claims, what moved.
//! It rounds through `text/numbers.rs` and computes nothing new.

use crate::tables::cells::{bool_at, number_at, text_at};
use crate::text::numbers;
use serde_json::{Value, json};
use stages::states::result::Interval;
use stages::table::Table;
use std::path::Path;

/// A move smaller than this many standard uncertainties is not worth a line (common practice).
const WORTH_A_LINE: f64 = 0.1;
/// More moves than this are counted, not listed.
const SHOWN: usize = 8;

/// Lines for people, the same for programs, and whether a claim misses.
#[derive(Debug, Clone, PartialEq)]
pub struct AfterRun {
    /// In order.
    pub lines: Vec<String>,
    /// Verdicts, claims and moves.
    pub json: Value,
    /// A line for every claim that misses; they stand among the lines as well.
    pub missed_claims: Vec<String>,
}

/// Reads the tables in `results`; `earlier` gives a published file as it was after the whole run before this one.
///
/// # Errors
/// If a table is there and cannot be read.
pub fn after_run(results: &Path, earlier: impl Fn(&str) -> Option<Vec<u8>>) -> Result<AfterRun, String> {
    let thickening = read(results, "thickening")?.unwrap_or_default();
    let states = read(results, "states")?.unwrap_or_default();
    let reversals = read(results, "reversals")?;
    // A run that stopped before the reversals says nothing about who has none.
    let runs = reversals.as_ref().and_then(|_| read(results, "runs").transpose()).transpose()?.unwrap_or_default();
    let reversals = reversals.unwrap_or_default();
    let claims = read(results, "claims")?.unwrap_or_default();
    let before = earlier("tables/states.parquet").and_then(|bytes| Table::from_parquet(&bytes).ok());
    let moves = before.map_or_else(Vec::new, |before| moves(&before, &states));
    let missed: Vec<usize> =
        (0..claims.height()).filter(|row| bool_at(&claims, "holds", *row) == Some(false)).collect();
    let (mut lines, design) = crate::design::design(&reversals, &runs);
    lines.extend(verdicts(&thickening));
    lines.extend(unresolved(&thickening, &states));
    lines.extend(failed_controls(&read(results, "controls")?.unwrap_or_default()));
    if claims.height() > 0 {
        lines.push(format!("claims: {} of {} hold", claims.height() - missed.len(), claims.height()));
    }
    let missed_claims: Vec<String> = missed.iter().map(|row| miss(&claims, *row)).collect();
    lines.extend(missed_claims.iter().cloned());
    let old = read(results, "earlier_results")?.unwrap_or_default();
    lines.extend(earlier_results(&old));
    lines.extend(told(&moves));
    let json = json!({
        "verdicts": (0..thickening.height()).map(|row| json!({
            "sample": text_at(&thickening, "sample", row), "verdict": text_at(&thickening, "verdict", row),
            "contact_share_of_rise": number_at(&thickening, "contact_share_of_rise", row),
        })).collect::<Vec<_>>(),
        "design": design,
        "claims": claims.height(),
        "claims_missed": missed.len(),
        "moved": moves.iter().map(|m| json!({"what": m.what, "old": m.old, "new": m.new, "in_u": m.in_u})).collect::<Vec<_>>(),
    });
    Ok(AfterRun { lines, json, missed_claims })
}

fn read(results: &Path, name: &str) -> Result<Option<Table>, String> {
    let path = results.join("tables").join(format!("{name}.parquet"));
    if !path.exists() {
        return Ok(None);
    }
    let bytes = std::fs::read(&path).map_err(|e| format!("{}: {e}", path.display()))?;
    Table::from_parquet(&bytes).map(Some).map_err(|e| format!("{}: {e}", path.display()))
}

/// `A54: contacts dominate; contacts carry 0.86 ± 0.03 [0.79, 0.93] of the rise from 1 Pa to 100 Pa`.
fn verdicts(thickening: &Table) -> Vec<String> {
    (0..thickening.height())
        .map(|row| {
            let verdict = [text_at(thickening, "sample", row), text_at(thickening, "verdict", row)].join(": ");
            let line = carried(thickening, row).map_or_else(
                || verdict.clone(),
                |share| {
                    let ends =
                        ["set_point_low", "set_point_high"].map(|end| text_at(thickening, end, row)).join(" to ");
                    format!("{verdict}; contacts carry {share} of the rise from {ends}")
                },
            );
            match number_at(thickening, "states_without_value", row) {
                Some(n) if n > 0.0 => line + &format!("; {} above without a value", numbers::count(n as u64, "state")),
                _ => line,
            }
        })
        .collect()
}

/// The share of a rise as it is printed, or what it is at least.
fn carried(thickening: &Table, row: usize) -> Option<String> {
    let name = "contact_share_of_rise";
    let at = |prefix: &str, suffix: &str| number_at(thickening, &format!("{prefix}{name}{suffix}"), row);
    let (low, high) = (at("", "_low"), at("", "_high"));
    let Some(value) = at("", "") else {
        return low.map(|least| format!("at least {}", numbers::significant(least, 2)));
    };
    let share = Interval { value, u: at("u_", "").unwrap_or(f64::NAN), low, high };
    let interval = match numbers::interval(&share) {
        text if text == numbers::MISSING => "(no interval)".to_owned(),
        text => text,
    };
    Some(format!("{} {interval}", numbers::plus_minus(share.value, share.u)))
}

/// The states of each sample without a contact share, in one line.
fn unresolved(thickening: &Table, states: &Table) -> Vec<String> {
    let samples = (0..thickening.height()).map(|row| text_at(thickening, "sample", row));
    let line = |sample: &str| {
        let rows = (0..states.height()).filter(|row| text_at(states, "sample", *row) == sample);
        let open = rows.filter(|row| number_at(states, "contact_share", *row).is_none());
        let names: Vec<&str> = open.map(|row| text_at(states, "set_point", row)).collect();
        (!names.is_empty()).then(|| format!("{sample}: not resolved at {}", names.join(", ")))
    };
    samples.filter_map(line).collect()
}

/// Controls whose apparent contact share is beyond its error.
fn failed_controls(controls: &Table) -> Vec<String> {
    let failed = (0..controls.height()).filter(|row| bool_at(controls, "failed", *row) == Some(true));
    let line = |row: usize| {
        let at = |name: &str| number_at(controls, name, row).unwrap_or(f64::NAN);
        format!(
            "control failed: {} on {}: the Newtonian liquid shows a drop of {}, where there must be none; no reversal of \
             this pair counts",
            text_at(controls, "geometry", row),
            text_at(controls, "instrument", row),
            numbers::plus_minus(at("contact_share"), at("u_contact_share"))
        )
    };
    failed.map(line).collect()
}

fn miss(claims: &Table, row: usize) -> String {
    let number = |name: &str| numbers::setting(number_at(claims, name, row).unwrap_or(f64::NAN));
    let found = match number_at(claims, "found", row) {
        Some(found) => {
            let u = number_at(claims, "u_found", row).unwrap_or(f64::NAN);
            format!("found {}", numbers::plus_minus(found, u))
        }
        None => text_at(claims, "remarks", row).to_owned(),
    };
    format!(
        "claim misses: \"{}\": {} within {}; {found}",
        text_at(claims, "says", row),
        number("value"),
        number("within")
    )
}

/// Earlier tables: how many numbers match, and the one that differs most.
fn earlier_results(old: &Table) -> Vec<String> {
    let mut names: Vec<&str> = (0..old.height()).map(|row| text_at(old, "earlier_table", row)).collect();
    names.dedup();
    let line = |name: &str| {
        let rows: Vec<usize> = (0..old.height()).filter(|row| text_at(old, "earlier_table", *row) == name).collect();
        let count = |outcome: &str| rows.iter().filter(|row| text_at(old, "outcome", **row) == outcome).count();
        let differ = rows.iter().copied().filter(|row| text_at(old, "outcome", *row) == "differs");
        let worst = differ.max_by(|a, b| {
            number_at(old, "in_u", *a).unwrap_or(0.0).total_cmp(&number_at(old, "in_u", *b).unwrap_or(0.0))
        });
        let most = worst.map_or_else(String::new, |row| {
            let number = |name: &str| numbers::setting(number_at(old, name, row).unwrap_or(f64::NAN));
            let new = numbers::plus_minus(
                number_at(old, "new", row).unwrap_or(f64::NAN),
                number_at(old, "u_new", row).unwrap_or(f64::NAN),
            );
            let (column, label) = (text_at(old, "column", row), text_at(old, "row", row));
            format!("; most of all {column} of {label}: {} then, the raw exports give {new}", number("old"))
        });
        format!(
            "earlier table {name}: {} match, {} differ, {} only there, {} only here{most}",
            count("matched"),
            count("differs"),
            count("only in the earlier table"),
            count("only in the study")
        )
    };
    names.into_iter().map(line).collect()
}

/// A number of the states that is not what it was.
#[derive(Debug, Clone, PartialEq)]
struct Move {
    what: String,
    old: Option<f64>,
    new: Option<f64>,
    /// In standard uncertainties of the new value, or of the old one where there is no new.
    in_u: Option<f64>,
}

/// Contact shares and viscosities of states that moved, in the order of the states.
fn moves(before: &Table, now: &Table) -> Vec<Move> {
    let key = |table: &Table, row: usize| {
        ["sample", "set_point", "controlled"].map(|name| text_at(table, name, row).to_owned())
    };
    let mut moves = Vec::new();
    for row in 0..now.height() {
        let Some(was) = (0..before.height()).find(|at| key(before, *at) == key(now, row)) else { continue };
        for column in ["contact_share", "viscosity_pa_s"] {
            let (old, new) = (number_at(before, column, was), number_at(now, column, row));
            let u = number_at(now, &format!("u_{column}"), row).or(number_at(before, &format!("u_{column}"), was));
            let in_u = old.zip(new).zip(u).filter(|(_, u)| *u > 0.0).map(|((old, new), u)| (new - old).abs() / u);
            if old.is_some() != new.is_some() || in_u.is_some_and(|d| d >= WORTH_A_LINE) {
                let what = format!("{} {} {column}", text_at(now, "sample", row), text_at(now, "set_point", row));
                moves.push(Move { what, old, new, in_u });
            }
        }
    }
    moves
}

fn told(moves: &[Move]) -> Vec<String> {
    let value = |v: Option<f64>| v.map_or_else(|| "no value".to_owned(), numbers::setting);
    let line = |m: &Move| {
        let size = m.in_u.map_or_else(String::new, |d| format!(" ({d:.1} u)"));
        format!("moved: {} {} -> {}{size}", m.what, value(m.old), value(m.new))
    };
    let mut lines: Vec<String> = moves.iter().take(SHOWN).map(line).collect();
    if moves.len() > SHOWN {
        lines.push(format!("… and {} more numbers moved (all of them with --json)", moves.len() - SHOWN));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn states(shares: [Option<f64>; 2]) -> Table {
        let text = |values: [&str; 2]| values.map(|v| Some(v.to_owned()));
        Table::new()
            .text("sample", text(["A", "A"]))
            .text("set_point", text(["1.00 Pa", "10.0 Pa"]))
            .text("controlled", text(["stress", "stress"]))
            .float("contact_share", shares)
            .float("u_contact_share", shares.map(|s| s.map(|_| 0.02)))
            .float("viscosity_pa_s", [Some(1.0), Some(2.0)])
            .float("u_viscosity_pa_s", [Some(0.1), Some(0.1)])
    }

    #[test]
    fn moves_are_told_in_standard_uncertainties() {
        let found = moves(&states([Some(0.5), Some(0.6)]), &states([Some(0.53), Some(0.6)]));
        assert_eq!(found.len(), 1);
        assert!(told(&found)[0].contains("(1.5 u)"), "{:?}", told(&found));
    }

    #[test]
    fn a_value_that_is_lost_or_found_is_a_move() {
        let found = moves(&states([Some(0.5), None]), &states([None, Some(0.6)]));
        assert_eq!(found.len(), 2);
        assert!(told(&found)[1].contains("no value -> 0.6"), "{:?}", told(&found));
    }
}

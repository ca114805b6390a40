//! Set-points, given out over the whole study: which reversals were taken at one and the same condition.
//!
//! Told ones (a column or preamble entry of the export, else the list of the raw entry) are taken as they stand.
//! The others are found: within a sample and a kind of control, values of the controlled quantity before the
//! reversal that are closer than a ratio are one set-point. Reversals of grade F do not shape the groups, so that
//! an aborted run cannot merge two conditions; they join what is there.

use super::params::{Params, SetPoint};
use super::result::StudyReversal;
use crate::numerics::float;
use crate::numerics::interval::median;
use crate::reversal::result::{Controlled, Grade};
use pipeline::diagnostic::Diagnostic;
use std::collections::{BTreeMap, BTreeSet};

/// Told values closer than this ratio are one number that was written or converted in two ways.
const SAME_NUMBER: f64 = 1.000_01;

/// Significant digits of a set-point that was told: as many as somebody would write.
const TOLD_DIGITS: usize = 6;
/// Of one that was found, whose members lie within a few per cent.
const FOUND_DIGITS: usize = 3;

/// The set-point of a reversal.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Given {
    /// What is held.
    pub controlled: Controlled,
    /// Stress in Pa or rate in 1/s.
    pub value: f64,
    /// As it stands in tables.
    pub label: String,
    /// The export or the study file told it; else it was found from the motion.
    pub told: bool,
}

/// A value that was held, and the place of its reversal in the study.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Held {
    value: f64,
    place: usize,
}

/// A reversal as this file sees it.
struct Candidate<'a> {
    /// Place of the reversal in the study.
    place: usize,
    reversal: &'a StudyReversal,
    told: Option<SetPoint>,
    found: Option<SetPoint>,
}

/// The set-point of every reversal, in the same order; none for controls and where nothing tells one.
///
/// # Errors
/// One for every found set-point whose values span too much, with the values.
pub(super) fn give_out(
    reversals: &[StudyReversal],
    listed: &BTreeMap<String, Vec<SetPoint>>,
    params: &Params,
) -> Result<Vec<Option<Given>>, Vec<Diagnostic>> {
    let candidates: Vec<Candidate<'_>> =
        reversals.iter().enumerate().map(|(place, r)| candidate(place, r, listed, params)).collect();
    let samples: BTreeSet<&str> = candidates.iter().map(|c| c.reversal.identity.sample.as_str()).collect();
    let (mut given, mut errors) = (vec![None; reversals.len()], Vec::new());
    for sample in samples {
        for controlled in [Controlled::Rate, Controlled::Stress] {
            let own = |c: &&Candidate<'_>| c.reversal.identity.sample == sample && !c.reversal.identity.control;
            let told = told_values(candidates.iter().filter(own), controlled);
            let mut centres = Vec::new();
            for group in neighbours(&told, SAME_NUMBER) {
                let value = group[0].value;
                let set_point = Given { controlled, value, label: label(value, TOLD_DIGITS, controlled), told: true };
                group.iter().for_each(|held| given[held.place] = Some(set_point.clone()));
                centres.push(set_point);
            }
            let rest: Vec<&Candidate<'_>> = candidates
                .iter()
                .filter(own)
                .filter(|c| c.told.is_none() && c.found.is_some_and(|f| f.controlled == controlled))
                .collect();
            errors.extend(find(&rest, centres, controlled, params, &mut given));
        }
    }
    if errors.is_empty() { Ok(given) } else { Err(errors) }
}

fn candidate<'a>(
    place: usize,
    reversal: &'a StudyReversal,
    listed: &BTreeMap<String, Vec<SetPoint>>,
    params: &Params,
) -> Candidate<'a> {
    let read = &reversal.graded.read;
    let value = |controlled| {
        let before = read.before.as_ref()?;
        let value = match controlled {
            Controlled::Rate => before.rate_per_s.value.abs(),
            Controlled::Stress => before.stress_pa.value.abs(),
        };
        (value.is_finite() && value > 0.0).then_some(value)
    };
    let found = value(read.controlled).map(|value| SetPoint { controlled: read.controlled, value });
    let in_export = read.set_point_in_export.map(f64::abs).filter(|v| *v > 0.0);
    let told = match in_export {
        Some(value) => Some(SetPoint { controlled: read.controlled, value }),
        None => listed.get(&reversal.identity.run).and_then(|list| nearest(list, read, &value, params.set_point_span)),
    };
    Candidate { place, reversal, told, found }
}

/// The listed set-point next to what was measured, within the span. The kind that the readings told goes first;
/// where it was only found, a list of the other kind knows better.
fn nearest(
    list: &[SetPoint],
    read: &crate::reversal::result::ReversalRead,
    measured: &dyn Fn(Controlled) -> Option<f64>,
    span: f64,
) -> Option<SetPoint> {
    let of_kind = |controlled: Controlled| {
        let measured = measured(controlled)?;
        let near = list.iter().filter(|s| s.controlled == controlled && distance(s.value, measured) <= float::ln(span));
        near.min_by(|a, b| distance(a.value, measured).total_cmp(&distance(b.value, measured))).copied()
    };
    let other = match read.controlled {
        Controlled::Rate => Controlled::Stress,
        Controlled::Stress => Controlled::Rate,
    };
    of_kind(read.controlled).or_else(|| of_kind(other).filter(|_| read.controlled_found))
}

fn distance(a: f64, b: f64) -> f64 {
    float::ln(a / b).abs()
}

/// Values that the export or the study file tells, sorted.
fn told_values<'a>(candidates: impl Iterator<Item = &'a Candidate<'a>>, controlled: Controlled) -> Vec<Held> {
    let told = |c: &Candidate<'_>| {
        c.told.filter(|t| t.controlled == controlled).map(|t| Held { value: t.value, place: c.place })
    };
    sorted(candidates.filter_map(told).collect())
}

/// Gives out found set-points among `rest`, next to the `centres` that were told.
fn find(
    rest: &[&Candidate<'_>],
    mut centres: Vec<Given>,
    controlled: Controlled,
    params: &Params,
    given: &mut [Option<Given>],
) -> Vec<Diagnostic> {
    let mut errors = Vec::new();
    for shaping in [true, false] {
        let mut open = Vec::new();
        for candidate in rest.iter().filter(|c| (c.reversal.graded.grade != Grade::F) == shaping) {
            let Some(found) = candidate.found else { continue };
            match closest(&centres, found.value, params.set_point_ratio) {
                Some(near) => given[candidate.place] = Some(near.clone()),
                None => open.push(Held { value: found.value, place: candidate.place }),
            }
        }
        let open = sorted(open);
        let mut new = Vec::new();
        for group in neighbours(&open, params.set_point_ratio) {
            let values: Vec<f64> = group.iter().map(|held| held.value).collect();
            if values[values.len() - 1] / values[0] > params.set_point_span {
                if shaping {
                    errors.push(too_wide(group, rest, controlled, params));
                }
                continue;
            }
            let value = median(&values);
            let set_point = Given { controlled, value, label: label(value, FOUND_DIGITS, controlled), told: false };
            group.iter().for_each(|held| given[held.place] = Some(set_point.clone()));
            new.push(set_point);
        }
        centres.extend(new);
    }
    errors
}

fn closest(centres: &[Given], value: f64, ratio: f64) -> Option<&Given> {
    let near = centres.iter().filter(|centre| distance(centre.value, value) < float::ln(ratio));
    near.min_by(|a, b| distance(a.value, value).total_cmp(&distance(b.value, value)))
}

fn sorted(mut values: Vec<Held>) -> Vec<Held> {
    values.sort_by(|a, b| a.value.total_cmp(&b.value).then(a.place.cmp(&b.place)));
    values
}

/// Cuts sorted values where neighbours are `ratio` apart or more.
fn neighbours(sorted: &[Held], ratio: f64) -> Vec<&[Held]> {
    sorted.chunk_by(|a, b| b.value / a.value < ratio).collect()
}

fn too_wide(group: &[Held], rest: &[&Candidate<'_>], controlled: Controlled, params: &Params) -> Diagnostic {
    let of = |held: &Held| rest.iter().find(|c| c.place == held.place);
    let list = group.iter().map(|held| {
        let row = |c: &&Candidate<'_>| format!("{} line {}", c.reversal.identity.run, c.reversal.graded.read.row);
        format!("{} ({})", label(held.value, 4, controlled), of(held).map_or_else(String::new, row))
    });
    let list: Vec<String> = list.collect();
    let sample = group.first().and_then(of).map_or("", |c| c.reversal.identity.sample.as_str());
    let (low, high) = (group[0].value, group[group.len() - 1].value);
    Diagnostic::new(format!(
        "set-points of sample `{sample}` cannot be told apart: {} values run into each other over a ratio of {:.3}, \
         more than {}: {}",
        group.len(),
        high / low,
        params.set_point_span,
        list.join(", ")
    ))
    .help("list the set-points of these runs under `set_points` of their raw entry")
}

/// A value with its unit, to `digits` significant digits; with three they are all written, else zeros are cut.
pub(super) fn label(value: f64, digits: usize, controlled: Controlled) -> String {
    let unit = match controlled {
        Controlled::Rate => "1/s",
        Controlled::Stress => "Pa",
    };
    let scientific = format!("{value:.*e}", digits - 1);
    let exponent: i32 = scientific.split('e').nth(1).and_then(|e| e.parse().ok()).unwrap_or(0);
    let rounded: f64 = scientific.parse().unwrap_or(value);
    let decimals = usize::try_from(digits as i32 - 1 - exponent).unwrap_or(0);
    let text = format!("{rounded:.decimals$}");
    let text = match digits {
        FOUND_DIGITS => text.as_str(),
        _ if text.contains('.') => text.trim_end_matches('0').trim_end_matches('.'),
        _ => text.as_str(),
    };
    format!("{text} {unit}")
}

//! The lines that end a run: the verdict per sample, what is unresolved, the claims. No layout of terminals.

use crate::text::numbers;
use stages::claims::result::ClaimRow;
use stages::reversal::result::Control;
use stages::states::result::{State, States, Thickening};

/// The lines, without line ends.
pub fn lines(states: &States, controls: &[Control], claims: &[ClaimRow]) -> Vec<String> {
    let mut lines: Vec<String> = states.thickening.iter().map(verdict).collect();
    lines.extend(states.thickening.iter().filter_map(|t| unresolved(&t.sample, &states.states)));
    lines.extend(controls.iter().filter(|c| c.failed).map(failed_control));
    lines.extend(claims_held(claims));
    lines.extend(claims.iter().filter(|c| !c.holds).map(miss));
    lines
}

/// `A54: contacts dominate; they carry 0.86 ± 0.03 [0.79, 0.93] of the rise from 1 Pa to 100 Pa`.
fn verdict(t: &Thickening) -> String {
    let share = t.contact_share_of_rise.map(|share| {
        let ends = match (&t.set_point_low, &t.set_point_high) {
            (Some(low), Some(high)) => format!(" from {low} to {high}"),
            _ => String::new(),
        };
        let interval = match numbers::interval(&share) {
            text if text == numbers::MISSING => ", without interval,".to_owned(),
            text => format!(" {text}"),
        };
        format!("; contacts carry {}{interval} of the rise{ends}", numbers::plus_minus(share.value, share.u))
    });
    let beyond = match t.states_without_value {
        0 => String::new(),
        n => format!("; {} above without a value", numbers::count(u64::from(n), "state")),
    };
    format!("{}: {}{}{beyond}", t.sample, t.verdict.name(), share.unwrap_or_default())
}

/// The states of a sample without a contact share, in one line.
fn unresolved(sample: &str, states: &[State]) -> Option<String> {
    let open = states.iter().filter(|s| s.sample == sample && s.contact_share.is_none());
    let names: Vec<&str> = open.map(|s| s.set_point.as_str()).collect();
    (!names.is_empty()).then(|| format!("{sample}: not resolved at {}", names.join(", ")))
}

fn failed_control(control: &Control) -> String {
    let share = control.contact_share.map_or_else(String::new, |x| format!(" {}", numbers::plus_minus(x.value, x.u)));
    format!("control failed: a Newtonian liquid shows a drop of{share} ({})", control.runs.join(", "))
}

fn claims_held(claims: &[ClaimRow]) -> Option<String> {
    let held = claims.iter().filter(|c| c.holds).count();
    (!claims.is_empty()).then(|| format!("claims: {held} of {} hold", claims.len()))
}

/// The sentence about a claim that does not hold.
pub fn miss(row: &ClaimRow) -> String {
    let found = match row.found {
        Some(found) => format!("found {}", numbers::plus_minus(found, row.u_found.unwrap_or(f64::NAN))),
        None => row.remarks.clone(),
    };
    let (value, within) = (numbers::setting(row.value), numbers::setting(row.within));
    format!("claim misses: \"{}\": {value} within {within}; {found}", row.says)
}

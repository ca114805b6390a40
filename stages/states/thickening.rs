//! The question of the study for one sample: which two states are the ends of the rise, and what it says.

use super::params::Ends;
use super::result::{Reason, State, Thickening, rise_between};
use crate::numerics::fieller::Spread;
use crate::numerics::float;
use crate::physics::materials::Sample;
use pipeline::diagnostic::Diagnostic;

/// A set-point that is named in the settings is the state whose number lies within this ratio of it.
const NAMED_WITHIN: f64 = 1.05;

/// The row of one sample from its states, which stand in order of stress.
///
/// # Errors
/// If an end that is set names no state of the sample.
pub(super) fn thickening(
    sample: &Sample,
    states: &[&State],
    loadings_of_sample: u32,
    ends: Option<&Ends>,
    smallest_rise: f64,
) -> Result<Thickening, Vec<Diagnostic>> {
    let mut row = empty(sample, loadings_of_sample, smallest_rise);
    let none = Ends::default();
    let chosen = choose(sample, states, ends.unwrap_or(&none))?;
    let Some((low, high)) = chosen else {
        row.settle(None);
        let valued = states.iter().filter(|s| viscosity_of_valued(s).is_some()).count();
        // An end that was set and has no value leaves the question open; it does not answer it.
        if valued >= 2 && loadings_of_sample >= 2 && ends.is_none_or(|ends| ends.can_be_read(sample, states)) {
            row.reason = Reason::NoLargerViscosity;
        }
        return Ok(row);
    };
    fill_ends(&mut row, states, low, high);
    row.settle(rise_between(states[low], states[high], Spread::default()).as_ref());
    Ok(row)
}

fn empty(sample: &Sample, loadings_of_sample: u32, smallest_rise: f64) -> Thickening {
    Thickening {
        sample: sample.name.clone(),
        volume_fraction: sample.volume_fraction.map(|q| q.value),
        set_point_low: None,
        set_point_high: None,
        stress_low_pa: None,
        stress_high_pa: None,
        states_without_value: 0,
        viscosity_rise_pa_s: None,
        contact_share_of_rise: None,
        degrees_of_freedom: None,
        loadings: 0,
        reason: Reason::NoPair,
        loadings_of_sample,
        smallest_rise,
    }
}

/// Viscosity of a state that has a contact share.
fn viscosity_of_valued(state: &State) -> Option<f64> {
    state.contact_share.and(state.viscosity_pa_s).map(|v| v.value)
}

impl Ends {
    /// Whether each end that is set has a viscosity and a contact share.
    fn can_be_read(&self, sample: &Sample, states: &[&State]) -> bool {
        let valued =
            |end: &String| place(sample, states, end).is_ok_and(|at| viscosity_of_valued(states[at]).is_some());
        [&self.low, &self.high].into_iter().flatten().all(valued)
    }
}

/// Places of the two ends: high is the largest viscosity among the states with a value that exceed one at a lower
/// set-point, low the smallest one below it. Either can be set.
fn choose(sample: &Sample, states: &[&State], ends: &Ends) -> Result<Option<(usize, usize)>, Vec<Diagnostic>> {
    let named = |end: &Option<String>| end.as_ref().map(|name| place(sample, states, name)).transpose();
    let (low, high) = (named(&ends.low)?, named(&ends.high)?);
    let valued: Vec<(usize, f64)> =
        states.iter().enumerate().filter_map(|(i, s)| Some((i, viscosity_of_valued(s)?))).collect();
    let lowest_below = |high: usize| {
        let below = valued.iter().filter(|(i, _)| *i < high && low.is_none_or(|low| *i == low));
        below.min_by(|a, b| a.1.total_cmp(&b.1)).copied()
    };
    let candidates = valued.iter().filter(|(i, _)| high.is_none_or(|high| *i == high));
    let rising = candidates.filter_map(|(i, v)| lowest_below(*i).filter(|low| low.1 < *v).map(|low| (low.0, *i, *v)));
    Ok(rising.max_by(|a, b| a.2.total_cmp(&b.2)).map(|(low, high, _)| (low, high)))
}

/// The state that a set end names, by number and unit.
fn place(sample: &Sample, states: &[&State], name: &str) -> Result<usize, Vec<Diagnostic>> {
    let split = |text: &str| {
        let (number, unit) = text.trim().split_once(' ')?;
        Some((number.parse::<f64>().ok().filter(|v| *v > 0.0)?, unit.trim().to_owned()))
    };
    let wanted = split(name);
    let distance = |state: &State| match (&wanted, split(&state.set_point)) {
        (Some((a, unit)), Some((b, other))) if *unit == other => Some(float::ln(a / b).abs()),
        _ => None,
    };
    let near = states.iter().enumerate().filter_map(|(i, s)| Some((i, distance(s)?)));
    let near = near.filter(|(_, d)| *d <= float::ln(NAMED_WITHIN)).min_by(|a, b| a.1.total_cmp(&b.1));
    near.map(|(i, _)| i).ok_or_else(|| {
        let known: Vec<&str> = states.iter().map(|s| s.set_point.as_str()).collect();
        let message = format!("sample `{}` has no set-point `{name}`", sample.name);
        vec![Diagnostic::new(message).help(format!("write one of: {}", known.join(", ")))]
    })
}

fn fill_ends(row: &mut Thickening, states: &[&State], low: usize, high: usize) {
    let above = states.iter().skip(high + 1).filter(|s| s.contact_share.is_none());
    row.states_without_value = above.count() as u32;
    let (low, high) = (states[low], states[high]);
    row.set_point_low = Some(low.set_point.clone());
    row.set_point_high = Some(high.set_point.clone());
    row.stress_low_pa = low.stress_pa.map(|s| s.value);
    row.stress_high_pa = high.stress_pa.map(|s| s.value);
    row.viscosity_rise_pa_s = high.viscosity_pa_s.zip(low.viscosity_pa_s).map(|(h, l)| h.value - l.value);
}

//! The question of the study for one sample: between which two states the viscosity rises, and what can be said of it.
//!
//! The rise is read between states that have a contact share. Whether that is the sample's rise is decided by all its
//! steady viscosities: where most of it lies beyond, or only beyond, the answer is "not resolved", with a bound.

use super::params::Ends;
use super::result::{MOST_OF_THE_RISE, Reason, State, Thickening, bound_of_rise, rise_between};
use super::steady_rise;
use crate::numerics::fieller::Spread;
use crate::physics::materials::Sample;
use crate::physics::set_point;
use pipeline::diagnostic::Diagnostic;

/// A sample with its states, which stand in order of stress, and how its rise is asked for.
pub(super) struct Question<'a> {
    pub sample: &'a Sample,
    pub states: Vec<&'a State>,
    pub loadings_of_sample: u32,
    pub ends: Option<&'a Ends>,
    pub smallest_rise: f64,
}

/// Places of two states between which the viscosity rises.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Span {
    low: usize,
    high: usize,
}

/// Places of the ends that the study sets.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct SetEnds {
    low: Option<usize>,
    high: Option<usize>,
}

impl Question<'_> {
    /// Probability that the rise between states with a contact share is scatter, for this sample alone; none where both
    /// ends are set, or the study cannot tell.
    ///
    /// # Errors
    /// If an end that is set names no state of the sample.
    pub(super) fn probability_of_scatter(&self) -> Result<Option<f64>, Vec<Diagnostic>> {
        let set = self.set_ends()?;
        let chosen = self.steepest(set, viscosity_of_valued).filter(|_| set.low.is_none() || set.high.is_none());
        Ok(chosen.and_then(|span| steady_rise::probability_of_scatter(&self.states, span.low, span.high)))
    }

    /// The row of the sample; `probability_of_scatter` as one of the family of samples.
    ///
    /// # Errors
    /// If an end that is set names no state of the sample.
    pub(super) fn answer(&self, probability_of_scatter: Option<f64>) -> Result<Thickening, Vec<Diagnostic>> {
        let set = self.set_ends()?;
        let mut row = Thickening { probability_of_scatter, ..self.empty() };
        let read = self.steepest(set, viscosity_of_valued);
        let whole = self.steepest(SetEnds::default(), viscosity);
        let rise = read.and_then(|r| rise_between(self.states[r.low], self.states[r.high], Spread::default()));
        row.settle(rise.as_ref());
        if let Some(span) = read {
            self.fill_ends(&mut row, span);
        }
        let beyond = whole.filter(|whole| Some(*whole) != read && self.loadings_of_sample >= 2);
        match beyond.filter(|whole| self.lies_beyond(&row, read, *whole, set)) {
            Some(span) if self.is_valued(span) => row.reason = Reason::RiseElsewhere,
            Some(span) => {
                row.settle(None);
                row.reason = Reason::RiseUnread;
                self.fill_ends(&mut row, span);
                row.contact_share_of_rise_bound = bound_of_rise(self.states[span.low], self.states[span.high]);
            }
            None if read.is_none() && self.nothing_rises(set) => {
                let smallest_rise = self.smallest_rise;
                row.reason = whole.map_or(Reason::NoLargerViscosity, |_| Reason::SmallRise { smallest_rise });
            }
            None => {}
        }
        Ok(row)
    }

    /// Whether the sample's rise is not the one that was read: most of it lies beyond, or all of it.
    fn lies_beyond(&self, row: &Thickening, read: Option<Span>, whole: Span, set: SetEnds) -> bool {
        if row.contact_share_of_rise.is_some() {
            // Ends that were set ask for the rise between them and no other.
            let part = read.map_or(0.0, |read| self.rise(read) / self.rise(whole));
            return set == SetEnds::default() && part < MOST_OF_THE_RISE;
        }
        self.relative_rise(whole) >= self.smallest_rise
    }

    /// Whether there is enough to say that the viscosity rises nowhere.
    fn nothing_rises(&self, set: SetEnds) -> bool {
        let known = self.states.iter().filter(|s| viscosity(s).is_some()).count();
        // An end that was set and has no value leaves the question open; it does not answer it.
        let mut ends = [set.low, set.high].into_iter().flatten();
        known >= 2 && self.loadings_of_sample >= 2 && ends.all(|at| viscosity_of_valued(self.states[at]).is_some())
    }

    fn is_valued(&self, span: Span) -> bool {
        [span.low, span.high].iter().all(|at| viscosity_of_valued(self.states[*at]).is_some())
    }

    fn rise(&self, span: Span) -> f64 {
        let at = |place: usize| viscosity(self.states[place]).unwrap_or(f64::NAN);
        at(span.high) - at(span.low)
    }

    fn relative_rise(&self, span: Span) -> f64 {
        self.rise(span) / viscosity(self.states[span.low]).unwrap_or(f64::NAN)
    }

    /// High is the largest viscosity among the states that exceed one at a lower set-point, low the smallest one below
    /// it; of states whose viscosity `of` gives. Either can be set.
    fn steepest(&self, set: SetEnds, of: fn(&State) -> Option<f64>) -> Option<Span> {
        let known: Vec<(usize, f64)> = self.states.iter().enumerate().filter_map(|(i, s)| Some((i, of(s)?))).collect();
        let lowest_below = |high: usize| {
            let below = known.iter().filter(|(i, _)| *i < high && set.low.is_none_or(|low| *i == low));
            below.min_by(|a, b| a.1.total_cmp(&b.1)).copied()
        };
        let candidates = known.iter().filter(|(i, _)| set.high.is_none_or(|high| *i == high));
        let rising = candidates.filter(|(i, v)| lowest_below(*i).is_some_and(|low| low.1 < *v));
        let (high, _) = rising.max_by(|a, b| a.1.total_cmp(&b.1))?;
        Some(Span { low: lowest_below(*high)?.0, high: *high })
    }

    fn set_ends(&self) -> Result<SetEnds, Vec<Diagnostic>> {
        let Some(ends) = self.ends else { return Ok(SetEnds::default()) };
        let named = |end: &Option<String>| end.as_ref().map(|name| place(self.sample, &self.states, name)).transpose();
        Ok(SetEnds { low: named(&ends.low)?, high: named(&ends.high)? })
    }

    fn fill_ends(&self, row: &mut Thickening, span: Span) {
        let above = self.states.iter().skip(span.high + 1).filter(|s| s.contact_share.is_none());
        row.states_without_value = above.count() as u32;
        let (low, high) = (self.states[span.low], self.states[span.high]);
        row.set_point_low = Some(low.set_point.clone());
        row.set_point_high = Some(high.set_point.clone());
        row.stress_low_pa = low.stress_pa.map(|s| s.value);
        row.stress_high_pa = high.stress_pa.map(|s| s.value);
        row.viscosity_rise_pa_s = Some(self.rise(span));
    }

    fn empty(&self) -> Thickening {
        Thickening {
            sample: self.sample.name.clone(),
            volume_fraction: self.sample.volume_fraction.map(|q| q.value),
            set_point_low: None,
            set_point_high: None,
            stress_low_pa: None,
            stress_high_pa: None,
            states_without_value: 0,
            viscosity_rise_pa_s: None,
            contact_share_of_rise: None,
            contact_share_of_rise_bound: None,
            degrees_of_freedom: None,
            loadings: 0,
            reason: Reason::NoPair,
            loadings_of_sample: self.loadings_of_sample,
            smallest_rise: self.smallest_rise,
            probability_of_scatter: None,
        }
    }
}

/// Steady viscosity of a state.
fn viscosity(state: &State) -> Option<f64> {
    state.viscosity_pa_s.map(|v| v.value)
}

/// The same where the state has a contact share.
fn viscosity_of_valued(state: &State) -> Option<f64> {
    state.contact_share.and(viscosity(state))
}

/// The state that a set end names, by number and unit.
fn place(sample: &Sample, states: &[&State], name: &str) -> Result<usize, Vec<Diagnostic>> {
    let near = states.iter().enumerate().filter_map(|(i, s)| Some((i, set_point::ratio(&s.set_point, name)?)));
    let near = near.filter(|(_, ratio)| *ratio <= set_point::SAME_RATIO).min_by(|a, b| a.1.total_cmp(&b.1));
    near.map(|(i, _)| i).ok_or_else(|| {
        let known: Vec<&str> = states.iter().map(|s| s.set_point.as_str()).collect();
        let message = format!("sample `{}` has no set-point `{name}`", sample.name);
        vec![Diagnostic::new(message).help(format!("write one of: {}", known.join(", ")))]
    })
}

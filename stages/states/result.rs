//! What the states stage hands on: every reversal with its set-point, the states, and the share of the rise.
//!
//! Here too, because `uncertainty` gives the same verdict again with its own terms: how a rise is read from two
//! states, and the rules of the verdict.

use crate::numerics::fieller::Spread;
use crate::numerics::float;
use crate::numerics::interval::{mean, share_of};
use crate::physics::materials::Sample;
use crate::physics::rise::{self, Ends, Rise};
use crate::physics::shares::{Loading, Shared, Within};
use crate::reversal::result::{Controlled, Graded, Identity};
use serde::{Deserialize, Serialize};
use std::ops::RangeInclusive;

pub use super::choice::Choice;
pub use super::remark::Remark;
pub use super::verdict::{ENDS_CHOSEN, LEVEL_OF_A_RISE, MOST_OF_THE_RISE, OtherVerdict, Reason, Verdict};
pub use crate::numerics::interval::Interval;

/// Weight below which a form of the recovery is no defensible choice, because the trace itself speaks against it: odds of
/// 1 to 100 (common practice).
pub const LEAST_FORM_WEIGHT: f64 = 0.01;

/// Strain over which a straight line is drawn back to zero: after the drive, before many contacts return (common practice).
pub const LINE_STRAIN: RangeInclusive<f64> = 0.02..=0.2;

/// A reversal within the study.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StudyReversal {
    /// `R0001` …, in order of run and row.
    pub reversal: String,
    /// Who the run is.
    pub identity: Identity,
    /// Label of its set-point, for example `10 1/s`; none for controls and where nothing steady precedes.
    pub set_point: Option<String>,
    /// The judged reversal.
    pub graded: Graded,
}

/// One (sample, set-point) condition.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct State {
    /// Sample.
    pub sample: String,
    /// Solid volume fraction.
    pub volume_fraction: Option<f64>,
    /// Its standard uncertainty.
    pub u_volume_fraction: Option<f64>,
    /// Label of the set-point.
    pub set_point: String,
    /// The export or the study file told the set-point; else it was found from the motion.
    pub set_point_told: bool,
    /// What was held.
    pub controlled: Controlled,
    /// Stress, Pa.
    pub stress_pa: Option<Interval>,
    /// Rate, 1/s.
    pub rate_per_s: Option<Interval>,
    /// Viscosity, Pa s.
    pub viscosity_pa_s: Option<Interval>,
    /// η(1 − X), Pa s.
    pub hydrodynamic_viscosity_pa_s: Option<Interval>,
    /// η X, Pa s.
    pub contact_viscosity_pa_s: Option<Interval>,
    /// η over the liquid's viscosity.
    pub relative_viscosity: Option<Interval>,
    /// X; value none and only `contact_share_bound` where not resolved.
    pub contact_share: Option<Interval>,
    /// Largest bound where there is no value.
    pub contact_share_bound: Option<f64>,
    /// n − 1 over loadings; none for one loading.
    pub degrees_of_freedom: Option<f64>,
    /// Loadings that enter the value of X.
    pub loadings: u32,
    /// Reversals that enter it.
    pub reversals: u32,
    /// All reversals of the state.
    pub reversals_found: u32,
    /// Remarks, gravest first.
    pub remarks: Vec<Remark>,
    /// Loading means behind the state, in order of loading.
    pub loading_means: Vec<LoadingMean>,
    /// Standard uncertainty of z = −ln(1 − X) that all loadings share, instrument and sample left out.
    pub u_z_shared: f64,
    /// Standard uncertainty of z that a single loading knows of itself.
    pub u_z_within: f64,
    /// Standard uncertainty of ln η that a single loading knows of itself.
    pub u_ln_viscosity_within: f64,
}

impl State {
    /// A condition of a sample, nothing of which is known yet.
    pub fn unread(sample: &Sample, set_point: String, controlled: Controlled) -> Self {
        Self {
            sample: sample.name.clone(),
            volume_fraction: sample.volume_fraction.map(|q| q.value),
            u_volume_fraction: sample.volume_fraction.map(|q| q.u),
            set_point,
            set_point_told: false,
            controlled,
            stress_pa: None,
            rate_per_s: None,
            viscosity_pa_s: None,
            hydrodynamic_viscosity_pa_s: None,
            contact_viscosity_pa_s: None,
            relative_viscosity: None,
            contact_share: None,
            contact_share_bound: None,
            degrees_of_freedom: None,
            loadings: 0,
            reversals: 0,
            reversals_found: 0,
            remarks: Vec::new(),
            loading_means: Vec::new(),
            u_z_shared: 0.0,
            u_z_within: 0.0,
            u_ln_viscosity_within: 0.0,
        }
    }

    /// The loading means as the formulas of the shares take them.
    pub fn loadings_for_shares(&self) -> Vec<Loading> {
        self.loading_means.iter().map(|l| Loading { ln_viscosity: l.ln_viscosity, z: l.z }).collect()
    }

    /// What a single loading knows of itself.
    pub fn within(&self) -> Within {
        Within { ln_viscosity: self.u_ln_viscosity_within, z: self.u_z_within }
    }

    /// What all loadings share, instrument and sample left out.
    pub fn shared(&self) -> Shared {
        let z: Vec<f64> = self.loading_means.iter().filter_map(|l| l.z).collect();
        Shared::of_z(self.u_z_shared, mean(&z))
    }
}

/// Mean over the repeats of one loading in one state.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LoadingMean {
    /// Loading.
    pub loading: String,
    /// Mean of ln(viscosity before / Pa s).
    pub ln_viscosity: f64,
    /// Mean of −ln(1 − X) over resolved reversals.
    pub z: Option<f64>,
    /// Median standard uncertainty of z.
    pub u_z: Option<f64>,
    /// Resolved reversals in it.
    pub resolved: u32,
    /// All reversals in it.
    pub found: u32,
    /// Reversals behind `ln_viscosity`.
    pub viscosity_from: Vec<String>,
    /// Reversals behind `z`.
    pub share_from: Vec<String>,
}

/// Share of the rise for one sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Thickening {
    /// Sample.
    pub sample: String,
    /// Solid volume fraction.
    pub volume_fraction: Option<f64>,
    /// Set-point of the low end.
    pub set_point_low: Option<String>,
    /// Set-point of the high end.
    pub set_point_high: Option<String>,
    /// Stress at the low end, Pa.
    pub stress_low_pa: Option<f64>,
    /// Stress at the high end, Pa.
    pub stress_high_pa: Option<f64>,
    /// States above the high end without a value.
    pub states_without_value: u32,
    /// η(high) − η(low), Pa s.
    pub viscosity_rise_pa_s: Option<f64>,
    /// The share.
    pub contact_share_of_rise: Option<Interval>,
    /// What the share is at least, where it has no value and a state has a bound.
    pub contact_share_of_rise_bound: Option<f64>,
    /// n − 1 over loading pairs.
    pub degrees_of_freedom: Option<f64>,
    /// Loadings with both ends.
    pub loadings: u32,
    /// The verdict and why.
    pub reason: Reason,
    /// Loadings of the sample.
    pub loadings_of_sample: u32,
    /// Relative rise below which there is nothing to explain, as set.
    pub smallest_rise: f64,
    /// Probability that the largest rise between two states, which the data chose, is scatter between loadings; none
    /// where it was not tested: the ends were set, or the study cannot tell.
    pub probability_of_scatter: Option<f64>,
}

impl Thickening {
    /// The verdict.
    pub fn verdict(&self) -> Verdict {
        self.reason.verdict()
    }

    /// Fills in share and verdict from the rise between ends that have a contact share.
    pub fn settle(&mut self, rise: Option<&Rise>) {
        self.reason = self.reason_of(rise);
        let shown = rise.filter(|_| !matches!(self.verdict(), Verdict::NoThickening | Verdict::NotResolved));
        self.contact_share_of_rise = shown.map(|r| Interval {
            value: r.share,
            u: r.u,
            low: r.interval.map(|i| i.0),
            high: r.interval.map(|i| i.1),
        });
        self.degrees_of_freedom = rise.and_then(|r| r.ln_ratio.degrees_of_freedom);
        self.loadings = rise.map_or(0, |r| r.loadings as u32);
    }
}

impl Thickening {
    /// Why which verdict is given, by the printed rules in their order.
    fn reason_of(&self, rise: Option<&Rise>) -> Reason {
        let Some(rise) = rise else { return Reason::NoPair };
        if rise.loadings < 2 {
            return if self.loadings_of_sample == 1 { Reason::OneLoading } else { Reason::OnePair };
        }
        if float::expm1(rise.ln_ratio.value) < self.smallest_rise {
            return Reason::SmallRise { smallest_rise: self.smallest_rise };
        }
        if rise.ln_ratio.half_width.is_none_or(|h| rise.ln_ratio.value - h <= 0.0) {
            return Reason::RiseReachesZero;
        }
        if let Some(probability) = self.probability_of_scatter.filter(|p| *p > LEVEL_OF_A_RISE) {
            return Reason::RiseMayBeScatter { probability };
        }
        match rise.interval {
            None => Reason::Unbounded,
            Some((low, _)) if low > MOST_OF_THE_RISE => Reason::AboveHalf,
            Some((_, high)) if high < MOST_OF_THE_RISE => Reason::BelowHalf,
            Some(_) => Reason::CoversHalf,
        }
    }
}

/// Loadings that have both ends.
pub fn pairs(low: &State, high: &State) -> Vec<Ends> {
    let with = |l: &LoadingMean| {
        let h = high.loading_means.iter().find(|h| h.loading == l.loading)?;
        let (share_low, share_high) = (share_of(l.z?), share_of(h.z?));
        Some(Ends { ln_ratio: h.ln_viscosity - l.ln_viscosity, share_low, share_high })
    };
    low.loading_means.iter().filter_map(with).collect()
}

/// The rise between two states; none if no loading has both ends. `joined` holds the variances of the means of
/// N and D that instrument and sample add.
pub fn rise_between(low: &State, high: &State, joined: Spread) -> Option<Rise> {
    let pairs = pairs(low, high);
    let ratio = float::exp(mean(&pairs.iter().map(|p| p.ln_ratio).collect::<Vec<_>>()));
    let u_share = |state: &State, u_z: f64| {
        let z: Vec<f64> = state.loading_means.iter().filter_map(|l| l.z).collect();
        float::exp(-mean(&z)) * u_z
    };
    let spread = |u: fn(&State) -> f64| rise::spread_of_shares(ratio, u_share(low, u(low)), u_share(high, u(high)));
    Rise::from_pairs(&pairs, spread(|s| s.u_z_within), spread(|s| s.u_z_shared).plus(joined))
}

/// What the share of the rise between two states is at least, from the lower ends or bounds of their contact shares: the
/// contact viscosity at the low end is at most what its interval allows, or all of its viscosity. None where that says
/// nothing, as the bound of a state.
pub fn bound_of_rise(low: &State, high: &State) -> Option<f64> {
    let (eta_low, eta_high) = (low.viscosity_pa_s?.value, high.viscosity_pa_s?.value);
    let least_high = high.contact_share.map_or(high.contact_share_bound, |x| x.low)?;
    let most_low = low.contact_share.and_then(|x| x.high).unwrap_or(1.0);
    let bound = (eta_high * least_high - eta_low * most_low) / (eta_high - eta_low);
    (eta_high > eta_low && bound > 0.0).then_some(bound)
}

/// All that the states stage gives.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct States {
    /// Every reversal, controls included, in order.
    pub reversals: Vec<StudyReversal>,
    /// States in order of sample and stress.
    pub states: Vec<State>,
    /// A row per sample that is not a control.
    pub thickening: Vec<Thickening>,
}

/// The study under another defensible choice of settings: the same reversals, their contact shares as that choice
/// gives them, the same ends of the rises.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alternative {
    /// What was chosen.
    pub choice: Choice,
    /// States, in the order of those of the study.
    pub states: Vec<State>,
    /// Rises of the samples that have one in the study.
    pub thickening: Vec<Thickening>,
}

//! What a study says against what is true, and the tally over studies.

use super::laboratory::{BEADS, Declared};
use super::study::{Study, TrueState};
use crate::random::Stream;
use crate::resampling;
use stages::fit::params::Params as FitParams;
use stages::physics::rise::Ends;
use stages::reversal::result::GradedRun;
use stages::states::result::{Interval, LoadingMean, State, States, Thickening};
use stages::{fit, states, uncertainty};
use std::collections::BTreeMap;

/// The quantities of the table.
pub(super) const QUANTITIES: [&str; 5] =
    ["contact share", "share of the rise", "ln relative viscosity", "φ_m", "ln(σ*/Pa)"];

/// What one study says of one quantity: its intervals against the truth.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Score {
    /// Intervals asked for, given, and holding the truth.
    pub(super) asked: usize,
    pub(super) given: usize,
    pub(super) held: usize,
    /// Half-widths of those given.
    pub(super) half_widths: Vec<f64>,
    /// Sums over those given: error, and its square.
    pub(super) error: f64,
    pub(super) square: f64,
}

impl Score {
    fn add(&mut self, found: Option<Interval>, truth: f64) {
        self.asked += 1;
        let Some((found, low, high)) = found.and_then(|i| Some((i, i.low?, i.high?))) else { return };
        let error = found.value - truth;
        self.given += 1;
        self.held += usize::from((low..=high).contains(&truth));
        self.half_widths.push(0.5 * (high - low));
        self.error += error;
        self.square += error * error;
    }

    /// Counts another study in.
    pub(super) fn join(&mut self, other: &Self) {
        self.asked += other.asked;
        self.given += other.given;
        self.held += other.held;
        self.half_widths.extend(&other.half_widths);
        self.error += other.error;
        self.square += other.square;
    }
}

/// Scores of one study, in the order of [`QUANTITIES`].
pub(super) type Scores = [Score; QUANTITIES.len()];

/// The readers of a study: the stages; one who knows everything that was realised, with the same t over loadings; and
/// one who resamples the loadings that the stages found, for the quantities in which nothing else counts much.
pub(super) const READERS: usize = 3;
pub(super) const STAGES: usize = 0;
pub(super) const PERFECT: usize = 1;
pub(super) const RESAMPLING: usize = 2;

/// Resamples of an interval from resampled loadings; of five loadings there are 126 different ones.
const RESAMPLES: usize = 500;

/// What every reader says of a study.
///
/// # Errors
/// What the stages say.
pub(super) fn readers(study: &Study, seed: u64, params: &states::params::Params) -> Result<[Scores; READERS], String> {
    let perfect = Declared::exactly(&study.truth);
    let alone = states::params::Params { shared_part: 0.0, ..params.clone() };
    let found = states_of(&study.runs, &study.declared, params)?;
    let realised = states_of(&study.realised, &perfect, &alone)?;
    Ok([
        scores(&found, &study.declared, &study.states, seed)?,
        scores(&realised, &perfect, &study.states, seed)?,
        resampled(&found, &study.states, &mut Stream::named(seed, "resampled loadings")),
    ])
}

/// The states of a study, instrument and sample left out.
fn states_of(runs: &[GradedRun], declared: &Declared, params: &states::params::Params) -> Result<States, String> {
    states::states(runs.to_vec(), &declared.samples(), &BTreeMap::new(), params).map_err(|d| format!("{d:?}"))
}

/// Intervals from resampled loadings.
fn resampled(found: &States, truth: &[Vec<TrueState>], draw: &mut Stream) -> Scores {
    let mut scores = Scores::default();
    let mut interval = |n: usize, of: &dyn Fn(&[usize]) -> f64| {
        let (low, high) = resampling::bca(n, RESAMPLES, 0.95, draw, of);
        let all: Vec<usize> = (0..n).collect();
        Interval { value: of(&all), u: f64::NAN, low: Some(low), high: Some(high) }
    };
    for (s, truth) in truth.iter().enumerate() {
        let name = format!("S{s}");
        let own: Vec<_> = found.states.iter().filter(|x| x.sample == name).collect();
        for (state, truth) in own.iter().zip(truth) {
            let z: Vec<f64> = state.loading_means.iter().filter_map(|l| l.z).collect();
            let share = |at: &[usize]| -libm::expm1(-at.iter().map(|i| z[*i]).sum::<f64>() / at.len() as f64);
            let given = state.contact_share.filter(|_| z.len() > 1);
            scores[0].add(given.map(|_| interval(z.len(), &share)), truth.share);
        }
        let row = found.thickening.iter().find(|t| t.sample == name);
        let pairs = row.map_or_else(Vec::new, |row| pairs(&own, row));
        let share = |at: &[usize]| {
            let sum = |of: fn(&Ends) -> f64| at.iter().map(|i| of(&pairs[*i])).sum::<f64>();
            sum(|e| e.contact_rise()) / sum(|e| e.rise())
        };
        let given = row.and_then(|t| t.contact_share_of_rise).filter(|_| pairs.len() > 1);
        scores[1].add(given.map(|_| interval(pairs.len(), &share)), BEADS.share_of_rise);
    }
    scores
}

/// Loadings with both ends of a rise.
fn pairs(own: &[&State], row: &Thickening) -> Vec<Ends> {
    let end = |label: &Option<String>| own.iter().find(|s| Some(&s.set_point) == label.as_ref());
    let Some((low, high)) = end(&row.set_point_low).zip(end(&row.set_point_high)) else { return Vec::new() };
    let pair = |l: &LoadingMean| {
        let h = high.loading_means.iter().find(|h| h.loading == l.loading)?;
        let share = |z: f64| -libm::expm1(-z);
        Some(Ends { ln_ratio: h.ln_viscosity - l.ln_viscosity, share_low: share(l.z?), share_high: share(h.z?) })
    };
    low.loading_means.iter().filter_map(pair).collect()
}

fn scores(alone: &States, declared: &Declared, truth: &[Vec<TrueState>], seed: u64) -> Result<Scores, String> {
    let samples = declared.samples();
    let geometries = BTreeMap::from([("cone".to_owned(), declared.geometry())]);
    // As few trials as there may be: their error is small beside that of a coverage.
    // Who declares everything exactly has nothing to draw.
    let skip = !declared.is_uncertain();
    let few = uncertainty::params::Params { most_trials: 20_000, skip, ..Default::default() };
    let joined = uncertainty::joined(alone, &[], &samples, &geometries, seed, &few).states;
    let mut scores = Scores::default();
    for (s, sample) in samples.iter().enumerate() {
        let own = joined.states.iter().filter(|x| x.sample == sample.name);
        for (state, truth) in own.zip(&truth[s]) {
            scores[0].add(state.contact_share, truth.share);
            scores[2].add(state.relative_viscosity.map(logarithm), libm::log(truth.relative_viscosity));
        }
        let rise = joined.thickening.iter().find(|t| t.sample == sample.name);
        scores[1].add(rise.and_then(|t| t.contact_share_of_rise), BEADS.share_of_rise);
    }
    let law = serde_json::json!({ "models": ["wyart-cates"] });
    let law: FitParams = serde_json::from_value(law).map_err(|e| e.to_string())?;
    let fits = fit::fits(alone, &samples, &geometries, &law);
    let parameter = |name: &str| {
        let row = fits.rows.iter().find(|r| r.parameter == name)?;
        Some(Interval { value: row.value?, u: row.u_value?, low: row.value_low, high: row.value_high })
    };
    scores[3].add(parameter("phi_m"), BEADS.phi_m);
    scores[4].add(parameter("sigma_star").map(logarithm), libm::log(BEADS.sigma_star));
    Ok(scores)
}

/// The interval of the logarithm.
fn logarithm(i: Interval) -> Interval {
    let ln = |x: f64| libm::log(x);
    Interval { value: ln(i.value), u: i.u / i.value, low: i.low.map(ln), high: i.high.map(ln) }
}

//! What a study says against what is true, and the tally over studies.

use super::laboratory::{BEADS, Declared};
use super::study::{Study, TrueState};
use stages::fit::params::Params as FitParams;
use stages::reversal::result::JudgedRun;
use stages::states::result::Interval;
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
    pub(super) fn join(&mut self, other: Self) {
        self.asked += other.asked;
        self.given += other.given;
        self.held += other.held;
        self.half_widths.extend(other.half_widths);
        self.error += other.error;
        self.square += other.square;
    }
}

/// Scores of one study, in the order of [`QUANTITIES`].
pub(super) type Scores = [Score; QUANTITIES.len()];

/// What the reader and the perfect reader say of a study.
///
/// # Errors
/// What the stages say.
pub(super) fn both(study: &Study, seed: u64, params: &states::params::Params) -> Result<[Scores; 2], String> {
    let perfect = Declared::exactly(&study.truth);
    let alone = states::params::Params { shared_part: 0.0, ..params.clone() };
    Ok([
        scores(&study.runs, &study.declared, &study.states, seed, params)?,
        scores(&study.realised, &perfect, &study.states, seed, &alone)?,
    ])
}

fn scores(
    runs: &[JudgedRun],
    declared: &Declared,
    truth: &[Vec<TrueState>],
    seed: u64,
    params: &states::params::Params,
) -> Result<Scores, String> {
    let samples = declared.samples();
    let alone = states::states(runs.to_vec(), &samples, &BTreeMap::new(), params).map_err(|d| format!("{d:?}"))?;
    let geometries = BTreeMap::from([("cone".to_owned(), declared.geometry())]);
    // As few trials as there may be: their error is small beside that of a coverage.
    let few = uncertainty::params::Params { most_trials: 20_000, ..Default::default() };
    let joined = uncertainty::joined(&alone, &[], &samples, &geometries, seed, &few).states;
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
    let fits = fit::fits(&alone, &samples, &geometries, &law);
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

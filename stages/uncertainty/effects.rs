//! What every instrument and sample term does to a state, from the responses that were stored with each reversal.
//!
//! A response is known at −u, 0 and +u of its term; between and beyond, the parabola through the three. Responses are
//! averaged as the values are: over repeats, then over loadings, in ln η and in z = −ln(1 − X).

use crate::numerics::interval::{mean, z_of};
use crate::physics::materials::Sample;
use crate::reversal::result::Response;
use crate::states::result::{LoadingMean, State, StudyReversal};
use std::collections::{BTreeMap, BTreeSet};

/// a d + b d² for a draw d in standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Parabola {
    a: f64,
    b: f64,
}

impl Parabola {
    /// Through `minus` at −1, 0 at 0 and `plus` at +1.
    fn through(minus: f64, plus: f64) -> Self {
        Self { a: 0.5 * (plus - minus), b: 0.5 * (plus + minus) }
    }

    /// A straight line.
    pub(super) fn line(a: f64) -> Self {
        Self { a, b: 0.0 }
    }

    /// At a draw.
    pub(super) fn at(self, draw: f64) -> f64 {
        draw * (self.a + self.b * draw)
    }

    fn mean(all: &[Self]) -> Self {
        let of = |f: fn(&Self) -> f64| mean(&all.iter().map(f).collect::<Vec<f64>>());
        if all.is_empty() { Self::default() } else { Self { a: of(|p| p.a), b: of(|p| p.b) } }
    }
}

/// Effect of one term on one loading or one state.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Effect {
    /// On ln η.
    pub ln_viscosity: Parabola,
    /// On z.
    pub z: Parabola,
}

/// Effects of all terms on one loading of a state.
pub(super) type OfLoading = Vec<Effect>;

/// Terms of the study by name, with the reversals at hand by number.
pub(super) struct Terms<'a> {
    /// Names, sorted: places in the study file.
    pub names: Vec<String>,
    reversals: BTreeMap<&'a str, &'a StudyReversal>,
}

impl<'a> Terms<'a> {
    /// From the reversals of the study.
    pub(super) fn of(reversals: &'a [StudyReversal]) -> Self {
        let entering = reversals.iter().filter(|r| !r.identity.control);
        let names: BTreeSet<String> =
            entering.flat_map(|r| r.judged.read.responses.iter().map(|x| x.term.clone())).collect();
        Self {
            names: names.into_iter().collect(),
            reversals: reversals.iter().map(|r| (r.reversal.as_str(), r)).collect(),
        }
    }

    /// Effects of every term on one loading, in the order of the names.
    pub(super) fn on_loading(&self, loading: &LoadingMean) -> OfLoading {
        self.names
            .iter()
            .map(|term| Effect {
                ln_viscosity: self.average(&loading.viscosity_from, term, ln_viscosity),
                z: self.average(&loading.share_from, term, z),
            })
            .collect()
    }

    /// Effects of every term on a state.
    pub(super) fn on_state(&self, state: &State) -> Vec<Effect> {
        let all: Vec<(OfLoading, bool)> =
            state.loading_means.iter().map(|l| (self.on_loading(l), l.z.is_some())).collect();
        let of_term = |term: usize| {
            let viscosities: Vec<Parabola> = all.iter().map(|(l, _)| l[term].ln_viscosity).collect();
            let z: Vec<Parabola> = all.iter().filter(|(_, has)| *has).map(|(l, _)| l[term].z).collect();
            Effect { ln_viscosity: Parabola::mean(&viscosities), z: Parabola::mean(&z) }
        };
        (0..self.names.len()).map(of_term).collect()
    }

    fn average(&self, from: &[String], term: &str, of: fn(&StudyReversal, &Response) -> Parabola) -> Parabola {
        let members = from.iter().filter_map(|id| self.reversals.get(id.as_str()));
        let one = |r: &&StudyReversal| {
            let response = r.judged.read.responses.iter().find(|x| x.term == term);
            response.map_or_else(Parabola::default, |x| of(r, x))
        };
        Parabola::mean(&members.map(one).collect::<Vec<Parabola>>())
    }
}

fn ln_viscosity(_: &StudyReversal, response: &Response) -> Parabola {
    Parabola::through(response.minus.0, response.plus.0)
}

fn z(reversal: &StudyReversal, response: &Response) -> Parabola {
    let Some(share) = reversal.judged.contact_share.map(|x| x.value) else { return Parabola::default() };
    let (minus, plus) = (share + response.minus.1, share + response.plus.1);
    if share < 1.0 && minus < 1.0 && plus < 1.0 {
        Parabola::through(z_of(minus) - z_of(share), z_of(plus) - z_of(share))
    } else {
        // At X = 1 z is infinite; the slope is all that is left.
        Parabola::line(0.5 * (response.plus.1 - response.minus.1) / (1.0 - share).max(f64::EPSILON))
    }
}

/// The liquid under a sample: the place of its viscosity in the study file, and its relative standard uncertainty.
pub(super) fn liquid(sample: Option<&Sample>) -> Option<(String, f64)> {
    let liquid = &sample?.liquid;
    Some((format!("liquids.{}.viscosity", liquid.name), liquid.viscosity?.relative()))
}

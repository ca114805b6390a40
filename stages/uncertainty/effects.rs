//! What every instrument and sample term does to a state, from the sensitivity coefficients that were stored with each
//! reversal.
//!
//! A coefficient is known at −u, 0 and +u of its term; between and beyond, the parabola through the three. Coefficients are
//! averaged as the values are: over repeats, then over loadings, in ln η and in z = −ln(1 − X). What a dimension of the
//! geometry does to the rate follows from its formula; the stress is viscosity times rate.

use crate::numerics::interval::{mean, z_of};
use crate::physics::geometry::Geometry;
use crate::physics::materials::Sample;
use crate::reversal::result::SensitivityCoefficient;
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

    /// What a draw does.
    pub(super) fn moved_by(self, draw: f64) -> f64 {
        draw * (self.a + self.b * draw)
    }

    /// Standard deviation over a standard normal draw, √(a² + 2b²).
    pub(super) fn u(self) -> f64 {
        (self.a * self.a + 2.0 * self.b * self.b).sqrt()
    }

    /// Both together.
    pub(super) fn plus(self, other: Self) -> Self {
        Self { a: self.a + other.a, b: self.b + other.b }
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
    /// On ln γ̇.
    pub ln_rate: Parabola,
}

/// Effects of all terms on one loading of a state.
pub(super) type LoadingEffects = Vec<Effect>;

/// Terms of the study by name, with the reversals at hand by number.
pub(super) struct Terms<'a> {
    /// Names, sorted: places in the study file.
    pub names: Vec<String>,
    reversals: BTreeMap<&'a str, &'a StudyReversal>,
    geometries: &'a BTreeMap<String, Geometry>,
}

impl<'a> Terms<'a> {
    /// From the reversals of the study.
    pub(super) fn of_study(reversals: &'a [StudyReversal], geometries: &'a BTreeMap<String, Geometry>) -> Self {
        let entering = reversals.iter().filter(|r| !r.identity.control);
        let names: BTreeSet<String> =
            entering.flat_map(|r| r.graded.read.sensitivity_coefficients.iter().map(|x| x.term.clone())).collect();
        Self {
            names: names.into_iter().collect(),
            reversals: reversals.iter().map(|r| (r.reversal.as_str(), r)).collect(),
            geometries,
        }
    }

    /// Effects of every term on one loading, in the order of the names.
    pub(super) fn on_loading(&self, loading: &LoadingMean) -> LoadingEffects {
        self.names
            .iter()
            .map(|term| Effect {
                ln_viscosity: self.average(&loading.viscosity_from, |r| stored_effect(r, term, ln_viscosity)),
                z: self.average(&loading.share_from, |r| stored_effect(r, term, z)),
                ln_rate: self.average(&loading.viscosity_from, |r| self.rate(r, term)),
            })
            .collect()
    }

    /// Effects of every term on a state.
    pub(super) fn on_state(&self, state: &State) -> Vec<Effect> {
        let every: Vec<LoadingEffects> = state.loading_means.iter().map(|l| self.on_loading(l)).collect();
        let of_term = |term: usize| {
            let all = |of: fn(&Effect) -> Parabola| every.iter().map(|l| of(&l[term])).collect::<Vec<_>>();
            let with_share = every.iter().zip(&state.loading_means).filter(|(_, mean)| mean.z.is_some());
            let z: Vec<Parabola> = with_share.map(|(l, _)| l[term].z).collect();
            let (ln_viscosity, ln_rate) = (all(|e| e.ln_viscosity), all(|e| e.ln_rate));
            Effect {
                ln_viscosity: Parabola::mean(&ln_viscosity),
                z: Parabola::mean(&z),
                ln_rate: Parabola::mean(&ln_rate),
            }
        };
        (0..self.names.len()).map(of_term).collect()
    }

    fn average(&self, from: &[String], of: impl Fn(&StudyReversal) -> Parabola) -> Parabola {
        let members = from.iter().filter_map(|id| self.reversals.get(id.as_str()));
        Parabola::mean(&members.map(|r| of(r)).collect::<Vec<Parabola>>())
    }

    /// What a dimension of the reversal's geometry does to its rate; other terms do nothing.
    fn rate(&self, reversal: &StudyReversal, term: &str) -> Parabola {
        let name = &reversal.identity.geometry;
        let key = term.strip_prefix("geometries.").and_then(|t| t.strip_prefix(name)).and_then(|t| t.strip_prefix('.'));
        let terms = self.geometries.get(name).map_or_else(Vec::new, Geometry::rate_terms);
        let found = terms.into_iter().find(|(of, _, _)| Some(*of) == key);
        found.map_or_else(Parabola::default, |(_, power, u)| Parabola::line(power * u))
    }
}

/// What a stored coefficient says; nothing where the term was not stored.
fn stored_effect(
    reversal: &StudyReversal,
    term: &str,
    of: fn(&StudyReversal, &SensitivityCoefficient) -> Parabola,
) -> Parabola {
    let stored = reversal.graded.read.sensitivity_coefficients.iter().find(|x| x.term == term);
    stored.map_or_else(Parabola::default, |x| of(reversal, x))
}

fn ln_viscosity(_: &StudyReversal, stored: &SensitivityCoefficient) -> Parabola {
    Parabola::through(stored.minus.0, stored.plus.0)
}

fn z(reversal: &StudyReversal, stored: &SensitivityCoefficient) -> Parabola {
    let Some(share) = reversal.graded.contact_share.map(|x| x.value) else { return Parabola::default() };
    let (minus, plus) = (share + stored.minus.1, share + stored.plus.1);
    if share < 1.0 && minus < 1.0 && plus < 1.0 {
        Parabola::through(z_of(minus) - z_of(share), z_of(plus) - z_of(share))
    } else {
        // At X = 1 z is infinite; the slope is all that is left.
        Parabola::line(0.5 * (stored.plus.1 - stored.minus.1) / (1.0 - share).max(f64::EPSILON))
    }
}

/// The viscosity of the liquid under a sample, as a term.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LiquidTerm {
    /// Its place in the study file.
    pub place: String,
    /// Its relative standard uncertainty.
    pub relative_u: f64,
}

impl LiquidTerm {
    /// None where the sample or the viscosity is not known.
    pub(super) fn under(sample: Option<&Sample>) -> Option<Self> {
        let liquid = &sample?.liquid;
        let relative_u = liquid.viscosity?.relative();
        Some(Self { place: format!("liquids.{}.viscosity", liquid.name), relative_u })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::interval::covariance_of_means;

    /// Of a mean.
    fn variance(y: &[f64]) -> f64 {
        covariance_of_means(y, y)
    }

    #[test]
    fn the_comparison_loss_of_the_supplement() {
        // JCGM 101:2008, 9.4, without correlation: Y = X1² + X2², u(X1) = u(X2) = 0.005. What a term does is known at
        // −u, 0, +u, and its parabola is exact here. u(Y) by the exact moments (noncentral chi-square); the printed
        // 50, 112 and 502 × 10⁻⁶ are rounded Monte Carlo.
        let u = 0.005;
        let squared = |x: f64| Parabola::through((x - u) * (x - u) - x * x, (x + u) * (x + u) - x * x).u();
        for (x1, exact) in [(0.0, 50.0), (0.01, 111.803), (0.05, 502.494)] {
            let both = crate::numerics::interval::quadrature(squared(x1), squared(0.0));
            // Six digits are given.
            assert!((1e6 * both - exact).abs() < 6e-4, "{x1}: {both}");
        }
    }

    #[test]
    fn the_comparison_loss_of_the_supplement_with_correlation() {
        // JCGM 101:2008, 9.4.3: the same with a correlation of 0.9 between X1 and X2. Errors that two quantities have in
        // common are one term with one draw here, which moves both: X1 = x1 + u(√0.9·a + √0.1·b), X2 likewise with c.
        // Exact y and u; the printed 50, 150, 2551 and 67, 121, 505 × 10⁻⁶ are rounded Monte Carlo.
        let (u, rho) = (0.005, 0.9f64);
        let (n, blocks) = (super::super::trials::BLOCK, 20);
        let mut draws = ["a", "b", "c"].map(|name| crate::numerics::draws::Draws::named(1, name));
        for (x1, mean_exact, u_exact) in [(0.0, 50.0, 67.2681), (0.01, 150.0, 120.52), (0.05, 2550.0, 504.505)] {
            let y: Vec<f64> = (0..n * blocks)
                .map(|_| {
                    let [a, b, c] = [0, 1, 2].map(|k| draws[k].normal());
                    let error = |own: f64| u * (rho.sqrt() * a + (1.0 - rho).sqrt() * own);
                    let (x1, x2) = (x1 + error(b), error(c));
                    1e6 * (x1 * x1 + x2 * x2)
                })
                .collect();
            let found = (variance(&y) * y.len() as f64).sqrt();
            // 2·10⁵ trials: four standard errors of the mean, and of a standard deviation with the kurtosis of a square.
            assert!((mean(&y) - mean_exact).abs() < 4.0 * u_exact / 447.0, "{x1}: {}", mean(&y));
            assert!((found / u_exact - 1.0).abs() < 4.0 * 1.9 / 447.0, "{x1}: {found}");
        }
    }
}

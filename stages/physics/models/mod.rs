//! Models of the viscosity: one file each, all behind [`Model`]. No data, no fit.
//!
//! A model is of one of three kinds ([`Subject`]). Thickening: the relative viscosity η_r against solid fraction φ and
//! stress σ, fitted to all samples at once. Packing: η_r against φ alone, at one end of the stresses; it diverges at a
//! φ_max that friction lowers. Flow curve: η in Pa s against the rate, sample by sample.
//!
//! Every model gives ln η, because viscosities scatter by ratios, and its analytic derivatives by parameters and φ; a point
//! at which it is jammed gives a number that is not finite. Its slope by the logarithm of the abscissa serves the
//! effective variance. Its starts are guesses from the data that lie on the safe side of a divergence.
//!
//! A [`Parameter`] is a place, known by differences, or a scale, known by ratios and fitted as a logarithm; its bounds are
//! what makes sense at all, not what is expected. All that study file, tables, methods text and page say of a model
//! (names, formula, symbols, meanings, units, sources) stands in its [`Description`].
//!
//! A new model is a file with its tests, a line in [`ALL`] (and its `mod`), and its reference in `references`.

use serde::{Deserialize, Serialize};

pub mod carreau;
pub mod cross;
pub mod eilers;
pub mod herschel_bulkley;
pub mod krieger_dougherty;
pub mod maron_pierce;
pub mod power_law;
pub mod wyart_cates;

/// Every model, in the order in which they are listed.
pub const ALL: [&dyn Model; 8] = [
    &wyart_cates::WyartCates,
    &maron_pierce::MaronPierce,
    &krieger_dougherty::KriegerDougherty,
    &eilers::Eilers,
    &power_law::PowerLaw,
    &herschel_bulkley::HerschelBulkley,
    &cross::Cross,
    &carreau::Carreau,
];

/// The model with this name.
pub fn find(name: &str) -> Option<&'static dyn Model> {
    ALL.into_iter().find(|model| model.name() == name)
}

/// The parameter, or what follows from parameters, that has this name.
pub fn label(name: &str) -> Option<Label> {
    let all =
        |m: &'static dyn Model| m.parameters().iter().map(|p| p.label).chain(m.description().follows.iter().copied());
    ALL.into_iter().flat_map(all).find(|q| q.name == name)
}

/// What a model describes, which says what it is fitted to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// Relative viscosity against solid fraction and stress: all samples of one kind at once.
    Thickening,
    /// Relative viscosity against the solid fraction: the states of lowest and of highest stress.
    Packing,
    /// Viscosity in Pa s against the rate: each sample on its own.
    FlowCurve,
}

/// Where a viscosity is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Solid volume fraction φ.
    pub volume_fraction: f64,
    /// Stress, Pa.
    pub stress_pa: f64,
    /// Rate, 1/s; flow curves alone look at it.
    pub rate_per_s: f64,
}

impl Point {
    /// A solid fraction, for laws that look at nothing else.
    pub const fn at_fraction(volume_fraction: f64) -> Self {
        Self { volume_fraction, stress_pa: f64::NAN, rate_per_s: f64::NAN }
    }

    /// A solid fraction and a stress (Pa).
    pub const fn at_stress(volume_fraction: f64, stress_pa: f64) -> Self {
        Self { volume_fraction, stress_pa, rate_per_s: f64::NAN }
    }

    /// A rate (1/s), for flow curves.
    pub const fn at_rate(rate_per_s: f64) -> Self {
        Self { volume_fraction: f64::NAN, stress_pa: f64::NAN, rate_per_s }
    }
}

/// A quantity by its names: a parameter of a model, or what follows from its parameters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Label {
    /// Its name in tables; the same in every model that has it.
    pub name: &'static str,
    /// Its symbol in print; `_` stands before an index.
    pub symbol: &'static str,
    /// What it is, in words; empty where the symbol says it.
    pub meaning: &'static str,
    /// Its unit; empty where dimensionless.
    pub unit: &'static str,
}

impl Label {
    /// By name, symbol, meaning and unit.
    pub const fn new(name: &'static str, symbol: &'static str, meaning: &'static str, unit: &'static str) -> Self {
        Self { name, symbol, meaning, unit }
    }

    /// A parameter that is a place between two values, known by differences.
    const fn within(self, low: f64, high: f64) -> Parameter {
        Parameter { label: self, low, high, scale: false }
    }

    /// A parameter that is a scale between two values, known by ratios.
    const fn scale(self, low: f64, high: f64) -> Parameter {
        Parameter { label: self, low, high, scale: true }
    }
}

/// A parameter of a model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameter {
    /// Its names and unit.
    pub label: Label,
    /// Smallest value that makes sense.
    pub low: f64,
    /// Largest value that makes sense.
    pub high: f64,
    /// A scale, known by ratios and never ≤ 0, and not a place.
    pub scale: bool,
}

/// What is known of a model beside its mathematics: all that tables, methods text and page say of it.
#[derive(Debug, Clone, Copy)]
pub struct Description {
    /// Its name in tables and in the study file.
    pub name: &'static str,
    /// Its name in print, by its authors where it has any.
    pub title: &'static str,
    /// Its formula in the symbols of its parameters; `_` stands before an index, `^` before a power.
    pub formula: &'static str,
    /// Keys of its sources in `references`; empty where it is nobody's.
    pub sources: &'static [&'static str],
    /// What it describes.
    pub subject: Subject,
    /// Its parameters in the order in which `p` holds them.
    pub parameters: &'static [Parameter],
    /// What follows from them.
    pub follows: &'static [Label],
}

/// A model of the viscosity.
pub trait Model {
    /// What is known of it.
    fn description(&self) -> &'static Description;

    /// Its name in tables and in the study file.
    fn name(&self) -> &'static str {
        self.description().name
    }

    /// Its name in print.
    fn title(&self) -> &'static str {
        self.description().title
    }

    /// What it describes.
    fn subject(&self) -> Subject {
        self.description().subject
    }

    /// Its parameters in the order in which `p` holds them.
    fn parameters(&self) -> &'static [Parameter] {
        self.description().parameters
    }

    /// ln of the viscosity at parameters `p`: relative to the liquid, or in Pa s for flow curves; not finite where
    /// the model is jammed.
    fn ln_viscosity(&self, p: &[f64], point: Point) -> f64;

    /// Writes ∂ ln η/∂p into `out` and gives ∂ ln η/∂φ, 0 for flow curves.
    fn derivatives(&self, p: &[f64], point: Point, out: &mut [f64]) -> f64;

    /// d ln η by d ln of the abscissa: stress for thickening, rate for flow curves; 0 for laws against φ alone.
    fn slope(&self, _p: &[f64], _point: Point) -> f64 {
        0.0
    }

    /// Whether it passes from one level to another, so that data on one level tell it nothing.
    fn plateaus(&self) -> bool {
        false
    }

    /// Starting values from data (point, ln η), the most likely first; empty without data.
    fn starts(&self, data: &[(Point, f64)]) -> Vec<Vec<f64>>;
}

/// Level and slope of the line of ln η against ln γ̇ through all data; 0 slope where one rate is all there is.
fn line_of_logs(data: &[(Point, f64)]) -> (f64, f64) {
    use crate::numerics::{float, interval::mean};
    let x: Vec<f64> = data.iter().map(|(p, _)| float::ln(p.rate_per_s)).collect();
    let y: Vec<f64> = data.iter().map(|(_, ln)| *ln).collect();
    let (mx, my) = (mean(&x), mean(&y));
    let (mut xy, mut xx) = (0.0, 0.0);
    for (x, y) in x.iter().zip(&y) {
        xy += (x - mx) * (y - my);
        xx += (x - mx) * (x - mx);
    }
    let slope = if xx > 0.0 { xy / xx } else { 0.0 };
    (my - slope * mx, slope)
}

/// Least and largest of the data, and the geometric mean of the rates: where a flow curve turns, to begin with.
fn ends_of_curve(data: &[(Point, f64)]) -> (f64, f64, f64) {
    use crate::numerics::{float, interval::mean};
    let (low, high) = data.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), (_, y)| (a.min(*y), b.max(*y)));
    let rates: Vec<f64> = data.iter().map(|(p, _)| float::ln(p.rate_per_s)).collect();
    (float::exp(low), float::exp(high), float::exp(mean(&rates)))
}

/// Largest solid fraction of the data.
fn largest_fraction(data: &[(Point, f64)]) -> f64 {
    data.iter().map(|(p, _)| p.volume_fraction).fold(0.0, f64::max)
}

/// The packing at which (1 − φ/φ_max)⁻² is the η_r seen: a guess that never lies below the data.
fn packing_guess(data: &[(Point, f64)]) -> f64 {
    use crate::numerics::{float, interval::median};
    let of = |(point, ln): &(Point, f64)| point.volume_fraction / (1.0 - float::exp(-0.5 * ln.max(0.1)));
    median(&data.iter().map(of).collect::<Vec<f64>>()).max(1.02 * largest_fraction(data))
}

#[cfg(test)]
mod check {
    use super::{Model, Point};

    /// Central differences against the analytic derivatives; their own error is about 10⁻⁹ at this step.
    pub(super) fn derivatives(model: &dyn Model, p: &[f64], point: Point) {
        let mut analytic = vec![0.0; p.len()];
        let by_fraction = model.derivatives(p, point, &mut analytic);
        let value = |p: &[f64], point| model.ln_viscosity(p, point);
        for k in 0..p.len() {
            let step = 1e-6 * p[k].abs();
            let (mut above, mut below) = (p.to_vec(), p.to_vec());
            above[k] += step;
            below[k] -= step;
            let numeric = (value(&above, point) - value(&below, point)) / (2.0 * step);
            let name = model.parameters()[k].label.name;
            assert!((analytic[k] - numeric).abs() < 1e-6 * (1.0 + numeric.abs()), "{name}: {} {numeric}", analytic[k]);
        }
        let moved = |by: f64| Point { volume_fraction: point.volume_fraction + by, ..point };
        let numeric = (value(p, moved(1e-7)) - value(p, moved(-1e-7))) / 2e-7;
        assert!((by_fraction - numeric).abs() < 1e-6 * (1.0 + numeric.abs()), "phi: {by_fraction} {numeric}");
    }

    #[test]
    fn names_are_unique_and_limits_in_order() {
        let mut models: Vec<&str> = super::ALL.iter().map(|m| m.name()).collect();
        models.sort_unstable();
        models.dedup();
        assert_eq!(models.len(), super::ALL.len());
        for model in super::ALL {
            let mut names: Vec<&str> = model.parameters().iter().map(|p| p.label.name).collect();
            names.sort_unstable();
            names.dedup();
            assert_eq!(names.len(), model.parameters().len(), "{}", model.name());
            assert!(model.parameters().iter().all(|p| p.low < p.high && (!p.scale || p.low > 0.0)));
            let description = model.description();
            assert!(description.sources.iter().all(|key| crate::references::find(key).is_some()), "{}", model.name());
        }
    }

    /// What is printed of a quantity is found by its name alone, and its symbol stands in the formula.
    #[test]
    fn one_name_is_one_quantity() {
        for model in super::ALL {
            let description = model.description();
            for known in description.parameters.iter().map(|p| p.label).chain(description.follows.iter().copied()) {
                assert_eq!(super::label(known.name), Some(known), "{}", model.name());
            }
            for known in description.parameters.iter().map(|p| p.label) {
                assert!(!known.meaning.is_empty() && description.formula.contains(known.symbol), "{}", known.name);
            }
        }
    }

    /// The slope against numerical differentiation by the abscissa of the model.
    #[test]
    fn slopes_are_right() {
        for (model, p) in [
            (&super::wyart_cates::WyartCates as &dyn Model, vec![0.64, 0.56, 10.0, 0.9, 1.3, 2.1]),
            (&super::power_law::PowerLaw, vec![2.0, 0.7]),
            (&super::herschel_bulkley::HerschelBulkley, vec![3.0, 2.0, 0.7]),
            (&super::cross::Cross, vec![20.0, 1.5, 0.4, 0.8]),
            (&super::carreau::Carreau, vec![20.0, 1.5, 0.4, 0.3]),
        ] {
            let at = |by: f64| Point { volume_fraction: 0.5, stress_pa: 7.0 * by, rate_per_s: 3.0 * by };
            let value = |by: f64| model.ln_viscosity(&p, at(by));
            let step = 1e-6;
            let numeric = (value(1.0 + step) - value(1.0 - step)) / (2.0 * step);
            let got = model.slope(&p, at(1.0));
            assert!((got - numeric).abs() < 1e-8, "{}: {got} {numeric}", model.name());
        }
    }
}

//! What the stage remarks, with its numbers in SI, each list gravest first. Words are in `reports`, rules in `rules`.

use super::result::Scope;
use crate::physics::models::Subject;
use serde::{Deserialize, Serialize};

/// A remark on a fit as a whole or on one of its parameters.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Remark {
    /// Not fitted: no state has what the model is a function of.
    NoStates {
        /// What the model describes.
        subject: Subject,
    },
    /// Not fitted: no more states than free parameters.
    FewStates {
        /// Free parameters of the model.
        free_parameters: u32,
        /// States.
        states: u32,
    },
    /// Not fitted: the data lie outside what the model can give.
    OutsideModel,
    /// Not fitted: a robust loss follows no state any more.
    NoStateNear {
        /// Its scale, standard uncertainties.
        loss_scale: f64,
    },
    /// The minimiser stopped before its minimum.
    NotConverged,
    /// Not identified: so few solid fractions do not tell the amplitude from the jamming fractions, or leave no check.
    FewFractions {
        /// Their number.
        fractions: u32,
    },
    /// Not identified: no viscosity depends on the stress beyond its uncertainty.
    NoStressDependence {
        /// Smallest stress, Pa.
        low_pa: f64,
        /// Largest stress, Pa.
        high_pa: f64,
    },
    /// Not identified: the viscosity does not depend on the rate beyond its uncertainty.
    NoRateDependence,
    /// A state lies off what the others say.
    WildState {
        /// Its sample.
        sample: String,
        /// Its set-point.
        set_point: String,
        /// How far, in standard deviations.
        standard_deviations: f64,
        /// Whether the parameters depend on it, so that no value is given.
        decides: bool,
    },
    /// No value: the data miss the model.
    Misses {
        /// Root of the mean square, in standard uncertainties.
        standard_uncertainties: f64,
    },
    /// The sum of squares is larger than chance gives.
    Misfit {
        /// Generalised sum of squares.
        rss: f64,
        /// Its degrees of freedom.
        degrees_of_freedom: f64,
        /// What the uncertainties make of it.
        allowance: Allowance,
    },
    /// Not identified: the data do not tell the parameters apart.
    NotSeparated,
    /// Not identified: other parameters can take the place of this one.
    Replaceable,
    /// Not identified: the sum of squares hardly rises whatever the parameter is.
    Unbounded {
        /// The parameter.
        parameter: String,
    },
    /// Not identified: the data bound it on one side.
    OneSided {
        /// The parameter.
        parameter: String,
        /// The side on which there is a bound.
        side: Side,
        /// Bound at 95 %, in the unit of the parameter.
        bound: f64,
    },
    /// Not identified: the parameter sits on a bound of the model.
    OnBound {
        /// The parameter.
        parameter: String,
        /// The bound, in the unit of the parameter.
        bound: f64,
        /// On which side of the values the bound lies.
        side: Side,
        /// How far inside it may lie at 95 %; none where nothing bounds it there.
        reach: Option<f64>,
    },
    /// Not identified: the interval is too wide to mean anything.
    Wide {
        /// Lower end at 95 %, in the unit of the parameter.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// A jamming fraction that equal spheres cannot reach.
    DenserThanPacking,
    /// A jamming fraction below which spheres were never found to jam.
    LooserThanJamming,
    /// φ_m above φ_0: the viscosity falls as the stress rises, which the law does not mean.
    FallsWithStress,
    /// Another parameter of the fit sits on a bound.
    BoundElsewhere {
        /// That parameter.
        parameter: String,
        /// The bound, in its unit.
        bound: f64,
    },
    /// One loading per state: uncertainties are from the residuals alone.
    OneLoading,
    /// The loss is robust: no criterion weighs models.
    RobustLoss,
    /// How the hydrodynamic part follows the stress.
    HydrodynamicPart {
        /// The trend that its interval shows.
        trend: Trend,
        /// Relative change over the stresses measured, both ends at 95 %; none with one loading.
        change: Option<(f64, f64)>,
    },
    /// How the contact part follows the stress.
    ContactPart {
        /// The trend that its interval shows.
        trend: Trend,
    },
    /// How a sample thickens by the law.
    Thickens {
        /// The course of its flow curve.
        course: Course,
    },
    /// The settings hold it.
    Held,
    /// It follows from the parameters.
    Follows,
    /// Stresses of the states that were fitted.
    Stresses {
        /// States.
        states: u32,
        /// Smallest, Pa.
        low_pa: f64,
        /// Largest, Pa.
        high_pa: f64,
    },
}

/// What the uncertainties of a fit make of a misfit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Allowance {
    /// Nothing: no value is given.
    NoValue,
    /// They are widened by the root of the mean square (Birge 1932).
    Widened,
    /// The variance of the robust loss holds it.
    InTheLoss,
}

/// A side of a value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// Below.
    Below,
    /// Above.
    Above,
}

/// How a part of the viscosity follows the stress, as far as its 95 % interval shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Trend {
    /// One loading shows nothing.
    OneLoading,
    /// The interval does not decide.
    NotDecided,
    /// It falls.
    Falls,
    /// It rises.
    Rises,
    /// It stays flat.
    Flat,
}

/// How a sample thickens by the law, as far as 95 % intervals decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Course {
    /// Continuously or discontinuously: not decided.
    NotDecided,
    /// Discontinuously; it jams at high stress.
    Jams,
    /// Discontinuously; whether it jams is not decided.
    DiscontinuousMayJam,
    /// Discontinuously, without jamming.
    Discontinuous,
    /// Continuously.
    Continuous,
}

/// A measurement, or a word of the study file, that would give what has no value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Need {
    /// The liquid's viscosity and the solid fractions in the study file.
    LiquidAndFractions,
    /// Steady states of which stress and viscosity can be read.
    SteadyStates,
    /// Solid fractions of the same particles, from well below to near jamming.
    SpreadFractions {
        /// At least so many.
        fractions: u32,
    },
    /// Stresses above all that were measured, by a factor of ten at least.
    HigherStresses {
        /// Largest stress measured, Pa.
        above_pa: f64,
    },
    /// Stresses below which contacts are not yet frictional, for φ_0.
    BelowOnset {
        /// Smallest stress measured, Pa.
        below_pa: f64,
    },
    /// Stresses at which the viscosity rises no more, for φ_m and σ*.
    BeyondRise {
        /// Largest stress measured, Pa.
        above_pa: f64,
    },
    /// More stresses between the two ends of the rise, or a held β.
    WithinRise,
    /// A solid fraction nearer to jamming, or further away, or a held α.
    OtherFraction {
        /// φ of the densest sample over φ_0.
        densest: f64,
        /// Nearer to jamming.
        nearer: bool,
    },
    /// A wider range of rates.
    WiderRates,
    /// More rates.
    Rates {
        /// At least so many.
        rates: u32,
    },
    /// Solid fractions further apart and nearer to jamming.
    WiderFractions,
    /// More solid fractions.
    Fractions {
        /// At least so many.
        fractions: u32,
    },
}

/// A need and the fit that has it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NeedOfFit {
    /// What would help.
    pub need: Need,
    /// The model.
    pub model: String,
    /// What it is fitted to.
    pub scope: Scope,
}

/// What a fitted thickening law says of a state that calls for caution.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StateRemark {
    /// The law is jammed there: nothing should flow.
    Jammed,
    /// At a held rate the branch is unstable.
    Unstable,
    /// At a held rate it may lie on the unstable branch.
    MayBeUnstable,
}

/// One explanation of the contact shares.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Candidate {
    /// z = 0.
    NoContacts,
    /// z = c of the sample.
    ConstantShare,
    /// z = ln η − h of the sample: the hydrodynamic part is the same at every stress.
    ContactsCarryTheRise,
    /// z = c of the sample + b ln η, b common.
    BothPartsFollowTheStress,
}

/// What the weights of the candidate models mean.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Preference {
    /// There are too few states to weigh them.
    TooFewStates,
    /// None is preferred.
    NotDecided {
        /// Those that stay possible with their weights, the heaviest first.
        possible: Vec<(Candidate, f64)>,
        /// None of them describes the shares within their scatter.
        none_fits: bool,
    },
    /// One is preferred.
    Preferred {
        /// The preferred one.
        candidate: Candidate,
        /// The second.
        next: Candidate,
        /// Ratio of their weights.
        odds: f64,
        /// None of them describes the shares within their scatter.
        none_fits: bool,
    },
}

/// A remark of the stage as a whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum StudyRemark {
    /// The study file leaves fits out.
    LeftOut,
    /// What the contact shares prefer.
    ContactShares {
        /// Whose.
        scope: Scope,
        /// The weights' meaning.
        preference: Preference,
    },
    /// A state that calls for caution.
    State {
        /// Sample.
        sample: String,
        /// Set-point.
        set_point: String,
        /// Why.
        remark: StateRemark,
    },
    /// What would give the parameters that have no value.
    Needs {
        /// By fit, each once.
        needs: Vec<NeedOfFit>,
    },
}

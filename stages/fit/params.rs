//! Settings of the fit stage: which models, and which of their parameters are held.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Settings of fits, under `stages.fit` of the study file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// Fit nothing; the table keeps its head.
    pub skip: bool,
    /// The models to fit.
    pub models: Vec<Model>,
    /// Value at which the exponent alpha of Wyart and Cates is held; null frees it.
    #[schemars(range(min = 0.5, max = 5.0))]
    pub alpha: Option<f64>,
    /// Value at which the exponent beta of Wyart and Cates is held; null frees it.
    #[schemars(range(min = 0.1, max = 5.0))]
    pub beta: Option<f64>,
}

impl Default for Params {
    fn default() -> Self {
        Self {
            skip: false,
            models: vec![Model::WyartCates, Model::MaronPierce, Model::KriegerDougherty],
            // A few solid fractions hardly identify the amplitude and alpha together.
            alpha: Some(2.0),
            beta: None,
        }
    }
}

/// A model of the relative viscosity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Model {
    /// Thickening over all samples and stresses.
    WyartCates,
    /// Against the solid fraction, at the low and at the high end of the rise.
    MaronPierce,
    /// The same with a free exponent.
    KriegerDougherty,
}

impl Model {
    /// As it stands in the study file and in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::WyartCates => "wyart-cates",
            Self::MaronPierce => "maron-pierce",
            Self::KriegerDougherty => "krieger-dougherty",
        }
    }
}

//! Settings of the fit stage: which models, which of their parameters are held, and what is minimised.

use crate::physics::models::krieger_dougherty::KriegerDougherty;
use crate::physics::models::maron_pierce::MaronPierce;
use crate::physics::models::wyart_cates::WyartCates;
use crate::physics::models::{self, Model};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize};
use std::borrow::Cow;

/// Settings of fits, under `stages.fit` of the study file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// Fit nothing; the table keeps its head.
    pub skip: bool,
    /// The models to fit.
    pub models: Vec<ModelName>,
    /// Value at which the exponent alpha of Wyart and Cates is held; null frees it.
    #[schemars(range(min = 0.5, max = 5.0))]
    pub alpha: Option<f64>,
    /// Value at which the exponent beta of Wyart and Cates is held; null frees it.
    #[schemars(range(min = 0.1, max = 5.0))]
    pub beta: Option<f64>,
    /// What is minimised: squares, or a loss that a wild datum pulls less.
    pub loss: Loss,
    /// Standard uncertainties beyond which a robust loss pulls less than squares do.
    #[schemars(range(min = 0.1, max = 10.0))]
    pub loss_scale: f64,
}

impl Default for Params {
    fn default() -> Self {
        let models: [&dyn Model; 3] = [&WyartCates, &MaronPierce, &KriegerDougherty];
        Self {
            skip: false,
            models: models.map(ModelName::of_model).into(),
            // A few solid fractions hardly identify the amplitude and alpha together.
            alpha: Some(2.0),
            beta: None,
            loss: Loss::Squares,
            // Loses 5 % of the precision on normal errors with Huber's loss; common practice.
            loss_scale: 1.345,
        }
    }
}

/// Name of a model that there is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct ModelName(String);

impl ModelName {
    /// That of a model.
    pub fn of_model(model: &dyn Model) -> Self {
        Self(model.name().to_owned())
    }

    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl<'de> Deserialize<'de> for ModelName {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let name = String::deserialize(from)?;
        let known: Vec<&str> = models::ALL.iter().map(|m| m.name()).collect();
        if known.contains(&name.as_str()) {
            return Ok(Self(name));
        }
        Err(D::Error::custom(format!("no model `{name}`; there are {}", known.join(", "))))
    }
}

impl JsonSchema for ModelName {
    fn schema_name() -> Cow<'static, str> {
        "ModelName".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let names: Vec<&str> = models::ALL.iter().map(|m| m.name()).collect();
        json_schema!({ "description": "A model of the viscosity.", "type": "string", "enum": names })
    }
}

/// What is minimised, with r a residual over its standard uncertainty and c the scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Loss {
    /// r².
    Squares,
    /// 2c²(√(1 + r²/c²) − 1): smooth, and beyond c as Huber's.
    PseudoHuber,
    /// r² up to c, then 2c|r| − c² (Huber 1964).
    Huber,
}

impl Loss {
    /// As it stands in the study file and in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Squares => "squares",
            Self::PseudoHuber => "pseudo-huber",
            Self::Huber => "huber",
        }
    }
}

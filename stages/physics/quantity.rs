//! A value with its standard uncertainty, in SI. Parsing of what people write is in `units.rs`.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A value and its standard uncertainty, both in the coherent SI unit of the quantity.
///
/// As a setting it is one leaf: `[value, u]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(from = "[f64; 2]", into = "[f64; 2]")]
pub struct Quantity {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty, 0 where none was given.
    pub u: f64,
}

impl Quantity {
    /// A value without uncertainty.
    pub const fn exact(value: f64) -> Self {
        Self { value, u: 0.0 }
    }

    /// u / |value|; 0 where the value is 0.
    pub fn relative(self) -> f64 {
        if self.value == 0.0 { 0.0 } else { self.u / self.value.abs() }
    }
}

impl From<[f64; 2]> for Quantity {
    fn from([value, u]: [f64; 2]) -> Self {
        Self { value, u }
    }
}

impl From<Quantity> for [f64; 2] {
    fn from(q: Quantity) -> Self {
        [q.value, q.u]
    }
}

impl JsonSchema for Quantity {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Quantity".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "type": "string",
            "description": "A value with its unit and, where known, its standard uncertainty: `45.2(5) mPa.s`, `45.2 ± 0.5 mPa.s`, `45.2 mPa.s ± 1 %`",
            "pattern": "^\\s*[-+]?[0-9.].*$"
        })
    }
}

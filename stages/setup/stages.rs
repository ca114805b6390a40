//! The settings of all stages as one section, and variants of it. What each setting means is in the stage's `params.rs`.

use crate::{clean, fit, ingest, reversal, states, uncertainty};
use schemars::JsonSchema;
use serde::de::value::{MapAccessDeserializer, StringDeserializer};
use serde::de::{DeserializeSeed, IntoDeserializer, MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::Value;
use std::fmt;

/// Settings of the stages, in the order of the data.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Stages {
    /// Reading raw exports.
    pub ingest: ingest::params::Params,
    /// Flagging readings that must not count.
    pub clean: clean::params::Params,
    /// Finding and reading reversals, and joining them into states.
    pub reversal: Reversal,
    /// Fitting models.
    pub fit: fit::params::Params,
    /// Joining the uncertainty of instrument and sample.
    pub uncertainty: uncertainty::params::Params,
}

impl Stages {
    /// These settings with what a variant changes.
    ///
    /// # Errors
    /// If the result is no valid section: the message of serde.
    pub(super) fn varied(&self, changes: &Value) -> Result<Self, String> {
        let mut all = serde_json::to_value(self).map_err(|e| e.to_string())?;
        merge(&mut all, changes);
        serde_json::from_value(all).map_err(|e| e.to_string())
    }
}

/// Maps are merged key by key; anything else replaces what was there.
fn merge(into: &mut Value, changes: &Value) {
    match (into, changes) {
        (Value::Object(into), Value::Object(changes)) => {
            for (key, change) in changes {
                merge(into.entry(key.clone()).or_insert(Value::Null), change);
            }
        }
        // `true` leaves a rule that is on as it is; a variant that wants its defaults names them.
        (Value::Object(_), Value::Bool(true)) => {}
        (into, changes) => *into = changes.clone(),
    }
}

/// `stages.reversal`: the settings of reversals, and those of states under `states`. They are apart because
/// different tasks read them: a change in `states` must not build any reversal anew.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reversal {
    /// Settings of single reversals.
    pub reversal: reversal::params::Params,
    /// Settings of states.
    pub states: states::params::Params,
}

const STATES: &str = "states";

impl Serialize for Reversal {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut section = serde_json::to_value(&self.reversal).map_err(serde::ser::Error::custom)?;
        section[STATES] = serde_json::to_value(&self.states).map_err(serde::ser::Error::custom)?;
        section.serialize(serializer)
    }
}

/// Takes `states` out of the map and lets the settings of reversals read the rest, without a buffer, so that
/// errors keep their place (serde's `flatten` would lose it).
impl<'de> Deserialize<'de> for Reversal {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_map(SectionVisitor)
    }
}

struct SectionVisitor;

impl<'de> Visitor<'de> for SectionVisitor {
    type Value = Reversal;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the settings of reversals and states")
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Reversal, A::Error> {
        let mut states = None;
        let rest = WithoutStates { map, states: &mut states };
        let reversal = reversal::params::Params::deserialize(MapAccessDeserializer::new(rest))?;
        Ok(Reversal { reversal, states: states.unwrap_or_default() })
    }
}

struct WithoutStates<'a, A> {
    map: A,
    states: &'a mut Option<states::params::Params>,
}

impl<'de, A: MapAccess<'de>> MapAccess<'de> for WithoutStates<'_, A> {
    type Error = A::Error;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, A::Error> {
        while let Some(key) = self.map.next_key::<String>()? {
            if key != STATES {
                let key: StringDeserializer<A::Error> = key.into_deserializer();
                return seed.deserialize(key).map(Some);
            }
            *self.states = Some(self.map.next_value()?);
        }
        Ok(None)
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, A::Error> {
        self.map.next_value_seed(seed)
    }
}

impl JsonSchema for Reversal {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Reversal".into()
    }

    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        let mut states = generator.subschema_for::<states::params::Params>();
        states.insert("description".to_owned(), "How reversals are joined into states.".into());
        let mut section = reversal::params::Params::json_schema(generator);
        if let Some(Value::Object(properties)) = section.get_mut("properties") {
            properties.insert(STATES.to_owned(), states.into());
        }
        section
    }
}

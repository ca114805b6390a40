//! Pieces that the settings of several stages are made of.
//!
//! The settings of a stage are one struct in its `params.rs`. Its doc comments are the meaning that
//! `shearback settings` prints, `schemars` ranges are checked against the study file, `x-unit` is the unit,
//! and `Default` is the default: one place for each fact.

use schemars::JsonSchema;
use serde::de::value::MapAccessDeserializer;
use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use std::marker::PhantomData;

/// A rule that can be switched off: `false`, `true` for its defaults, or its settings.
#[derive(Debug, Clone, PartialEq)]
pub enum Rule<T> {
    /// Not applied.
    Off,
    /// Applied with these settings.
    On(T),
}

impl<T> Rule<T> {
    /// The settings where the rule is on.
    pub fn on(&self) -> Option<&T> {
        match self {
            Self::Off => None,
            Self::On(settings) => Some(settings),
        }
    }
}

impl<T: Default> Default for Rule<T> {
    fn default() -> Self {
        Self::On(T::default())
    }
}

impl<T: Serialize> Serialize for Rule<T> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Off => serializer.serialize_bool(false),
            Self::On(settings) => settings.serialize(serializer),
        }
    }
}

impl<'de, T: Deserialize<'de> + Default> Deserialize<'de> for Rule<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct RuleVisitor<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de> + Default> Visitor<'de> for RuleVisitor<T> {
            type Value = Rule<T>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "false, true, or the settings of the rule")
            }

            fn visit_bool<E>(self, on: bool) -> Result<Self::Value, E> {
                Ok(if on { Rule::default() } else { Rule::Off })
            }

            // Straight into the settings, without a buffer, so that errors keep their place.
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Self::Value, A::Error> {
                T::deserialize(MapAccessDeserializer::new(map)).map(Rule::On)
            }
        }
        deserializer.deserialize_any(RuleVisitor(PhantomData))
    }
}

impl<T: JsonSchema> JsonSchema for Rule<T> {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        format!("RuleOf{}", T::schema_name()).into()
    }

    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        let inner = generator.subschema_for::<T>();
        schemars::json_schema!({ "anyOf": [{ "type": "boolean" }, inner] })
    }
}

//! Where the name of a loading or of a repeat comes from, and the names that paths give. Those that a preamble
//! gives are looked up when the run is judged.

use crate::reversal::identity::Name;
use regex::Regex;
use schemars::JsonSchema;
use serde::de::{MapAccess, Visitor};
use serde::{Deserialize, Deserializer};
use std::fmt;

/// Where the name of a loading or of a repeat comes from: a fixed value, `{preamble: Key}` or `{path: pattern}`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Origin {
    /// The same for all files of the raw entry.
    Fixed(String),
    /// The entry of the export's preamble under this key.
    Preamble(String),
    /// The first group of this regular expression on the run's path, or all of its match where it has no group.
    Path(String),
}

impl Origin {
    /// Ready to name runs.
    ///
    /// # Errors
    /// If the pattern is no regular expression.
    pub(super) fn namer(&self) -> Result<Namer, String> {
        Ok(match self {
            Self::Fixed(name) => Namer::Same(Name::Fixed(name.clone())),
            Self::Preamble(key) => Namer::Same(Name::Preamble(key.clone())),
            Self::Path(pattern) => {
                Namer::Pattern(Regex::new(pattern).map_err(|_| format!("`{pattern}` is not a regular expression"))?)
            }
        })
    }
}

/// An [`Origin`] whose pattern is ready for many paths.
pub(super) enum Namer {
    Same(Name),
    Pattern(Regex),
}

impl Namer {
    /// The name of a run, as far as its path tells it.
    ///
    /// # Errors
    /// If the pattern finds nothing in the path.
    pub(super) fn name(&self, run: &str) -> Result<Name, String> {
        let pattern = match self {
            Self::Same(name) => return Ok(name.clone()),
            Self::Pattern(pattern) => pattern,
        };
        let found = pattern.captures(run).ok_or_else(|| format!("the pattern `{pattern}` does not match `{run}`"))?;
        match found.get(1).or_else(|| found.get(0)).map(|group| group.as_str()) {
            Some(name) if !name.is_empty() => Ok(Name::Fixed(name.to_owned())),
            _ => Err(format!("the pattern `{pattern}` finds nothing in `{run}`")),
        }
    }
}

impl<'de> Deserialize<'de> for Origin {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(OriginVisitor)
    }
}

struct OriginVisitor;

/// The keys of an origin that is not a fixed value.
#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
enum Key {
    Preamble,
    Path,
}

impl<'de> Visitor<'de> for OriginVisitor {
    type Value = Origin;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a value, `{{preamble: Key}}` or `{{path: pattern}}`")
    }

    fn visit_str<E>(self, value: &str) -> Result<Origin, E> {
        Ok(Origin::Fixed(value.to_owned()))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Origin, E> {
        Ok(Origin::Fixed(value.to_string()))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Origin, E> {
        Ok(Origin::Fixed(value.to_string()))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Origin, A::Error> {
        let missing = || serde::de::Error::custom("expected `{preamble: Key}` or `{path: pattern}`");
        let origin = match map.next_key::<Key>()?.ok_or_else(missing)? {
            Key::Preamble => Origin::Preamble(map.next_value()?),
            Key::Path => Origin::Path(map.next_value()?),
        };
        match map.next_key::<Key>()? {
            None => Ok(origin),
            Some(_) => Err(serde::de::Error::custom("either `preamble` or `path`, not both")),
        }
    }
}

impl JsonSchema for Origin {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Origin".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        let only = |key: &str, meaning: &str| {
            serde_json::json!({
                "type": "object", "additionalProperties": false, "required": [key],
                "properties": { key: { "type": "string", "description": meaning } }
            })
        };
        schemars::json_schema!({
            "anyOf": [
                { "type": ["string", "integer"], "description": "The same for all files." },
                only("preamble", "Key of the preamble that tells it."),
                only("path", "Regular expression on the path; its first group tells it."),
            ]
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn on(origin: Origin) -> Result<Name, String> {
        origin.namer()?.name("raw/S1/S1_L3.txt")
    }

    #[test]
    fn a_pattern_takes_its_first_group_or_its_match() {
        let pattern = |pattern: &str| on(Origin::Path(pattern.to_owned()));
        assert_eq!(pattern(r"_L(\d+)").unwrap(), Name::Fixed("3".to_owned()));
        assert_eq!(pattern(r"L\d+").unwrap(), Name::Fixed("L3".to_owned()));
        assert!(pattern(r"_R(\d+)").unwrap_err().contains("does not match `raw/S1/S1_L3.txt`"));
        assert!(pattern(r"_L(x?)").unwrap_err().contains("finds nothing"));
        assert!(pattern("(").unwrap_err().contains("not a regular expression"));
    }

    #[test]
    fn what_is_not_a_pattern_stays() {
        assert_eq!(on(Origin::Preamble("Loading".into())).unwrap(), Name::Preamble("Loading".into()));
        assert_eq!(on(Origin::Fixed("2".into())).unwrap(), Name::Fixed("2".into()));
    }
}

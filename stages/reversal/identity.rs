//! Who a run is: names from the study file, loading and repeat from there or from the export's preamble.

use super::remark::RunRemark;
use super::result::Identity;
use crate::ingest::result::Head;
use pipeline::diagnostic::{Diagnostic, Place};
use serde::{Deserialize, Serialize};

/// Where a name comes from. Patterns on the path are resolved when the plan is made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Name {
    /// Known from the study file or the path.
    Fixed(String),
    /// The entry of the export's preamble under this key.
    Preamble(String),
}

/// What the study file says about a run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rule {
    /// Path of the run.
    pub run: String,
    /// Sample.
    pub sample: String,
    /// Control run.
    pub control: bool,
    /// Solid volume fraction and its standard uncertainty; none for controls.
    pub volume_fraction: Option<(f64, f64)>,
    /// Geometry.
    pub geometry: String,
    /// Instrument.
    pub instrument: String,
    /// Loading; none: the export is a loading of its own, named by the run's path.
    pub loading: Option<Name>,
    /// Repeat, where it is told.
    pub repeat: Option<Name>,
    /// Keys of the preamble whose entries are told with the run.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub preamble: Vec<String>,
}

impl Rule {
    /// The identity of the run whose export has this head.
    ///
    /// # Errors
    /// If a name shall come from an entry that the preamble does not have, or that is empty.
    pub fn resolve(&self, head: &Head) -> Result<Identity, Diagnostic> {
        let name = |what: &str, name: &Name| self.found(what, name, head);
        Ok(Identity {
            run: self.run.clone(),
            blake3: head.blake3.clone(),
            sample: self.sample.clone(),
            control: self.control,
            volume_fraction: self.volume_fraction.map(|(phi, _)| phi),
            u_volume_fraction: self.volume_fraction.map(|(_, u)| u),
            geometry: self.geometry.clone(),
            instrument: self.instrument.clone(),
            loading: self.loading.as_ref().map_or_else(|| Ok(self.run.clone()), |n| name("loading", n))?,
            repeat: self.repeat.as_ref().map(|n| name("repeat", n)).transpose()?,
            started: head.started.clone(),
            rows: head.rows,
            preamble: self.preamble.iter().map(|key| (key.clone(), head.preamble.get(key).cloned())).collect(),
        })
    }

    /// A remark on each chosen entry that the export has not: its key may be mistyped.
    pub fn lacking(&self, head: &Head) -> Vec<RunRemark> {
        let lacking = self.preamble.iter().filter(|key| !head.preamble.contains_key(*key));
        lacking.map(|key| RunRemark::NoPreambleEntry { key: key.clone() }).collect()
    }

    fn found(&self, what: &str, name: &Name, head: &Head) -> Result<String, Diagnostic> {
        match name {
            Name::Fixed(name) => Ok(name.clone()),
            Name::Preamble(key) => head.preamble.get(key).filter(|v| !v.is_empty()).cloned().ok_or_else(|| {
                let keys: Vec<&str> = head.preamble.keys().map(String::as_str).collect();
                let has = if keys.is_empty() {
                    "it has no entries".to_owned()
                } else {
                    format!("it has {}", keys.join(", "))
                };
                Diagnostic::new(format!("the preamble has no entry `{key}` for the {what}; {has}"))
                    .at(Place::file(&self.run))
                    .help(format!("correct `{what}` of this raw entry, or give it as a value or a pattern on the path"))
            }),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn rule(loading: Option<Name>) -> Rule {
        Rule {
            run: "raw/A/L1.txt".into(),
            sample: "A".into(),
            control: false,
            volume_fraction: Some((0.5, 0.004)),
            geometry: "cone".into(),
            instrument: "bench".into(),
            loading,
            repeat: None,
            preamble: vec!["Operator".into(), "Loading".into()],
        }
    }

    fn head() -> Head {
        Head {
            preamble: [("Loading".to_owned(), "3".to_owned())].into(),
            rows: 7,
            blake3: "ab".into(),
            ..Head::default()
        }
    }

    #[test]
    fn a_loading_is_fixed_told_by_the_preamble_or_the_export_itself() {
        let loading = |name| rule(name).resolve(&head()).unwrap().loading;
        assert_eq!(loading(Some(Name::Fixed("2".into()))), "2");
        assert_eq!(loading(Some(Name::Preamble("Loading".into()))), "3");
        assert_eq!(loading(None), "raw/A/L1.txt");
        let identity = rule(None).resolve(&head()).unwrap();
        assert_eq!(identity.rows, 7);
        let told = [("Loading".to_owned(), Some("3".to_owned())), ("Operator".to_owned(), None)];
        assert_eq!(identity.preamble, told.into());
        assert_eq!(rule(None).lacking(&head()), [RunRemark::NoPreambleEntry { key: "Operator".into() }]);
    }

    #[test]
    fn a_missing_entry_is_named_with_those_there_are() {
        let problem = rule(Some(Name::Preamble("Filling".into()))).resolve(&head()).unwrap_err();
        assert_eq!(problem.message, "the preamble has no entry `Filling` for the loading; it has Loading");
        assert_eq!(problem.place.map(|place| place.file).as_deref(), Some("raw/A/L1.txt"));
        assert!(problem.help.is_some());
    }
}

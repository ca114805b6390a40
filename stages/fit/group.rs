//! Which samples one law can hold for: the same particles in the same liquid. Nothing else.

use super::result::{Scope, Selection};
use crate::physics::materials::Sample;
use crate::states::result::State;
use std::collections::BTreeMap;

/// Samples that one law can hold for.
pub(super) struct Group {
    /// The particles, with the liquid where that is needed; none where all samples are one group.
    pub name: Option<String>,
    /// Their names.
    pub samples: Vec<String>,
}

impl Group {
    pub(super) fn holds(&self, state: &State) -> bool {
        self.samples.contains(&state.sample)
    }

    /// These states of it.
    pub(super) fn scope(&self, states: Selection) -> Scope {
        Scope { states, group: self.name.clone() }
    }
}

/// The groups of a study, by name; controls belong to none.
pub(super) fn groups(samples: &[Sample]) -> Vec<Group> {
    let mut found: BTreeMap<(&str, &str), Vec<String>> = BTreeMap::new();
    for sample in samples.iter().filter(|s| !s.control) {
        let particles = sample.particles.as_ref().map_or("", |p| p.name.as_str());
        found.entry((particles, &sample.liquid.name)).or_default().push(sample.name.clone());
    }
    let alone = found.len() < 2;
    let one_liquid = found.keys().all(|(_, liquid)| found.keys().all(|(_, other)| liquid == other));
    let name = |particles: &str, liquid: &str| match (alone, one_liquid) {
        (true, _) => None,
        (_, true) => Some(particles.to_owned()),
        (_, false) => Some(format!("{particles} in {liquid}")),
    };
    found.iter().map(|((p, l), samples)| Group { name: name(p, l), samples: samples.clone() }).collect()
}

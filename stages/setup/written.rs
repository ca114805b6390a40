//! The leaves of the study file under every name that a setting of a task can have.
//!
//! Tasks see what was meant, the file says what was written: a geometry's radius is `geometries.cone.radius` in
//! the file and `geometries.cone.shape.cone-plate.radius` among the settings of a task. Both names lead to the
//! same words and line.

use crate::setup::document::Document;
use crate::setup::source::Source;
use pipeline::stage::Written;
use std::collections::BTreeMap;

/// All leaves by both names.
pub(super) fn written(document: &Document, source: &Source) -> BTreeMap<String, Written> {
    let mut written = Names(source.leaves().clone());
    for (name, geometry) in &document.geometries {
        let path = format!("geometries.{name}");
        written.below(&path, &format!("{path}.shape.{}", geometry.kind.name()));
    }
    for (name, sample) in &document.samples {
        let path = format!("samples.{name}");
        written.below(&format!("liquids.{}", sample.liquid), &format!("{path}.liquid"));
        written.same(&format!("{path}.liquid"), &format!("{path}.liquid.name"));
        if let Some(particles) = &sample.particles {
            written.below(&format!("particles.{particles}"), &format!("{path}.particles"));
            written.same(&format!("{path}.particles"), &format!("{path}.particles.name"));
        }
        written.masses(&path);
    }
    for name in document.variants.keys() {
        written.below("stages", &format!("variants.{name}"));
    }
    written.0
}

struct Names(BTreeMap<String, Written>);

impl Names {
    /// What is written at `from` is also called `to`, unless something is written there.
    fn same(&mut self, from: &str, to: &str) {
        if let Some(found) = self.0.get(from).cloned() {
            self.0.entry(to.to_owned()).or_insert(found);
        }
    }

    /// The same for all that is below `from`.
    fn below(&mut self, from: &str, to: &str) {
        let prefix = format!("{from}.");
        let inside = self.0.range(prefix.clone()..).take_while(|(path, _)| path.starts_with(&prefix));
        let paths: Vec<String> = inside.map(|(path, _)| path.clone()).collect();
        for path in paths {
            self.same(&path, &format!("{to}.{}", &path[prefix.len()..]));
        }
    }

    /// A solid fraction from masses is written as those.
    fn masses(&mut self, path: &str) {
        let get = |key: &str| self.0.get(&format!("{path}.{key}")).cloned();
        if let (Some(solid), Some(liquid)) = (get("particle_mass"), get("liquid_mass")) {
            let text = format!("{} of particles, {} of liquid", solid.text, liquid.text);
            self.0.entry(format!("{path}.volume_fraction")).or_insert(Written { text, ..solid });
        }
    }
}

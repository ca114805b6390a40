//! Sources of uncertainty as they are printed: their kinds, and a source in words. The tables keep the plain names.

use stages::uncertainty::result::UncertaintySource;

/// Kinds of sources in the order in which they are shown.
pub const KINDS: [&str; 7] = [
    "scatter of the data",
    "shared by all reversals of a state",
    "instrument",
    "geometry",
    "liquid",
    "particles and solid fraction",
    "other",
];

/// The kind of a source, as a place in [`KINDS`].
pub fn kind(source: &UncertaintySource) -> usize {
    match source {
        UncertaintySource::ScatterBetweenLoadings | UncertaintySource::ScatterWithinLoading => 0,
        UncertaintySource::SharedByReversals => 1,
        // A place in the study file begins with the section that declares it.
        UncertaintySource::Term { place } => match place.split_once('.').map(|(section, _)| section) {
            Some("instruments") => 2,
            Some("geometries") => 3,
            Some("liquids") => 4,
            Some("samples" | "particles") => 5,
            _ => KINDS.len() - 1,
        },
    }
}

/// As it stands in the tables.
pub fn name(source: &UncertaintySource) -> String {
    match source {
        UncertaintySource::Term { place } => place.clone(),
        UncertaintySource::ScatterBetweenLoadings => "scatter between loadings".to_owned(),
        UncertaintySource::ScatterWithinLoading => "scatter within the loading".to_owned(),
        UncertaintySource::SharedByReversals => "shared by all reversals".to_owned(),
    }
}

/// As it is printed: `instruments.NAME.torque_calibration` as `torque calibration of NAME`.
pub fn words(source: &UncertaintySource) -> String {
    let name = name(source);
    let parts = name.split_once('.').and_then(|(_, rest)| rest.rsplit_once('.'));
    parts.map_or_else(|| name.clone(), |(of, what)| format!("{} of {of}", what.replace('_', " ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_source_is_told_in_words_and_a_name_keeps_its_stops() {
        let term = |place: &str| UncertaintySource::Term { place: place.to_owned() };
        assert_eq!(words(&term("instruments.hall.torque_calibration")), "torque calibration of hall");
        assert_eq!(words(&term("liquids.oil 1.5.viscosity")), "viscosity of oil 1.5");
        assert_eq!(words(&UncertaintySource::ScatterBetweenLoadings), "scatter between loadings");
        assert_eq!(KINDS[kind(&term("samples.A.volume_fraction"))], "particles and solid fraction");
    }
}

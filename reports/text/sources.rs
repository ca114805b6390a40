//! Sources of uncertainty as they are printed: their kinds, and a source in words. The tables keep the plain names.

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
pub fn kind(source: &str) -> usize {
    let begins = [
        ("scatter", 0),
        ("shared", 1),
        ("instruments.", 2),
        ("geometries.", 3),
        ("liquids.", 4),
        ("samples.", 5),
        ("particles.", 5),
    ];
    begins.iter().find(|(start, _)| source.starts_with(start)).map_or(KINDS.len() - 1, |(_, kind)| *kind)
}

/// `instruments.NAME.torque_calibration` as `torque calibration of NAME`; other words as they are.
pub fn words(source: &str) -> String {
    let parts = source.split_once('.').and_then(|(_, rest)| rest.rsplit_once('.'));
    parts.map_or_else(|| source.to_owned(), |(name, what)| format!("{} of {name}", what.replace('_', " ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_source_is_told_in_words_and_a_name_keeps_its_stops() {
        assert_eq!(words("instruments.hall.torque_calibration"), "torque calibration of hall");
        assert_eq!(words("liquids.oil 1.5.viscosity"), "viscosity of oil 1.5");
        assert_eq!(words("scatter between loadings"), "scatter between loadings");
        assert_eq!(KINDS[kind("samples.A.volume_fraction")], "particles and solid fraction");
    }
}

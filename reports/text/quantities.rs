//! Columns of the published tables as quantities in words, with their units; the tables keep the plain names.

/// Ends of column names that say a unit, longer ones first, with the unit as it is printed and what stands for it behind
/// a solidus.
const UNITS: [(&str, &str, &str); 8] = [
    ("_rad_per_s", "rad/s", "(rad/s)"),
    ("_per_s", "1/s", "s⁻¹"),
    ("_pa_s", "Pa s", "(Pa s)"),
    ("_n_m", "N m", "(N m)"),
    ("_pa", "Pa", "Pa"),
    ("_n", "N", "N"),
    ("_c", "°C", "°C"),
    ("_s", "s", "s"),
];

/// The quantity without its unit, and the unit where the name has one.
fn parted(column: &str) -> (String, Option<(&'static str, &'static str)>) {
    let found = UNITS.iter().find_map(|(end, unit, below)| Some((column.strip_suffix(end)?, (*unit, *below))));
    let (name, unit) = found.map_or((column, None), |(name, unit)| (name, Some(unit)));
    let name = if name == "contact_share_of_rise" { "contact_share_of_the_rise" } else { name };
    (name.replace('_', " "), unit)
}

/// `viscosity in Pa s`.
pub fn in_words(column: &str) -> String {
    let (name, unit) = parted(column);
    unit.map_or_else(|| name.clone(), |(unit, _)| format!("{name} in {unit}"))
}

/// `viscosity / (Pa s)`, as heads of tables and axes have it (ISO 80000-1, 6.3).
pub fn label(column: &str) -> String {
    let (name, unit) = parted(column);
    unit.map_or_else(|| name.clone(), |(_, below)| format!("{name} / {below}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_column_name_is_printed_as_it_is() {
        assert_eq!(in_words("contact_share"), "contact share");
        assert_eq!(in_words("contact_share_of_rise"), "contact share of the rise");
        assert_eq!(label("viscosity_pa_s"), "viscosity / (Pa s)");
        assert_eq!(label("rate_per_s"), "rate / s⁻¹");
        assert_eq!(in_words("stress_pa"), "stress in Pa");
        let tables = crate::tables::published::published().into_iter().filter(|table| table.claimable());
        let names = tables.flat_map(|table| table.columns).map(|column| column.name);
        for name in names {
            assert!(!label(name).contains('_') && !in_words(name).contains('_'), "{name}");
        }
    }
}

//! Quantities of the study file at their place: kind, and the range that nature sets.

use crate::physics::liquids::TEMPERATURES;
use crate::physics::quantity::Quantity;
use crate::physics::units::Dimension;
use crate::setup::source::Problems;

/// Which values are possible.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Range {
    /// Above 0.
    Positive,
    /// Not below 0.
    NotNegative,
    /// Between 0 and the limit, both excluded; the limit in SI and in words.
    Below(f64, &'static str),
    /// A temperature at which the formulas of aqueous liquids hold.
    Liquid,
}

/// Reads what stands at `path`, if something does.
pub(super) fn read(
    problems: &mut Problems<'_>,
    path: &str,
    text: Option<&String>,
    dimension: Dimension,
    range: Range,
) -> Option<Quantity> {
    let text = text?;
    let quantity = problems.keep(path, Quantity::parse(text, dimension))?;
    let broken = match range {
        Range::Positive if quantity.value <= 0.0 => "must be above 0".to_owned(),
        Range::NotNegative if quantity.value < 0.0 => "must not be below 0".to_owned(),
        Range::Below(limit, words) if quantity.value <= 0.0 || quantity.value >= limit => {
            format!("must lie between 0 and {words}")
        }
        Range::Liquid if !(TEMPERATURES[0]..=TEMPERATURES[1]).contains(&quantity.value) => {
            "must lie between 0 °C and 40 °C, where the formulas hold".to_owned()
        }
        _ => return Some(quantity),
    };
    let name = path.rsplit('.').next().unwrap_or(path).replace('_', " ");
    problems.add(path, format!("{name} is {text}: it {broken}"), None);
    None
}

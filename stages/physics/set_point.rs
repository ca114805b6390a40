//! When two printed set-points are one. How set-points are found is the business of the stages.

/// Set-points within this ratio are one set-point, as everywhere in a study.
pub const SAME_RATIO: f64 = 1.05;

/// `99.8 Pa` is `100 Pa`: the same unit, and numbers within the ratio.
pub fn same(text: &str, wanted: &str) -> bool {
    ratio(text, wanted).is_some_and(|ratio| ratio <= SAME_RATIO)
}

/// The larger of two printed set-points over the smaller; none where their units differ, or one is no set-point.
pub fn ratio(text: &str, wanted: &str) -> Option<f64> {
    let split = |s: &str| {
        let (number, unit) = s.trim().split_once(' ')?;
        Some((number.parse::<f64>().ok()?, unit.trim().to_owned()))
    };
    let ((a, unit_a), (b, unit_b)) = (split(text)?, split(wanted)?);
    (unit_a == unit_b && a > 0.0 && b > 0.0).then(|| a.max(b) / a.min(b))
}

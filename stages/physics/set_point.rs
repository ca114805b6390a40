//! When two printed set-points are one. How set-points are found is the business of the stages.

/// Set-points within this ratio are one set-point, as everywhere in a study.
const RATIO: f64 = 1.05;

/// `99.8 Pa` is `100 Pa`: the same unit, and numbers within the ratio.
pub fn same(text: &str, wanted: &str) -> bool {
    let split = |s: &str| {
        let (number, unit) = s.trim().split_once(' ')?;
        Some((number.parse::<f64>().ok()?, unit.trim().to_owned()))
    };
    let (Some((a, unit_a)), Some((b, unit_b))) = (split(text), split(wanted)) else { return false };
    unit_a == unit_b && a > 0.0 && b > 0.0 && a.max(b) / a.min(b) <= RATIO
}

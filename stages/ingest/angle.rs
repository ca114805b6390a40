//! Undoing an angle that starts anew after each turn.

use std::f64::consts::PI;

/// Adds the whole turns that were dropped, and says how often the angle started anew.
///
/// It does so only where the export cannot mean anything else: all angles lie within one turn, and a jump of more
/// than ¾ turn stands after motion of less than ¼ turn per reading (empirical: nothing turns round that fast).
pub(super) fn unwrap(angles: &mut [f64]) -> u32 {
    let finite = || angles.iter().copied().filter(|a| a.is_finite());
    let range = finite().fold(f64::NEG_INFINITY, f64::max) - finite().fold(f64::INFINITY, f64::min);
    // A thousandth of a turn for rounding in the export.
    if range.is_nan() || range > 2.0 * PI * 1.001 {
        return 0;
    }
    let (mut turns, mut wraps) = (0.0, 0);
    let (mut last, mut motion) = (f64::NAN, 0.0);
    for angle in angles.iter_mut().filter(|a| a.is_finite()) {
        let step = *angle - last;
        let jumped = step.abs() > 1.5 * PI && f64::abs(motion) < 0.5 * PI;
        let dropped = if jumped { -step.signum() } else { 0.0 };
        wraps += u32::from(jumped);
        turns += dropped;
        motion = if step.is_finite() { step + 2.0 * PI * dropped } else { 0.0 };
        last = *angle;
        *angle += 2.0 * PI * turns;
    }
    wraps
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrapped_motion_comes_back_with_its_reversal() {
        let true_angle = |i: i32| 0.3 * f64::from(if i < 60 { i } else { 120 - i });
        let mut angles: Vec<f64> = (0..120).map(|i| true_angle(i).rem_euclid(2.0 * PI)).collect();
        assert_eq!(unwrap(&mut angles), 4);
        for (i, angle) in angles.iter().enumerate() {
            // Whole turns are added in floating point: a few units in the last place of 18 rad.
            assert!((angle - true_angle(i as i32)).abs() < 1e-13);
        }
    }

    #[test]
    fn long_strides_and_small_swings_are_left_alone() {
        let mut strides: Vec<f64> = (0..9).map(|i| 5.0 * f64::from(i)).collect();
        let before = strides.clone();
        assert_eq!(unwrap(&mut strides), 0);
        assert_eq!(strides, before);
        let mut swing = vec![-3.0, -1.0, 1.0, 3.0, f64::NAN, 1.0, -1.0, -3.0];
        assert_eq!(unwrap(&mut swing), 0);
    }
}

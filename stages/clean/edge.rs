//! The free edge of the sample: a fall of the torque for good, and the stress that the surface can hold.

use super::median;
use super::params::EdgeFracture;
use super::segments::Segment;
use crate::physics::validity;

/// Readings from an irreversible fall on: |torque| falls from its highest level behind the first strain and stays
/// down to the leg's end, while the speed is the same within 5 %.
///
/// An irreversible fall of torque is what a fractured or expelled rim leaves (R. I. Tanner & M. Keentok, J. Rheol.
/// 27, 47 (1983), for the fracture; the limit on the fall is empirical).
pub(super) fn fracture(torque: &[f64], speed: &[f64], segment: &Segment, settings: &EdgeFracture) -> Vec<usize> {
    let late = segment.readings.iter().zip(&segment.path).filter(|(_, path)| **path > settings.transient_strain);
    let late: Vec<usize> = late.map(|(at, _)| *at).collect();
    let levels: Vec<f64> = late.windows(5).filter_map(|w| median(w.iter().map(|at| torque[*at].abs()))).collect();
    let Some(highest) = (0..levels.len()).max_by(|a, b| levels[*a].total_cmp(&levels[*b])) else { return Vec::new() };
    let limit = (1.0 - settings.fall) * levels[highest];
    let Some(from) = levels.iter().rposition(|level| *level >= limit).map(|last| last + 1) else { return Vec::new() };
    let same_speed = late.last().is_some_and(|end| (speed[*end] / speed[late[highest + 2]] - 1.0).abs() < 0.05);
    // Ten readings, so that no noise at the very end is taken for a fall.
    if !same_speed || levels.len() < from + 10 {
        return Vec::new();
    }
    late[from + 2..].to_vec()
}

/// Shear stress, Pa, at which the edge of this gap gives way; none where surface tension is not known.
///
/// For N₂ = −Aσ the edge is unstable from 4πΓ/(Ah) on (E. J. Hemingway & S. M. Fielding, J. Rheol. 63, 735 (2019)).
pub(super) fn stress_limit(gap: f64, settings: &EdgeFracture) -> Option<f64> {
    settings.surface_tension.map(|tension| validity::edge_stress(tension, settings.normal_stress_ratio, gap))
}

/// Shear stress, Pa, from which a dent of half the gap may open (R. I. Tanner & M. Keentok, J. Rheol. 27, 47 (1983)):
/// the older and lower limit, which is remarked only.
pub(super) fn older_limit(gap: f64, settings: &EdgeFracture) -> Option<f64> {
    let normal = |tension| validity::edge_second_normal_stress(tension, 0.5 * gap);
    settings.surface_tension.map(|tension| normal(tension) / settings.normal_stress_ratio)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A leg that gains `per` strain with each reading.
    fn segment(n: usize, per: f64) -> Segment {
        Segment { readings: (0..n).collect(), path: (0..n).map(|i| per * i as f64).collect() }
    }

    /// Noise of about 1 % that repeats after many readings.
    fn noisy(at: usize) -> f64 {
        1.0 + 0.01 * ((at * 7919 % 101) as f64 / 50.0 - 1.0)
    }

    #[test]
    fn a_fall_that_lasts_is_a_fracture_and_one_that_comes_back_is_none() {
        let speed = [1.0; 200];
        let settings = EdgeFracture::default();
        let mut torque: Vec<f64> = (0..200).map(|i| if i < 120 { noisy(i) } else { 0.5 * noisy(i) }).collect();
        assert_eq!(fracture(&torque, &speed, &segment(200, 0.05), &settings), (120..200).collect::<Vec<_>>());
        torque[180..].iter_mut().for_each(|m| *m *= 2.0);
        assert_eq!(fracture(&torque, &speed, &segment(200, 0.05), &settings), Vec::<usize>::new());
    }

    #[test]
    fn a_fall_with_the_speed_is_no_fracture() {
        let speed: Vec<f64> = (0..200).map(|i| if i < 120 { 1.0 } else { 0.5 }).collect();
        assert_eq!(fracture(&speed, &speed, &segment(200, 0.05), &EdgeFracture::default()), Vec::<usize>::new());
    }

    #[test]
    fn both_limits_of_the_edge_as_worked() {
        // Γ = 0.05 N/m, h = 1 mm, A = 0.36: 1745.33 Pa by the later one; 66.667 Pa / 0.36 by the older.
        let settings = EdgeFracture { surface_tension: Some(0.05), ..EdgeFracture::default() };
        assert!((stress_limit(1e-3, &settings).unwrap_or(0.0) - 1_745.329_252).abs() < 1e-6);
        assert!((older_limit(1e-3, &settings).unwrap_or(0.0) - 185.185_185).abs() < 1e-6);
        assert_eq!(stress_limit(1e-3, &EdgeFracture::default()), None);
    }
}

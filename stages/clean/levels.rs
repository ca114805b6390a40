//! The steady level of each step: what torque and speed it settles to, which rules over whole steps look at.

use super::median;

/// A step and what it settles to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Level {
    /// Step.
    pub(super) step: i64,
    /// Which of the stretches its usable readings are.
    pub(super) stretch: usize,
    /// Median |torque| on the sample over the later half of its way, N m.
    pub(super) torque: f64,
    /// Median |speed| there, rad/s.
    pub(super) speed: f64,
}

/// The readings over the later half of a step's way: by strain, or by number where it does not move.
///
/// A stretch and never single readings: dropping those below a floor truncates the noise, and what is left is too
/// large (R. H. Ewoldt, M. T. Johnston & L. M. Caretta, in Complex Fluids in Biological Systems, Springer 2015).
fn late<'a>(strain: &[f64], stretch: &'a [usize]) -> impl Iterator<Item = usize> + 'a {
    let mut way = 0.0;
    let mut ways = vec![0.0];
    for pair in stretch.windows(2) {
        way += (strain[pair[1]] - strain[pair[0]]).abs();
        ways.push(way);
    }
    let half = stretch.len() / 2;
    let counts = move |place: usize| if way > 0.0 { ways[place] >= 0.5 * way } else { place >= half };
    stretch.iter().enumerate().filter(move |(place, _)| counts(*place)).map(|(_, at)| *at)
}

/// The level of every step that has usable torque and motion.
pub(super) fn levels(
    step: &[i64],
    torque: &[f64],
    speed: &[f64],
    strain: &[f64],
    stretches: &[Vec<usize>],
) -> Vec<Level> {
    let level = |(at, stretch): (usize, &Vec<usize>)| {
        let middle = |of: &[f64]| median(late(strain, stretch).map(|at| of[at].abs()).filter(|v| v.is_finite()));
        Some(Level { step: step[*stretch.first()?], stretch: at, torque: middle(torque)?, speed: middle(speed)? })
    };
    stretches.iter().enumerate().filter_map(level).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn torque_of(torque: &[f64], strain: &[f64]) -> f64 {
        let n = torque.len();
        levels(&vec![1; n], torque, &vec![0.5; n], strain, &[(0..n).collect()])[0].torque
    }

    #[test]
    fn the_steady_torque_is_a_median_over_the_later_half_of_the_strain() {
        assert_eq!(torque_of(&[9.0, 9.0, -1.0, 2.0, -3.0], &[0.0, 1.0, 2.0, 3.0, 4.0]), 2.0);
        assert_eq!(torque_of(&[9.0, 9.0, 1.0, 3.0], &[0.0; 4]), 2.0);
    }

    #[test]
    fn a_step_without_torque_has_no_level() {
        assert_eq!(levels(&[1, 1], &[f64::NAN; 2], &[1.0; 2], &[0.0, 1.0], &[vec![0, 1], vec![]]), []);
    }
}

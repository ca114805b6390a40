//! Legs and ramps: where the motion keeps its sense, and where the drive is still changing its speed.

use super::recipe::{LEAST_STRAIN, NOISE_OF_SPEED, REACHED, SETTLED};

/// How far the position must come back for a turning point, in strain (empirical: well above the noise of angles,
/// well below the strain of any leg that can be read).
const TURNED: f64 = 0.01;

/// Readings of one step under one sense of motion, in order.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Segment {
    pub(super) readings: Vec<usize>,
    /// Strain since its beginning, for each reading.
    pub(super) path: Vec<f64>,
}

/// Readings over which the drive changes the speed, and the speed that it goes to.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ramp {
    pub(super) readings: Vec<usize>,
    pub(super) target: f64,
}

/// The legs of one step, split behind each turning point of the strain position. One at a time: together they are as
/// long as the readings.
pub(super) fn segments<'a>(strain: &'a [f64], stretch: &'a [usize]) -> impl Iterator<Item = Segment> + 'a {
    let turns = turning_points(strain, stretch);
    let begins = [0].into_iter().chain(turns.clone().into_iter().map(|t| t + 1));
    let ends = turns.into_iter().map(|t| t + 1).chain([stretch.len()]);
    begins.zip(ends).filter(|(begin, end)| begin < end).map(|(begin, end)| segment(strain, &stretch[begin..end]))
}

fn segment(strain: &[f64], readings: &[usize]) -> Segment {
    let path = readings.iter().map(|at| (strain[*at] - strain[readings[0]]).abs()).collect();
    Segment { readings: readings.to_vec(), path }
}

/// Places in the stretch of extremes from which the position came back.
fn turning_points(strain: &[f64], stretch: &[usize]) -> Vec<usize> {
    let mut turns = Vec::new();
    let Some(first) = stretch.first() else { return turns };
    let (mut low, mut high) = ((strain[*first], 0), (strain[*first], 0));
    let mut sense = 0.0;
    for (place, at) in stretch.iter().enumerate() {
        let now = strain[*at];
        low = if now < low.0 { (now, place) } else { low };
        high = if now > high.0 { (now, place) } else { high };
        if sense >= 0.0 && high.0 - now > TURNED {
            turns.extend((sense > 0.0).then_some(high.1));
            (sense, low) = (-1.0, (now, place));
        } else if sense <= 0.0 && now - low.0 > TURNED {
            turns.extend((sense < 0.0).then_some(low.1));
            (sense, high) = (1.0, (now, place));
        }
    }
    turns
}

/// The ramps of one step from its legs; a speed without uncertainty is exact.
pub(super) fn ramps(segments: impl Iterator<Item = Segment>, speed: &[f64], u_speed: &[f64]) -> Vec<Ramp> {
    let mut found = Vec::new();
    let mut waiting: Vec<usize> = Vec::new();
    for segment in segments {
        let reached = segment.path.last().is_some_and(|path| *path >= LEAST_STRAIN);
        let Some(target) = target(&segment, speed).filter(|_| reached) else {
            waiting.extend(&segment.readings);
            continue;
        };
        let noise = |at: &usize| NOISE_OF_SPEED * u_speed.get(*at).copied().unwrap_or(0.0);
        let there = |at: &usize| (speed[*at] - target).abs() <= (REACHED * target.abs()).max(noise(at));
        let from = segment.readings.iter().position(there).unwrap_or(segment.readings.len());
        let to = segment.readings.iter().rposition(there).map_or(from, |last| last + 1);
        let mut readings = std::mem::take(&mut waiting);
        readings.extend(&segment.readings[..from]);
        found.push(Ramp { readings, target });
        // What slows down at the end of a leg turns round with the next.
        waiting.extend(&segment.readings[to..]);
    }
    found.retain(|ramp| !ramp.readings.is_empty());
    found
}

/// Median speed over strain 0.3–1, else over the second half of the leg.
fn target(segment: &Segment, speed: &[f64]) -> Option<f64> {
    let within = |from: f64, to: f64| -> Vec<f64> {
        let held = segment.readings.iter().zip(&segment.path).filter(|(_, path)| (from..=to).contains(*path));
        held.map(|(at, _)| speed[*at]).filter(|v| v.is_finite()).collect()
    };
    let half = 0.5 * segment.path.last().copied()?;
    super::median(within(LEAST_STRAIN, SETTLED)).or_else(|| super::median(within(half, f64::INFINITY)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Strain and speed of a drive that turns round over `ramp` readings of 0.01 s at speed ±1.
    fn reversal(ramp: usize) -> (Vec<f64>, Vec<f64>) {
        let speed: Vec<f64> = (0..400)
            .map(|i| if i < 200 { 1.0 } else { (1.0 - 2.0 * (i - 199) as f64 / (ramp + 1) as f64).max(-1.0) })
            .collect();
        let mut strain = vec![0.0];
        for pair in speed.windows(2) {
            strain.push(strain[strain.len() - 1] + 0.005 * (pair[0] + pair[1]));
        }
        (strain, speed)
    }

    #[test]
    fn a_leg_ends_at_the_turning_point() {
        let (strain, _) = reversal(9);
        let found: Vec<Segment> = segments(&strain, &(0..400).collect::<Vec<_>>()).collect();
        assert_eq!(found.len(), 2);
        // Speed is 0 in the middle of the ramp, five readings in.
        assert_eq!(found[1].readings[0], 205);
        assert_eq!(found[1].path[0], 0.0);
    }

    #[test]
    fn a_ramp_within_a_step_holds_both_sides_of_its_turn() {
        let (strain, speed) = reversal(9);
        let found = ramps(segments(&strain, &(0..400).collect::<Vec<_>>()), &speed, &[]);
        assert_eq!(found, [Ramp { readings: (200..209).collect(), target: -1.0 }]);
    }

    #[test]
    fn a_ramp_at_the_beginning_of_a_step_holds_its_short_first_leg() {
        let (strain, speed) = reversal(9);
        let found = ramps(segments(&strain, &(200..400).collect::<Vec<_>>()), &speed, &[]);
        assert_eq!(found, [Ramp { readings: (200..209).collect(), target: -1.0 }]);
    }

    #[test]
    fn rest_and_its_noise_have_neither_turns_nor_ramps() {
        let strain: Vec<f64> = (0..50).map(|i| 1e-3 * f64::from(i * 7 % 5)).collect();
        let found: Vec<Segment> = segments(&strain, &(0..50).collect::<Vec<_>>()).collect();
        assert_eq!(found.len(), 1);
        assert_eq!(ramps(found.into_iter(), &[0.0; 50], &[0.0; 50]), []);
    }
}

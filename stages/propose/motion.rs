//! Reversals and what was held in an export, as far as its own columns tell without a geometry: a first look, for the
//! design table of a proposal. What counts is found by the stages.

use crate::ingest::result::Readings;

/// What was held between two reversals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Held {
    /// Its unit.
    pub(super) unit: &'static str,
    /// Its magnitude.
    pub(super) value: f64,
}

/// A stretch of one sense.
struct Stretch {
    motion: f64,
    load: f64,
    /// Scatter over the last half of it, relative.
    motion_scatter: f64,
    load_scatter: f64,
}

/// A stretch needs so many readings to say what was held in it.
const FEWEST: usize = 5;

/// What was held before each reversal, in the order of the run: the motion or the load, whichever is steadier over
/// the run.
pub(super) fn reversals(readings: &Readings) -> Vec<Held> {
    let Some((motion, motion_unit)) = motion(readings) else { return Vec::new() };
    let Some((load, load_unit)) = load(readings) else { return Vec::new() };
    let stretches = stretches(readings, &motion, load);
    let scatter = |of: fn(&Stretch) -> f64| median(stretches.iter().map(of).collect());
    let by_motion = scatter(|s| s.motion_scatter) <= scatter(|s| s.load_scatter);
    stretches
        .windows(2)
        .filter(|pair| pair[0].motion * pair[1].motion < 0.0)
        .map(|pair| match by_motion {
            true => Held { unit: motion_unit, value: pair[0].motion.abs() },
            false => Held { unit: load_unit, value: pair[0].load.abs() },
        })
        .collect()
}

/// Signed motion by reading: as exported, else from positions.
fn motion(readings: &Readings) -> Option<(Vec<f64>, &'static str)> {
    let signed = |values: &&Vec<f64>| values.iter().any(|v| *v < 0.0) && values.iter().any(|v| *v > 0.0);
    let slopes = |positions: &Vec<f64>| {
        let t = &readings.time_s;
        let slope = |i: usize| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(t.len() - 1));
            (positions[b] - positions[a]) / (t[b] - t[a])
        };
        (0..t.len()).map(slope).collect::<Vec<f64>>()
    };
    let of = |values: &Option<Vec<f64>>| values.as_ref().filter(signed).cloned();
    of(&readings.rate_per_s)
        .map(|v| (v, "1/s"))
        .or_else(|| of(&readings.speed_rad_per_s).map(|v| (v, "rad/s")))
        .or_else(|| readings.angle_rad.as_ref().map(|v| (slopes(v), "rad/s")))
        .or_else(|| readings.strain.as_ref().map(|v| (slopes(v), "1/s")))
}

fn load(readings: &Readings) -> Option<(&[f64], &'static str)> {
    let stress = readings.stress_pa.as_deref().map(|v| (v, "Pa"));
    stress.or_else(|| readings.torque_n_m.as_deref().map(|v| (v, "N.m")))
}

/// By steps where there are several, else by the sense of the motion.
fn stretches(readings: &Readings, motion: &[f64], load: &[f64]) -> Vec<Stretch> {
    let stepped = readings.step.first() != readings.step.last();
    let senses: Vec<bool> = motion.windows(3).map(|w| median(w.to_vec()) > 0.0).collect();
    let sense = |i: usize| senses.get(i.saturating_sub(1).min(senses.len().saturating_sub(1))).copied();
    let parts = |i: usize| match stepped {
        true => readings.step[i] != readings.step[i - 1],
        false => sense(i) != sense(i - 1),
    };
    let mut starts = vec![0];
    starts.extend((1..readings.len()).filter(|i| parts(*i)));
    starts.push(readings.len());
    starts.windows(2).filter(|w| w[1] - w[0] >= FEWEST).map(|w| stretch(w[0]..w[1], motion, load)).collect()
}

fn stretch(rows: std::ops::Range<usize>, motion: &[f64], load: &[f64]) -> Stretch {
    let late = rows.start + rows.len() / 2..rows.end;
    let level = |values: &[f64]| median(values[late.clone()].iter().copied().filter(|v| v.is_finite()).collect());
    let scatter = |values: &[f64], level: f64| {
        median(values[late.clone()].iter().map(|v| (v / level - 1.0).abs()).filter(|v| v.is_finite()).collect())
    };
    let (m, l) = (level(motion), level(load));
    Stretch { motion: m, load: l, motion_scatter: scatter(motion, m), load_scatter: scatter(load, l) }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Five turns of the sense at two speeds.
    fn run(stepped: bool) -> Readings {
        let mut readings = Readings::default();
        let (mut time, mut angle, mut angles, mut torque) = (0.0, 0.0, Vec::new(), Vec::new());
        for (step, speed) in [0.1, -0.1, 0.1, -2.0, 2.0, -2.0].into_iter().enumerate() {
            for i in 0..20 {
                time += 0.1;
                angle += 0.1 * speed;
                readings.row.push(readings.row.len() as u32 + 1);
                readings.step.push(if stepped { step as i64 } else { 1 });
                readings.time_s.push(time);
                angles.push(angle);
                torque.push(speed * (1.0 - 0.5 / f64::from(1 + i)));
            }
        }
        Readings { angle_rad: Some(angles), torque_n_m: Some(torque), ..readings }
    }

    #[test]
    fn reversals_and_what_was_held_are_seen() {
        for stepped in [true, false] {
            let held = reversals(&run(stepped));
            let speeds: Vec<f64> = held.iter().map(|held| (held.value * 100.0).round() / 100.0).collect();
            assert_eq!(speeds, [0.1, 0.1, 0.1, 2.0, 2.0], "{stepped}");
            assert!(held.iter().all(|held| held.unit == "rad/s"));
        }
    }

    #[test]
    fn a_run_without_motion_has_no_reversals() {
        assert_eq!(reversals(&Readings::default()), []);
    }
}

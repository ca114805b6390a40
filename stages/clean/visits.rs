//! Visits of one set-point at different times: whether the sample is still what it was. Evaporation, settling and
//! migration change it, and what was measured later is then another sample.

use super::median;
use super::params::Drifting;
use super::segments::Segment;
use crate::numerics::float::ln;

/// Parts that a leg's later half is cut into; the scatter of their means holds what correlation the noise has (batch
/// means; common practice).
const PARTS: usize = 8;
/// Fewest readings in the later half of a leg, so that each part has some.
const FEWEST: usize = 24;
/// Least strain of a leg whose later half counts as steady (as for the recovery after a reversal, where the liquid's
/// own dip is over).
const LEAST_STRAIN: f64 = 2.0;
/// How much less the held quantity must move over a leg than the other one, to be told from it (empirical).
const CLEARER: f64 = 2.0;

/// Stress and rate of a run, and which readings may be used.
#[derive(Debug, Clone, Copy)]
pub(super) struct Flow<'a> {
    /// |torque| stands for stress and |speed| for rate: the geometry's constants cancel in every comparison.
    pub(super) torque: &'a [f64],
    /// Speed, rad/s.
    pub(super) speed: &'a [f64],
    /// Whether a reading is kept so far.
    pub(super) kept: &'a [bool],
}

/// What was held, with its value.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Held {
    Rate(f64),
    Stress(f64),
}

impl Held {
    fn same(self, other: Self, within: f64) -> bool {
        let near = |a: f64, b: f64| (a / b - 1.0).abs() <= within;
        match (self, other) {
            (Self::Rate(a), Self::Rate(b)) | (Self::Stress(a), Self::Stress(b)) => near(a, b),
            _ => false,
        }
    }
}

/// A stretch of neighbouring legs at one set-point.
#[derive(Debug, Clone, PartialEq)]
struct Visit {
    held: Held,
    /// Position of its first and last leg.
    segments: (usize, usize),
    /// ln of torque over speed at the end of its last leg, with its standard uncertainty.
    level: (f64, f64),
}

/// A later visit that differs from the first.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Drift {
    /// First and last leg of the later visit.
    pub(super) segments: (usize, usize),
    /// Last leg of the first visit.
    pub(super) first: usize,
    /// ln of the later viscosity over the first.
    pub(super) change: f64,
    /// Its standard uncertainty.
    pub(super) u: f64,
}

/// Later visits whose viscosity differs from that of the first visit by more than its uncertainty and what is
/// remarked. Where it is not clear what was held, nothing is compared: at one rate, a stress-controlled run may pass
/// through states of very different stress.
pub(super) fn drifts(segments: impl Iterator<Item = Segment>, flow: Flow<'_>, settings: &Drifting) -> Vec<Drift> {
    let visits = visits(segments, flow, settings.same);
    let mut found = Vec::new();
    for (at, visit) in visits.iter().enumerate() {
        let Some(first) = visits[..at].iter().find(|v| v.held.same(visit.held, settings.same)) else { continue };
        let change = visit.level.0 - first.level.0;
        let u = (visit.level.1 * visit.level.1 + first.level.1 * first.level.1).sqrt();
        if change.abs() > settings.uncertainties * u && change.abs() > settings.remarked {
            found.push(Drift { segments: visit.segments, first: first.segments.1, change, u });
        }
    }
    found
}

/// Neighbouring legs of one set-point are one visit, and its last leg speaks for it.
fn visits(segments: impl Iterator<Item = Segment>, flow: Flow<'_>, same: f64) -> Vec<Visit> {
    let mut found: Vec<Visit> = Vec::new();
    for (at, segment) in segments.enumerate() {
        let Some((held, level)) = held(&segment, flow).zip(level(&segment, flow)) else { continue };
        match found.last_mut().filter(|v| v.held.same(held, same)) {
            Some(visit) => (visit.segments.1, visit.level) = (at, level),
            None => found.push(Visit { held, segments: (at, at), level }),
        }
    }
    found
}

/// Kept readings of a leg from a strain on.
fn from(segment: &Segment, flow: Flow<'_>, strain: f64) -> Vec<usize> {
    let late = segment.readings.iter().zip(&segment.path).filter(|(_, path)| **path >= strain);
    let usable = |at: &usize| flow.kept[*at] && flow.torque[*at] != 0.0 && flow.speed[*at] != 0.0;
    late.map(|(at, _)| *at).filter(usable).collect()
}

/// Which of stress and rate moved clearly less over the leg, beginning included: after a change the sample's own
/// transient moves the other one.
fn held(segment: &Segment, flow: Flow<'_>) -> Option<Held> {
    let readings = from(segment, flow, 0.05);
    let parts: Vec<&[usize]> = readings.chunks((readings.len() / PARTS).max(1)).collect();
    let means = |of: &[f64]| -> Vec<f64> {
        parts.iter().filter_map(|part| median(part.iter().map(|at| of[*at].abs()))).collect()
    };
    let (torques, speeds) = (means(flow.torque), means(flow.speed));
    let spread = |of: &[f64]| {
        let (low, high) = of.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), v| (l.min(*v), h.max(*v)));
        high / low - 1.0
    };
    let (stress, rate) = (spread(&torques), spread(&speeds));
    if CLEARER * rate < stress {
        return median(speeds).map(Held::Rate);
    }
    if CLEARER * stress < rate { median(torques).map(Held::Stress) } else { None }
}

/// ln(torque/speed) over the later half of a leg with its standard uncertainty from the means of parts.
fn level(segment: &Segment, flow: Flow<'_>) -> Option<(f64, f64)> {
    let strain = segment.path.last().copied().filter(|strain| *strain >= LEAST_STRAIN)?;
    let readings = from(segment, flow, 0.5 * strain);
    if readings.len() < FEWEST {
        return None;
    }
    let value = |at: &usize| ln((flow.torque[*at] / flow.speed[*at]).abs());
    let size = readings.len() / PARTS;
    let means: Vec<f64> =
        readings.chunks_exact(size).take(PARTS).map(|part| part.iter().map(value).sum::<f64>() / size as f64).collect();
    let n = means.len() as f64;
    let mean = means.iter().sum::<f64>() / n;
    let squares: f64 = means.iter().map(|m| (m - mean) * (m - mean)).sum();
    Some((mean, (squares / (n * (n - 1.0))).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numerics::float::exp;

    /// Legs of strain 5 in 200 readings each at these rates; the torque follows viscosity and a transient of the
    /// sample, and holds noise of 1 %.
    fn run(segments: &[(f64, f64)]) -> (Vec<Segment>, Vec<f64>, Vec<f64>) {
        let (mut found, mut torque, mut speed) = (Vec::new(), Vec::new(), Vec::new());
        for (number, (rate, viscosity)) in segments.iter().enumerate() {
            let path: Vec<f64> = (0..200).map(|i| 0.025 * f64::from(i)).collect();
            for (i, strain) in path.iter().enumerate() {
                let noise = 1.0 + 0.01 * (((i + 31 * number) * 7919 % 101) as f64 / 50.0 - 1.0);
                torque.push(rate * viscosity * noise * (1.0 - 0.4 * exp(-strain / 0.4)));
                speed.push(*rate);
            }
            found.push(Segment { readings: (200 * number..200 * (number + 1)).collect(), path });
        }
        (found, torque, speed)
    }

    fn drifts_of(segments: &[(f64, f64)]) -> Vec<Drift> {
        let (segments, torque, speed) = run(segments);
        let kept = vec![true; torque.len()];
        drifts(segments.into_iter(), Flow { torque: &torque, speed: &speed, kept: &kept }, &Drifting::default())
    }

    #[test]
    fn a_sample_that_dried_between_two_visits_is_found() {
        let found = drifts_of(&[(1.0, 10.0), (-1.0, 10.0), (3.0, 20.0), (-3.0, 20.0), (1.0, 12.0), (-1.0, 12.0)]);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].first, found[0].segments), (1, (4, 5)));
        // ln 1.2, by hand.
        assert!((found[0].change - 0.1823).abs() < 0.01 && found[0].u < 0.01, "{found:?}");
    }

    #[test]
    fn a_sample_that_stayed_and_visits_in_a_row_are_none() {
        assert_eq!(drifts_of(&[(1.0, 10.0), (3.0, 20.0), (1.0, 10.0)]), []);
        // Without another set-point between it is one visit, whose steadiness others judge.
        assert_eq!(drifts_of(&[(1.0, 10.0), (-1.0, 12.0)]), []);
    }

    #[test]
    fn one_rate_at_two_held_stresses_is_no_second_visit() {
        let (segments, torque, speed) = run(&[(1.0, 10.0), (1.0, 2.0), (1.0, 30.0)]);
        let kept = vec![true; torque.len()];
        // Stress held: speed carries noise and transient, torque stays.
        let (held, moving): (Vec<f64>, Vec<f64>) =
            torque.iter().enumerate().map(|(i, m)| ([10.0, 2.0, 30.0][i / 200], 10.0 / m)).unzip();
        let flow = Flow { torque: &held, speed: &moving, kept: &kept };
        assert_eq!(drifts(segments.iter().cloned(), flow, &Drifting::default()), []);
        let flow = Flow { torque: &held, speed: &speed, kept: &kept };
        assert_eq!(drifts(segments.iter().cloned(), flow, &Drifting::default()), []);
    }
}

//! Finds reversals in the motion alone: where the strain position turns back between two stretches of motion.
//! It knows no torque, no set-point and no step.
//!
//! # Zero of strain
//! The turning point of the *position* itself; a smoothed speed straddles it and moves it. Three readings around
//! the extremum give a parabola, exact while the drive turns at a constant rate; where they are further apart than
//! the ramp lasts, the straight lines before and after cross at the turn. Where only a speed was recorded, the
//! sign change is interpolated linearly, which fits a position by trapezoids on both sides. Where the sample came
//! to rest and left later, zero is the leaving.

use super::params::Find;
use super::trace::{Trace, median};
use std::ops::Range;

/// A change of sense.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Turn {
    /// First reading after the turning point, in the new sense.
    pub(super) first_after: usize,
    /// First reading that does not belong to the motion before any more.
    pub(super) end_before: usize,
    /// Time of the turning point, s.
    pub(super) time: f64,
    /// Strain position of the turning point.
    pub(super) place: f64,
    /// Standard uncertainty of that position.
    pub(super) u_place: f64,
    /// +1 where the motion before was positive.
    pub(super) sense_before: f64,
    /// Whether the sample stood still in between.
    pub(super) rested: bool,
}

impl Turn {
    /// Strain since the turning point, in the new sense.
    pub(super) fn strain(&self, trace: &Trace, i: usize) -> f64 {
        self.sense_before * (self.place - trace.strain[i])
    }
}

/// All reversals of a run in order.
///
/// `speed_only`: the position was integrated from a recorded speed or rate.
pub(super) fn turns(trace: &Trace, settings: &Find, speed_only: bool) -> Vec<Turn> {
    let corners = segments(trace, settings);
    let inner = corners.len().saturating_sub(2);
    (1..=inner)
        .filter_map(|k| turn(trace, settings, [corners[k - 1], corners[k], corners[k + 1]], speed_only))
        .collect()
}

/// Stops after which the motion went on in the old sense, each told as a turn: strain counts from the leaving.
pub(super) fn stops(trace: &Trace, settings: &Find) -> Vec<Turn> {
    let corners = segments(trace, settings);
    corners.windows(2).flat_map(|w| stops_within(trace, w[0]..w[1] + 1, settings)).collect()
}

/// Three or more readings in a row at rest, without a creep that covers strain, and with motion on both sides.
fn stops_within(trace: &Trace, segment: Range<usize>, settings: &Find) -> Vec<Turn> {
    let Some(level) = side_speed(trace, segment.start, segment.clone()) else { return Vec::new() };
    let still: Vec<usize> = segment.clone().filter(|i| trace.rate[*i].abs() < settings.rest * level).collect();
    let apart = |a: usize, b: usize| (trace.strain[a] - trace.strain[b]).abs();
    let stop = |group: &[usize]| {
        let (first, last) = (group[0], group[group.len() - 1]);
        let moved = apart(segment.start, first).min(apart(last, segment.end - 1));
        (group.len() >= 3 && apart(first, last) < settings.strain && moved >= settings.strain)
            .then_some(first..last + 1)
    };
    let groups = still.chunk_by(|a, b| a + 1 == *b);
    groups.filter_map(stop).filter_map(|still| leaving_turn(trace, &still, &segment)).collect()
}

fn leaving_turn(trace: &Trace, still: &Range<usize>, segment: &Range<usize>) -> Option<Turn> {
    let (time, place) = leaving(trace, still);
    let sense_before = if trace.strain[segment.end - 1] > trace.strain[segment.start] { -1.0 } else { 1.0 };
    let mut found =
        Turn { first_after: 0, end_before: still.start, time, place, u_place: 0.0, sense_before, rested: true };
    found.first_after = (still.end..segment.end).find(|i| found.strain(trace, *i) > 0.0)?;
    Some(found)
}

/// Readings at which the legs of the motion meet, with the first and last reading of all.
fn segments(trace: &Trace, settings: &Find) -> Vec<usize> {
    let mut corners = extremes(&trace.strain, settings.strain);
    while let Some(k) = too_short(trace, settings, &corners) {
        // A leg that is no motion goes with both its corners, so that its neighbours become one leg again;
        // at either end of the run only its outer corner moves.
        if k == 0 {
            corners.remove(1);
        } else if k + 2 == corners.len() {
            corners.remove(k);
        } else {
            corners.drain(k..=k + 1);
        }
    }
    corners
}

/// The first leg with too few readings, or that creeps: its mean speed is below `rest` times its neighbours'.
fn too_short(trace: &Trace, settings: &Find, corners: &[usize]) -> Option<usize> {
    if corners.len() < 3 {
        return None;
    }
    let speed = |k: usize| {
        let (a, b) = (corners[k], corners[k + 1]);
        (trace.strain[b] - trace.strain[a]).abs() / (trace.time[b] - trace.time[a])
    };
    (0..corners.len() - 1).find(|&k| {
        let secondary = [k.checked_sub(1), Some(k + 1).filter(|n| n + 1 < corners.len())];
        let slowest = secondary.into_iter().flatten().map(speed).fold(f64::INFINITY, f64::min);
        ((corners[k + 1] - corners[k]) as u32) < settings.readings || speed(k) < settings.rest * slowest
    })
}

/// First reading, every extreme from which the position turns back by at least `least`, and last reading.
fn extremes(position: &[f64], least: f64) -> Vec<usize> {
    let mut corners = vec![0];
    let (mut low, mut high) = (0, 0);
    let mut sense = 0.0;
    for i in 1..position.len() {
        if position[i] < position[low] {
            low = i;
        }
        if position[i] > position[high] {
            high = i;
        }
        if sense >= 0.0 && position[high] - position[i] >= least && (sense > 0.0 || high > 0) {
            corners.push(high);
            (sense, low) = (-1.0, i);
        } else if sense <= 0.0 && position[i] - position[low] >= least && (sense < 0.0 || low > 0) {
            corners.push(low);
            (sense, high) = (1.0, i);
        } else if sense == 0.0 && (position[i] - position[0]).abs() >= least {
            sense = if position[i] > position[0] { 1.0 } else { -1.0 };
        }
    }
    if position.len() > 1 {
        corners.push(position.len() - 1);
    }
    corners
}

/// Median speed of a leg over strain 1 beside a corner; the ramp itself is a small part of that.
fn side_speed(trace: &Trace, corner: usize, segment: Range<usize>) -> Option<f64> {
    let near = segment.filter(|i| (trace.strain[*i] - trace.strain[corner]).abs() <= 1.0 && *i != corner);
    let speeds: Vec<f64> = near.map(|i| trace.rate[i].abs()).collect();
    let moving = 0.1 * speeds.iter().copied().fold(0.0, f64::max);
    median(speeds.into_iter().filter(|s| *s > moving).collect())
}

fn turn(trace: &Trace, settings: &Find, [start, corner, end]: [usize; 3], speed_only: bool) -> Option<Turn> {
    let before = side_speed(trace, corner, start..corner)?;
    let after = side_speed(trace, corner, corner + 1..end + 1)?;
    let sense_before = if trace.strain[corner] > trace.strain[start] { 1.0 } else { -1.0 };
    let still = rest(trace, corner, start..end + 1, settings.rest * before.min(after));
    let (time, place) = match &still {
        Some(still) => leaving(trace, still),
        None if speed_only => sign_change(trace, corner, start..end + 1)?,
        None => vertex(trace, corner, before, after),
    };
    let mut found = Turn {
        first_after: 0,
        end_before: still.as_ref().map_or(corner, |s| s.start),
        time,
        place,
        u_place: 0.0,
        sense_before,
        rested: still.is_some(),
    };
    let from = still.map_or(corner, |s| s.end - 1);
    found.first_after = (from..=end).find(|i| trace.time[*i] > time && found.strain(trace, *i) > 0.0)?;
    let interval = trace.time[found.first_after] - trace.time[found.first_after - 1];
    // A turn somewhere between two readings: uniform over the interval (JCGM 100, 4.3.7).
    found.u_place = after * interval.min(trace.time[end] - time) / 12.0_f64.sqrt();
    Some(found)
}

/// Three or more readings around the corner that all stand still, longer than a drive takes to pass through zero: at
/// constant acceleration a fifth of the time below five times the speed is spent below the speed itself.
fn rest(trace: &Trace, corner: usize, within: Range<usize>, slow: f64) -> Option<Range<usize>> {
    let near = [corner, corner + 1, corner.saturating_sub(1)];
    let seed = near.into_iter().find(|i| within.contains(i) && trace.rate[*i].abs() < slow)?;
    let below = |speed: f64| {
        let still = |i: &usize| trace.rate[*i].abs() < speed;
        let start = (within.start..=seed).rev().take_while(still).last().unwrap_or(seed);
        let end = (seed..within.end).take_while(still).last().unwrap_or(seed) + 1;
        start..end
    };
    let lapse = |r: &Range<usize>| trace.time[r.end - 1] - trace.time[r.start];
    let (still, passing) = (below(slow), below(5.0 * slow));
    (still.len() >= 3 && lapse(&still) > 0.5 * lapse(&passing)).then_some(still)
}

/// Time and place of leaving: the last of the readings at rest, place as the median of the last three.
fn leaving(trace: &Trace, still: &Range<usize>) -> (f64, f64) {
    let last = still.end - 1;
    let place = median(trace.strain[still.end - 3..still.end].to_vec()).unwrap_or(trace.strain[last]);
    (trace.time[last], place)
}

/// Linear interpolation of the sign change of the rate nearest to the corner.
fn sign_change(trace: &Trace, corner: usize, within: Range<usize>) -> Option<(f64, f64)> {
    let changes = (within.start..within.end.saturating_sub(1)).filter(|i| {
        let (a, b) = (trace.rate[*i], trace.rate[i + 1]);
        a != 0.0 && a * b <= 0.0
    });
    let i = changes.min_by_key(|i| i.abs_diff(corner))?;
    let (a, b) = (trace.rate[i].abs(), trace.rate[i + 1].abs());
    let lapse = (trace.time[i + 1] - trace.time[i]) * a / (a + b);
    Some((trace.time[i] + lapse, trace.strain[i] + 0.5 * trace.rate[i] * lapse))
}

/// Vertex of the parabola through three readings, or crossing of the lines where they span more than the ramp.
fn vertex(trace: &Trace, corner: usize, before: f64, after: f64) -> (f64, f64) {
    let (t, x) = (&trace.time, &trace.strain);
    let at_corner = (t[corner], x[corner]);
    if corner == 0 || corner + 1 >= trace.len() {
        return at_corner;
    }
    let (t0, t1, t2) = (t[corner - 1], t[corner], t[corner + 1]);
    let slope = |a: usize, b: usize| (x[b] - x[a]) / (t[b] - t[a]);
    let (left, right) = (slope(corner - 1, corner), slope(corner, corner + 1));
    let acceleration = 2.0 * (right - left) / (t2 - t0);
    if acceleration == 0.0 {
        return at_corner;
    }
    let ramp = (before + after) / acceleration.abs();
    let (time, place) = if t2 - t0 <= ramp {
        // Newton's form of the parabola: speed at t1 is the chords' mean, weighted by the other interval.
        let speed = (left * (t2 - t1) + right * (t1 - t0)) / (t2 - t0);
        (t1 - speed / acceleration, x[corner] - 0.5 * speed * speed / acceleration)
    } else {
        crossing(trace, corner).unwrap_or(at_corner)
    };
    // Further off than the neighbours the three readings say nothing.
    if (t0..=t2).contains(&time) { (time, place) } else { at_corner }
}

/// Crossing of the straight lines through the two readings before and the two after the corner.
fn crossing(trace: &Trace, corner: usize) -> Option<(f64, f64)> {
    if corner < 2 || corner + 2 >= trace.len() {
        return None;
    }
    let (t, x) = (&trace.time, &trace.strain);
    let (a, b) = (corner - 1, corner + 1);
    let before = (x[a] - x[a - 1]) / (t[a] - t[a - 1]);
    let after = (x[b + 1] - x[b]) / (t[b + 1] - t[b]);
    let time = (x[b] - x[a] + before * t[a] - after * t[b]) / (before - after);
    time.is_finite().then(|| (time, x[a] + before * (time - t[a])))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;
    use crate::reversal::trace::Measured;

    /// A motion made of (duration, speed) with ramps of constant acceleration, read every `interval`.
    fn motion(parts: &[(f64, f64)], ramp: f64, interval: f64) -> Trace {
        let fine = ramp / 400.0;
        let mut trace = Trace::default();
        let (mut now, mut place, mut speed, mut next) = (0.0, 0.0, parts[0].1, 0.0);
        for (duration, target) in parts {
            let (start, from) = (now, speed);
            while now < start + duration {
                if now >= next - 1e-12 {
                    let at = trace.origin.len();
                    trace.origin.push(at);
                    trace.time.push(now);
                    trace.strain.push(place);
                    trace.rate.push(speed);
                    next += interval;
                }
                let after = from + (target - from) * ((now + fine - start) / ramp).min(1.0);
                place += 0.5 * (speed + after) * fine;
                speed = after;
                now += fine;
            }
        }
        let n = trace.time.len();
        trace.step = vec![1; n];
        (trace.torque, trace.inertia, trace.stress) = (vec![1.0; n], vec![0.0; n], vec![1.0; n]);
        (trace.kept, trace.drive) = (vec![true; n], vec![false; n]);
        trace
    }

    fn found(trace: &Trace) -> Vec<Turn> {
        turns(trace, &Find::default(), false)
    }

    #[test]
    fn a_well_sampled_ramp_gives_its_vertex_exactly() {
        for sign in [1.0, -1.0] {
            let trace = motion(&[(3.0, 2.0 * sign), (3.0, -2.0 * sign)], 0.04, 0.0037);
            let turns = found(&trace);
            assert_eq!(turns.len(), 1);
            // The ramp starts at t = 3 and passes zero half-way; 6 + 2·0.02/2 is its highest place. The motion is
            // stepped in 10⁻⁴ s.
            assert!((turns[0].time - 3.02).abs() < 2e-4, "{}", turns[0].time);
            assert!((sign * turns[0].place - 6.02).abs() < 3e-4, "{}", turns[0].place);
            assert_eq!(turns[0].sense_before, sign);
            assert!(!turns[0].rested);
        }
    }

    #[test]
    fn readings_further_apart_than_the_ramp_give_the_crossing() {
        let trace = motion(&[(3.0, 2.0), (3.0, -2.0)], 0.004, 0.1);
        let turns = found(&trace);
        // The lines cross above the rounded corner by speed·ramp/4.
        assert!((turns[0].time - 3.002).abs() < 2e-4, "{}", turns[0].time);
        assert!((turns[0].place - 6.004).abs() < 5e-4, "{}", turns[0].place);
    }

    #[test]
    fn a_speed_alone_is_interpolated() {
        let mut trace = motion(&[(3.0, 2.0), (3.0, -2.0)], 0.04, 0.0137);
        trace.strain = (0..trace.len())
            .scan(0.0, |x, i| {
                *x += if i > 0 {
                    0.5 * (trace.rate[i] + trace.rate[i - 1]) * (trace.time[i] - trace.time[i - 1])
                } else {
                    0.0
                };
                Some(*x)
            })
            .collect();
        let turns = turns(&trace, &Find::default(), true);
        assert!((turns[0].time - 3.02).abs() < 2e-4, "{}", turns[0].time);
        assert!((turns[0].place - 6.02).abs() < 3e-3, "{}", turns[0].place);
    }

    #[test]
    fn after_a_pause_zero_is_the_leaving() {
        let trace = motion(&[(3.0, 1.0), (5.0, 0.0), (3.0, -1.0)], 0.02, 0.01);
        let turns = found(&trace);
        assert_eq!(turns.len(), 1);
        assert!(turns[0].rested);
        assert!((turns[0].time - 8.0).abs() < 0.015, "{}", turns[0].time);
        assert!(turns[0].end_before < 305);
    }

    #[test]
    fn a_slow_passage_through_zero_is_no_pause() {
        let turns = found(&motion(&[(6.0, 1.0), (6.0, -1.0)], 2.0, 0.005));
        assert!(turns.len() == 1 && !turns[0].rested);
        assert!((turns[0].time - 7.0).abs() < 0.01, "{}", turns[0].time);
    }

    #[test]
    fn a_pause_in_one_sense_and_noise_at_rest_are_no_reversals() {
        let mut trace = motion(&[(3.0, 1.0), (5.0, 0.0), (3.0, 1.0)], 0.02, 0.01);
        assert_eq!(found(&trace).len(), 0);
        let Measured { strain, rate, .. } = &mut *trace;
        for (i, (x, r)) in strain.iter_mut().zip(rate).enumerate() {
            *x += 0.004 * (i as f64 * 2.4).sin();
            *r += 1e-3 * (i as f64 * 1.7).sin();
        }
        assert_eq!(found(&trace).len(), 0);
    }

    #[test]
    fn a_stop_in_one_sense_is_a_restart_and_one_between_two_senses_is_none() {
        let stops_of = |parts: &[(f64, f64)]| stops(&motion(parts, 0.02, 0.01), &Find::default());
        let found = stops_of(&[(3.0, -1.0), (5.0, 0.0), (3.0, -1.0), (3.0, 1.0), (2.0, 0.0), (3.0, 1.0)]);
        let times: Vec<f64> = found.iter().map(|t| t.time).collect();
        assert_eq!(times.len(), 2, "{times:?}");
        assert!((times[0] - 8.0).abs() < 0.015 && (times[1] - 16.0).abs() < 0.015, "{times:?}");
        // Strain counts from the leaving in the sense that goes on.
        assert_eq!((found[0].sense_before, found[1].sense_before), (1.0, -1.0));
        assert_eq!(stops_of(&[(3.0, 1.0), (5.0, 0.0), (3.0, -1.0)]).len(), 0);
        // A slow stretch is no stop.
        assert_eq!(stops_of(&[(3.0, 1.0), (5.0, 0.01), (3.0, 1.0)]).len(), 0);
    }

    #[test]
    fn a_recoil_while_stopped_is_no_reversal() {
        let trace = motion(&[(3.0, 1.0), (0.2, 0.0), (30.0, -0.005), (3.0, 1.0)], 0.02, 0.01);
        assert_eq!(found(&trace).len(), 0);
    }

    #[test]
    fn several_doubled_and_aborted_reversals_are_all_found() {
        let parts = [(3.0, 1.0), (3.0, -1.0), (0.1, 1.0), (3.0, -1.0), (3.0, 0.5), (0.15, -0.5)];
        let turns = found(&motion(&parts, 0.02, 0.005));
        let times: Vec<f64> = turns.iter().map(|t| t.time).collect();
        let expected = [3.01, 6.01, 6.11, 9.0 + 0.1 + 0.0133, 12.11];
        assert_eq!(times.len(), expected.len(), "{times:?}");
        for (t, e) in times.iter().zip(expected) {
            assert!((t - e).abs() < 0.003, "{t} for {e}");
        }
    }

    #[test]
    fn a_run_without_reversal_or_readings_has_none() {
        assert_eq!(found(&motion(&[(3.0, 1.0)], 0.02, 0.01)).len(), 0);
        assert_eq!(found(&Trace::default()).len(), 0);
    }
}

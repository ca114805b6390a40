//! The stress at the rim of parallel plates, from the slope of the run's own flow curve.
//!
//! σ_R = M/(2πR³)·(3 + d ln M/d ln γ̇_R) (Weissenberg, Rabinowitsch and Mooney). The slope at a rate is that of the
//! parabola through it and its two neighbours in ln M over ln γ̇. One factor serves all readings of a step, those
//! after a reversal too: there it changes no ratio, so that the contact share stays what the torque gives.

use super::levels::Level;
use super::params::WeissenbergRabinowitsch;
use super::remark::NoSlope;
use crate::numerics::float::ln;

/// Rates closer than this ratio are one point of the flow curve (as for set-points of states).
const SAME_RATE: f64 = 1.05;
/// Torques at one rate that differ by more than this are two branches of a curve that folds back, and a slope by rate
/// says nothing.
const SAME_TORQUE: f64 = 1.2;

/// A point of the flow curve, in logarithms.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Point {
    rate: f64,
    torque: f64,
}

/// What the flow curve gives.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Slopes {
    points: Vec<Point>,
    slopes: Vec<f64>,
}

impl Slopes {
    /// From the steady levels of a run.
    pub(super) fn new(levels: &[Level], settings: &WeissenbergRabinowitsch) -> Result<Self, NoSlope> {
        let moving = levels.iter().filter(|l| l.speed > 0.0 && l.torque > 0.0);
        let mut all: Vec<Point> = moving.map(|l| Point { rate: ln(l.speed), torque: ln(l.torque) }).collect();
        all.sort_by(|a, b| a.rate.total_cmp(&b.rate));
        let groups: Vec<&[Point]> = all.chunk_by(|a, b| b.rate - a.rate < ln(SAME_RATE)).collect();
        if groups.iter().any(|group| spread(group) > ln(SAME_TORQUE)) {
            return Err(NoSlope::Folded);
        }
        let points: Vec<Point> = groups.into_iter().map(mean).collect();
        if points.len() < settings.rates.max(3) {
            return Err(NoSlope::FewRates(points.len()));
        }
        let slopes = (0..points.len()).map(|at| slope(&points, at)).collect();
        Ok(Self { points, slopes })
    }

    /// d ln M/d ln γ̇_R at the nearest rate of the curve; none where it is too steep or falls.
    pub(super) fn slope_at(&self, speed: f64, settings: &WeissenbergRabinowitsch) -> Option<f64> {
        let rate = ln(speed);
        let off = |at: &usize| (self.points[*at].rate - rate).abs();
        let nearest = (0..self.points.len()).min_by(|a, b| off(a).total_cmp(&off(b)))?;
        Some(self.slopes[nearest]).filter(|slope| (0.0..=settings.steepest).contains(slope))
    }
}

fn spread(group: &[Point]) -> f64 {
    let torques = || group.iter().map(|p| p.torque);
    torques().fold(f64::NEG_INFINITY, f64::max) - torques().fold(f64::INFINITY, f64::min)
}

fn mean(group: &[Point]) -> Point {
    let of = |get: fn(&Point) -> f64| group.iter().map(get).sum::<f64>() / group.len() as f64;
    Point { rate: of(|p| p.rate), torque: of(|p| p.torque) }
}

/// Slope at a point of the parabola through three neighbours, the point among them.
fn slope(points: &[Point], at: usize) -> f64 {
    let first = at.saturating_sub(1).min(points.len() - 3);
    let [a, b, c] = [points[first], points[first + 1], points[first + 2]];
    let chord = |p: Point, q: Point| (q.torque - p.torque) / (q.rate - p.rate);
    let bend = (chord(b, c) - chord(a, b)) / (c.rate - a.rate);
    // Newton's form: f[a,b] + f[a,b,c]·(2x − a − b).
    chord(a, b) + bend * (2.0 * points[at].rate - a.rate - b.rate)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::numerics::float::pow;

    fn level(speed: f64, torque: f64) -> Level {
        Level { step: 1, stretch: 0, torque, speed }
    }

    /// The worked liquid σ = 0.8γ̇ + 0.03γ̇² between plates: M ∝ 0.8γ̇/4 + 0.03γ̇²/5.
    fn thickening(rates: &[f64]) -> Vec<Level> {
        rates.iter().map(|g| level(*g, 0.2 * g + 0.006 * g * g)).collect()
    }

    #[test]
    fn the_worked_slopes_of_a_thickening_liquid_come_out() {
        let rates: Vec<f64> = (0..25).map(|i| pow(10.0, 0.1 * f64::from(i))).collect();
        let settings = WeissenbergRabinowitsch::default();
        let found = Slopes::new(&thickening(&rates), &settings).unwrap();
        // d ln M/d ln γ̇ of the worked example at 5, 20 and 80 1/s; ten rates a decade.
        for (rate, expected) in [(5.0119, 1.1307), (19.953, 1.3744), (79.433, 1.7044)] {
            let slope = found.slope_at(rate, &settings).unwrap();
            assert!((slope - expected).abs() < 0.003, "{rate}: {slope} against {expected}");
        }
    }

    #[test]
    fn set_points_of_a_campaign_give_the_weissenberg_rabinowitsch_within_two_per_cent() {
        // Half a decade apart, as set-points are: the stress is off by a quarter of what the slope is.
        let rates: Vec<f64> = (0..6).map(|i| pow(10.0, 0.5 * f64::from(i))).collect();
        let settings = WeissenbergRabinowitsch::default();
        let found = Slopes::new(&thickening(&rates), &settings).unwrap();
        for g in rates {
            let truth = (0.8 * g + 0.03 * g * g) / (4.0 * (0.2 * g + 0.006 * g * g));
            let factor = (3.0 + found.slope_at(g, &settings).unwrap()) / 4.0;
            assert!((factor / truth - 1.0).abs() < 0.02, "{g}: {factor} against {truth}");
        }
    }

    #[test]
    fn a_newtonian_liquid_has_slope_one_and_repeats_are_one_point() {
        let settings = WeissenbergRabinowitsch::default();
        let levels: Vec<Level> = [1.0, 1.01, 3.0, 3.02, 10.0].iter().map(|g| level(*g, 2.0 * g)).collect();
        let found = Slopes::new(&levels, &settings).unwrap();
        assert!((found.slope_at(3.0, &settings).unwrap() - 1.0).abs() < 1e-12);
        assert_eq!(Slopes::new(&levels[..4], &settings), Err(NoSlope::FewRates(2)));
    }

    #[test]
    fn a_curve_that_folds_or_jumps_has_no_slope() {
        let settings = WeissenbergRabinowitsch::default();
        let folded = [level(1.0, 1.0), level(3.0, 4.0), level(3.05, 40.0), level(9.0, 90.0)];
        assert_eq!(Slopes::new(&folded, &settings), Err(NoSlope::Folded));
        let jump = [level(1.0, 1.0), level(3.0, 3.0), level(3.5, 30.0), level(4.0, 300.0)];
        assert_eq!(Slopes::new(&jump, &settings).unwrap().slope_at(3.5, &settings), None);
    }
}

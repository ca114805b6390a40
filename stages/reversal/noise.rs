//! Noise of ln η from steady windows: a white part, and a correlated one that wanders over strain. It knows no
//! transient.
//!
//! # Method
//! Empirical variogram v(h) = ½⟨(ln η(γ + h) − ln η(γ))²⟩ over pairs of readings, on a grid of lags in strain, pooled
//! over windows, fitted by w² + s²(1 − e^{−h/ℓ}). Single readings, not means of cells: averaging within a cell takes
//! away a part of the wander that then would be missing from the white part. A variogram needs no mean, so it stays unbiased in windows of few correlation lengths, where an
//! autocorrelation does not (N. A. C. Cressie, *Statistics for Spatial Data*, Wiley 1993, §2.4).

use super::result::Noise;
use super::rules::{LAG_STEP, LENGTHS};
use crate::numerics::float::{exp, ln};
use crate::numerics::whitening::{Line, Whitening};

/// Readings of a window that enter the variogram; of more, every k-th does. Pairs grow with the square.
const MOST: usize = 500;

/// Relative resolution below which no reading is believed: an export has four to six digits (common practice).
pub(super) const LEAST: f64 = 1e-4;

/// Correlation lengths that are tried, geometric.
fn lengths() -> impl Iterator<Item = f64> {
    let (n, from, to) = LENGTHS;
    (0..n).map(move |k| from * exp(f64::from(k) / f64::from(n - 1) * ln(to / from)))
}

/// Strain places and ln η of the readings of one steady window.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Window {
    /// Strain, growing.
    pub(super) strain: Vec<f64>,
    /// ln of viscosity in Pa s.
    pub(super) ln_viscosity: Vec<f64>,
}

/// Mean of the readings that fall into one cell of the grid.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cell {
    index: i64,
    strain: f64,
    value: f64,
    readings: f64,
}

impl Window {
    fn cells(&self) -> Vec<Cell> {
        let mut cells: Vec<Cell> = Vec::new();
        let origin = self.strain.first().copied().unwrap_or(0.0);
        for (x, y) in self.strain.iter().zip(&self.ln_viscosity) {
            let index = ((x - origin) / LAG_STEP).floor() as i64;
            match cells.last_mut().filter(|c| c.index == index) {
                Some(c) => {
                    (c.strain, c.value, c.readings) = (c.strain + x, c.value + y, c.readings + 1.0);
                }
                None => cells.push(Cell { index, strain: *x, value: *y, readings: 1.0 }),
            }
        }
        cells.into_iter().map(|c| Cell { strain: c.strain / c.readings, value: c.value / c.readings, ..c }).collect()
    }

    fn length(&self) -> f64 {
        self.strain.last().zip(self.strain.first()).map_or(0.0, |(b, a)| b - a)
    }

    /// ln η against strain by generalised least squares over the cells.
    pub(super) fn line(&self, noise: &Noise) -> Option<Line> {
        let cells = self.cells();
        let whitening = Whitening::new(cells.len(), |j, k| {
            covariance(noise, cells[j].strain - cells[k].strain)
                + if j == k { white(noise, cells[j].readings) } else { 0.0 }
        })?;
        let places: Vec<f64> = cells.iter().map(|c| c.strain).collect();
        let values: Vec<f64> = cells.iter().map(|c| c.value).collect();
        whitening.line(&places, &values)
    }

    /// Relative standard uncertainty of the mean over the window, for `effective` independent readings:
    /// u² = (2s²ℓ/T)·[1 − (ℓ/T)(1 − e^{−T/ℓ})] + w²/n.
    pub(super) fn u_mean(&self, noise: &Noise, effective: f64) -> f64 {
        mean_variance(noise, self.length(), effective).sqrt()
    }
}

/// Variance of a mean over strain `length` with exponential covariance, and its white part.
pub(super) fn mean_variance(noise: &Noise, length: f64, effective: f64) -> f64 {
    let part = noise.length / length.max(f64::MIN_POSITIVE);
    let correlated = if part < 1e6 { 2.0 * part * (1.0 - part * (1.0 - exp(-1.0 / part))) } else { 1.0 };
    noise.correlated * noise.correlated * correlated + white(noise, effective)
}

/// Covariance of the correlated part at a distance in strain.
pub(super) fn covariance(noise: &Noise, distance: f64) -> f64 {
    noise.correlated * noise.correlated * exp(-distance.abs() / noise.length)
}

/// Variance of the white part in the mean of some readings.
pub(super) fn white(noise: &Noise, readings: f64) -> f64 {
    noise.white * noise.white / readings
}

/// One lag of the variogram: means over its pairs.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Lag {
    distance: f64,
    value: f64,
    pairs: f64,
}

/// Noise of the windows together; none where they are too coarse to tell white from wander.
pub(super) fn pooled(windows: &[&Window], largest_lag: f64) -> Option<Noise> {
    let lags = variogram(windows, largest_lag);
    if lags.len() < 4 {
        return None;
    }
    let best = lengths().map(|length| fit(&lags, length)).min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, noise)| noise)?;
    Some(Noise { white: best.white.max(LEAST), ..best })
}

/// All scatter within the windows taken as wander and once more as white, because either may be all of it and both
/// errors are then on the large side: none below four degrees of freedom. The length is the middle of those that are
/// tried otherwise.
pub(super) fn scatter(windows: &[&Window]) -> Option<Noise> {
    let (mut squares, mut freedom) = (0.0, 0.0);
    for window in windows {
        let n = window.ln_viscosity.len() as f64;
        let mean = window.ln_viscosity.iter().sum::<f64>() / n;
        squares += window.ln_viscosity.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>();
        freedom += (n - 1.0).max(0.0);
    }
    let deviation = (squares / freedom).sqrt().max(LEAST);
    (freedom >= 4.0).then_some(Noise { white: deviation, correlated: deviation, length: 0.12 })
}

fn variogram(windows: &[&Window], largest_lag: f64) -> Vec<Lag> {
    let mut lags = vec![Lag::default(); (largest_lag / LAG_STEP + 0.5) as usize + 1];
    for window in windows {
        let stride = window.strain.len().div_ceil(MOST).max(1);
        let points: Vec<(f64, f64)> =
            window.strain.iter().copied().zip(window.ln_viscosity.iter().copied()).step_by(stride).collect();
        for (j, a) in points.iter().enumerate() {
            for b in &points[j + 1..] {
                let distance = b.0 - a.0;
                let Some(lag) = lags.get_mut((distance / LAG_STEP + 0.5) as usize) else { break };
                lag.distance += distance;
                lag.value += 0.5 * (b.1 - a.1) * (b.1 - a.1);
                lag.pairs += 1.0;
            }
        }
    }
    // Fewer than five pairs say nothing about a variance; a variogram of exactly 0 is rounding of the export.
    let known = lags.into_iter().filter(|l| l.pairs >= 5.0);
    let mean = |l: Lag| Lag { distance: l.distance / l.pairs, value: (l.value / l.pairs).max(LEAST * LEAST), ..l };
    known.map(mean).collect()
}

/// Best non-negative w², s² for one length, and the weighted sum of squares: residual weights 1/(v√lag), the
/// relative error of a variogram in a window growing with its lag.
fn fit(lags: &[Lag], length: f64) -> (f64, Noise) {
    let rows = || {
        lags.iter().map(move |l| {
            let weight = 1.0 / (l.value * l.value * l.distance.max(0.5 * LAG_STEP));
            (1.0 - exp(-l.distance / length), l.value, weight)
        })
    };
    let sum = |f: &dyn Fn(f64, f64) -> f64| rows().map(|(b, v, w)| w * f(b, v)).sum::<f64>();
    let (aa, ab, bb) = (sum(&|_, _| 1.0), sum(&|b, _| b), sum(&|b, _| b * b));
    let (av, bv) = (sum(&|_, v| v), sum(&|b, v| b * v));
    let determinant = aa * bb - ab * ab;
    let both = ((bb * av - ab * bv) / determinant, (aa * bv - ab * av) / determinant);
    let candidates = [both, (av / aa, 0.0), (0.0, bv / bb)];
    let misfit = |(p, q): (f64, f64)| sum(&|b, v| (v - p - q * b) * (v - p - q * b));
    let allowed = candidates.into_iter().filter(|(p, q)| *p >= 0.0 && *q >= 0.0);
    let best = allowed.map(|c| (misfit(c), c)).min_by(|a, b| a.0.total_cmp(&b.0));
    let (squares, (white, correlated)) = best.unwrap_or((f64::INFINITY, (0.0, 0.0)));
    (squares, Noise { white: white.sqrt(), correlated: correlated.sqrt(), length })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;
    use crate::reversal::synthetic::Draws;

    const TRUE: Noise = Noise { white: 0.008, correlated: 0.012, length: 0.1 };

    fn window(draws: &mut Draws, readings: usize, interval: f64, drift: f64) -> Window {
        let mut wander = draws.normal();
        let keep = (-interval / TRUE.length).exp();
        let mut window = Window::default();
        for i in 0..readings {
            let x = i as f64 * interval;
            wander = keep * wander + (1.0 - keep * keep).sqrt() * draws.normal();
            window.strain.push(x);
            window.ln_viscosity.push(TRUE.correlated * wander + TRUE.white * draws.normal() + drift * x);
        }
        window
    }

    #[test]
    fn noise_of_many_windows_is_the_one_that_was_put_in() {
        let mut draws = Draws::new(1);
        let windows: Vec<Window> = (0..200).map(|_| window(&mut draws, 250, 0.008, 0.0)).collect();
        let noise = pooled(&windows.iter().collect::<Vec<_>>(), 0.6).unwrap();
        // 4,000 correlation lengths: relative errors of a few per cent of each part; the grid of lengths has steps
        // of 30 %, which trade with the correlated part.
        assert!((noise.white / TRUE.white - 1.0).abs() < 0.08, "{noise:?}");
        assert!((noise.correlated / TRUE.correlated - 1.0).abs() < 0.12, "{noise:?}");
        assert!((0.07..0.14).contains(&noise.length), "{noise:?}");
    }

    #[test]
    fn the_stated_error_of_a_mean_is_its_scatter() {
        let mut draws = Draws::new(2);
        let windows: Vec<Window> = (0..400).map(|_| window(&mut draws, 250, 0.008, 0.0)).collect();
        let means: Vec<f64> = windows.iter().map(|w| w.ln_viscosity.iter().sum::<f64>() / 250.0).collect();
        let scatter = (means.iter().map(|m| m * m).sum::<f64>() / 400.0).sqrt();
        // 400 means know their deviation to 3.5 %; three of these.
        assert!((windows[0].u_mean(&TRUE, 250.0) / scatter - 1.0).abs() < 0.11, "{scatter}");
    }

    #[test]
    fn the_error_of_a_mean_is_that_of_a_first_order_autoregression() {
        // n readings of an AR(1) series with ρ = e^{−Δ/ℓ}: σ²/n·[(1+ρ)/(1−ρ) − 2ρ(1−ρⁿ)/(n(1−ρ)²)], whose integrated
        // autocorrelation time is (1+ρ)/(1−ρ) (A. D. Sokal, in Functional Integration, Plenum 1997, §3).
        let (n, interval) = (250.0_f64, 0.008_f64);
        let rho = (-interval / TRUE.length).exp();
        let closed = ((1.0 + rho) / (1.0 - rho) - 2.0 * rho * (1.0 - rho.powf(n)) / (n * (1.0 - rho).powi(2))) / n;
        let alone = Noise { white: 0.0, ..TRUE };
        let said = mean_variance(&alone, n * interval, n) / (TRUE.correlated * TRUE.correlated);
        // Readings stand for the integral between them: (Δ/ℓ)²/12 = 0.05 %.
        assert!((said / closed - 1.0).abs() < 2e-3, "{said} {closed}");
        // And the time is found from the series itself: 2,000 times the correlation length know s²ℓ to some 10 %.
        let mut draws = Draws::new(7);
        let windows: Vec<Window> = (0..100).map(|_| window(&mut draws, 250, 0.008, 0.0)).collect();
        let found = pooled(&windows.iter().collect::<Vec<_>>(), 0.6).unwrap();
        let time = |n: &Noise| n.correlated * n.correlated * n.length;
        assert!((time(&found) / time(&TRUE) - 1.0).abs() < 0.3, "{found:?}");
    }

    #[test]
    fn the_effective_number_of_readings_of_the_reference_series() {
        // 500 values of a first-order autoregression with coefficient 0.7, made elsewhere; taken at strain 0.04 apart its
        // length is 0.112. The exact variance of such a mean is σ²/500·5.6356 (88 effective readings).
        let series = include_str!("reference/ar1_series.csv").lines().filter_map(|l| l.parse::<f64>().ok());
        let ln_viscosity: Vec<f64> = series.collect();
        let strain = (0..ln_viscosity.len()).map(|i| 0.04 * i as f64).collect();
        let window = Window { strain, ln_viscosity };
        assert_eq!(window.strain.len(), 500);
        let noise = pooled(&[&window], 0.6).unwrap();
        let exact = 5.635_556 / (500.0 * (1.0 - 0.7 * 0.7));
        let ratio = window.u_mean(&noise, 500.0).powi(2) / exact;
        // Fifteen lags of 500 values know the sum of correlations to √(2·31/500) = 35 % (Sokal 1997, §3); two of these.
        assert!((ratio - 1.0).abs() < 0.7, "{ratio} {noise:?}");
    }

    #[test]
    fn the_line_finds_a_drift_within_its_error() {
        let mut draws = Draws::new(3);
        let lines: Vec<Line> = (0..200).map(|_| window(&mut draws, 250, 0.008, 0.02).line(&TRUE).unwrap()).collect();
        let pulls: Vec<f64> = lines.iter().map(|l| (l.slope - 0.02) / l.u_slope).collect();
        let spread = (pulls.iter().map(|p| p * p).sum::<f64>() / 200.0).sqrt();
        // 200 pulls know their spread to 5 %.
        assert!((spread - 1.0).abs() < 0.15, "{spread}");
    }

    #[test]
    fn coarse_windows_give_scatter_alone_and_few_readings_nothing() {
        let ln_viscosity = vec![0.0, 0.01, 0.0, 0.01, 0.0, 0.01, 0.0, 0.01];
        let coarse = Window { strain: (0..8).map(|i| f64::from(i) * 0.7).collect(), ln_viscosity };
        assert_eq!(pooled(&[&coarse], 0.6), None);
        let noise = scatter(&[&coarse]).unwrap();
        // Standard deviation of four times 0 and four times 0.01: 0.005·√(8/7).
        assert!((noise.correlated - 0.005345).abs() < 1e-5 && noise.white == noise.correlated, "{noise:?}");
        let few = Window { strain: vec![0.0, 0.1], ln_viscosity: vec![0.0, 0.1] };
        assert_eq!((pooled(&[&few], 0.6), scatter(&[&few])), (None, None));
    }
}

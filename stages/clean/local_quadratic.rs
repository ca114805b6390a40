//! First and second derivative of unevenly sampled readings by local quadratics. Knows no rheology.
//!
//! A. Savitzky & M. J. E. Golay, Anal. Chem. 36, 1627 (1964), for uneven spacing by least squares in each window.
//! One thing differs: a window that stands symmetrically round its reading is used only while its residuals are
//! noise. Where they are more, as across a sudden change of speed, the window that holds the reading and fits best
//! is taken instead (the idea of A. Harten et al., J. Comput. Phys. 71, 231 (1987)), so that the derivative of one
//! side is not mixed with that of the other.

/// Derivatives with their standard uncertainties from the noise of the readings; NaN where none can be had.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Derivatives {
    pub(super) first: Vec<f64>,
    pub(super) second: Vec<f64>,
    pub(super) u_first: Vec<f64>,
    pub(super) u_second: Vec<f64>,
}

/// A least-squares quadratic over one window, in orthogonal form: a₁x + a₂(x² − bx − c) with x = t − t̄.
#[derive(Debug, Clone, Copy)]
struct Quadratic {
    center: f64,
    slope: f64,
    bend: f64,
    skew: f64,
    /// Σx² and Σ(x² − bx − c)².
    norms: (f64, f64),
    /// Residual standard deviation; 0 where no reading is left over.
    spread: f64,
}

impl Quadratic {
    /// At least two readings of growing time; a straight line through two.
    fn fit(t: &[f64], y: &[f64]) -> Self {
        let n = t.len() as f64;
        let center = t.iter().sum::<f64>() / n;
        let mean = y.iter().sum::<f64>() / n;
        let x = || t.iter().map(|t| t - center);
        let square: f64 = x().map(|x| x * x).sum();
        let skew = x().map(|x| x * x * x).sum::<f64>() / square;
        let curved = || x().map(|x| x * x - skew * x - square / n);
        let norm: f64 = if t.len() > 2 { curved().map(|p| p * p).sum() } else { f64::INFINITY };
        let slope = x().zip(y).map(|(x, y)| x * (y - mean)).sum::<f64>() / square;
        let bend = curved().zip(y).map(|(p, y)| p * (y - mean)).sum::<f64>() / norm;
        let residual = |((x, p), y): ((f64, f64), &f64)| y - mean - slope * x - bend * p;
        let squares: f64 = x().zip(curved()).zip(y).map(residual).map(|r| r * r).sum();
        let spread = if t.len() > 3 { (squares / (n - 3.0)).sqrt() } else { 0.0 };
        Self { center, slope, bend, skew, norms: (square, norm), spread }
    }

    fn first(&self, t: f64) -> f64 {
        self.slope + self.bend * (2.0 * (t - self.center) - self.skew)
    }

    fn u_first(&self, t: f64, noise: f64) -> f64 {
        let lever = 2.0 * (t - self.center) - self.skew;
        noise * (1.0 / self.norms.0 + lever * lever / self.norms.1).sqrt()
    }
}

/// Which derivatives are needed; the others stay empty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Wanted {
    First,
    Second,
    Both,
}

/// Derivatives of `y` by `t` from `size` readings around each. No window reaches over the ends of a `stretch`, which
/// lists indices of readings in order of time; readings in no stretch have none. Noise of one reading is the median
/// spread of residuals, but at least `least_noise`.
pub(super) fn derivatives(
    t: &[f64],
    y: &[f64],
    stretches: &[Vec<usize>],
    size: usize,
    least_noise: f64,
    wanted: Wanted,
) -> Derivatives {
    // Windows are fitted twice, a stretch at a time: those of all readings together are larger than the export.
    let spreads = stretches.iter().flat_map(|stretch| fits(t, y, stretch, size)).map(|fit| fit.spread);
    let noise = super::median(spreads).unwrap_or(0.0).max(least_noise);
    let none = |unless: Wanted| if wanted == unless { Vec::new() } else { vec![f64::NAN; t.len()] };
    let (first, u_first) = (none(Wanted::Second), none(Wanted::Second));
    let (second, u_second) = (none(Wanted::First), none(Wanted::First));
    let mut found = Derivatives { first, second, u_first, u_second };
    for stretch in stretches {
        let windows = fits(t, y, stretch, size);
        for (place, at) in stretch.iter().enumerate().filter(|_| !windows.is_empty()) {
            let fit = choose(&windows, place, size.min(stretch.len()), noise);
            if wanted != Wanted::Second {
                found.first[*at] = fit.first(t[*at]);
                found.u_first[*at] = fit.u_first(t[*at], noise);
            }
            if wanted != Wanted::First {
                found.second[*at] = 2.0 * fit.bend;
                found.u_second[*at] = 2.0 * noise / fit.norms.1.sqrt();
            }
        }
    }
    found
}

/// One fit per window, by the place of its first reading.
fn fits(t: &[f64], y: &[f64], stretch: &[usize], size: usize) -> Vec<Quadratic> {
    let [t, y] = [t, y].map(|v| stretch.iter().map(|at| v[*at]).collect::<Vec<f64>>());
    let size = size.min(t.len());
    if size < 2 {
        return Vec::new();
    }
    t.windows(size).zip(y.windows(size)).map(|(t, y)| Quadratic::fit(t, y)).collect()
}

/// The symmetric window if its residuals are noise, else the one that fits best among those that hold the reading.
fn choose(windows: &[Quadratic], place: usize, size: usize, noise: f64) -> &Quadratic {
    let last = windows.len() - 1;
    let symmetric = &windows[place.saturating_sub(size / 2).min(last)];
    if symmetric.spread <= super::recipe::NO_NOISE * noise {
        return symmetric;
    }
    let holding = &windows[(place + 1).saturating_sub(size)..=place.min(last)];
    holding.iter().fold(symmetric, |best, fit| if fit.spread < best.spread { fit } else { best })
}

/// Standard deviation of rounding in a position, 1/√12 of the last digit, where the motion is so slow that at most
/// half of the readings differ from the one before: then most windows are flat and their residuals tell nothing,
/// and the smallest step is one digit. 0 where more differ.
pub(super) fn rounding(position: &[f64], stretches: &[Vec<usize>]) -> f64 {
    let pairs = || stretches.iter().flat_map(|stretch| stretch.windows(2));
    let steps = || pairs().map(|pair| (position[pair[1]] - position[pair[0]]).abs()).filter(|step| *step > 0.0);
    let moved = steps().count();
    let slow = moved > 0 && moved * 2 <= pairs().count();
    if slow { steps().fold(f64::INFINITY, f64::min) / 12.0_f64.sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(n: usize) -> Vec<Vec<usize>> {
        vec![(0..n).collect()]
    }

    #[test]
    fn a_quadratic_is_given_back_on_uneven_times() {
        let t = [0.0, 0.1, 0.25, 0.3, 0.7, 1.1, 1.2, 2.0];
        let y = t.map(|t| 1.0 - 2.0 * t + 3.0 * t * t);
        let found = derivatives(&t, &y, &all(8), 5, 0.0, Wanted::Both);
        for (at, t) in t.iter().enumerate() {
            // Exact but for rounding.
            assert!((found.first[at] - (6.0 * t - 2.0)).abs() < 1e-12);
            assert!((found.second[at] - 6.0).abs() < 1e-11);
        }
    }

    /// Savitzky & Golay's table for five points: (−2, −1, 0, 1, 2)/10 and (2, −1, −2, −1, 2)/7.
    #[test]
    fn the_published_weights_of_five_even_points() {
        let t = [0.0, 1.0, 2.0, 3.0, 4.0];
        for (at, (first, second)) in [(-0.2, 2.0 / 7.0), (-0.1, -1.0 / 7.0), (0.0, -2.0 / 7.0)].into_iter().enumerate()
        {
            let mut y = [0.0; 5];
            y[at] = 1.0;
            let fit = Quadratic::fit(&t, &y);
            assert!((fit.first(2.0) - first).abs() < 1e-15 && (2.0 * fit.bend - second).abs() < 1e-15);
        }
        let fit = Quadratic::fit(&t, &[0.0; 5]);
        assert!((fit.u_first(2.0, 1.0) - 0.1_f64.sqrt()).abs() < 1e-15);
        assert!((2.0 / fit.norms.1.sqrt() - (14.0_f64).sqrt() / 7.0).abs() < 1e-15);
    }

    #[test]
    fn a_sudden_reversal_is_not_smeared() {
        let t: Vec<f64> = (0..40).map(|i| 0.1 * f64::from(i)).collect();
        // The turn falls between two readings; every third digit stands for the noise of the export.
        let y: Vec<f64> = t.iter().map(|t| ((1.96 - (t - 1.96).abs()) * 1e4).round() / 1e4).collect();
        let found = derivatives(&t, &y, &all(40), 5, 0.0, Wanted::Both);
        for (at, t) in t.iter().enumerate() {
            let sense = if *t < 1.96 { 1.0 } else { -1.0 };
            // Rounding to 10⁻⁴ over 0.1 s.
            assert!((found.first[at] - sense).abs() < 2e-3, "{at}: {}", found.first[at]);
            assert!(found.second[at].abs() < 0.02, "{at}: {}", found.second[at]);
        }
    }

    #[test]
    fn a_speed_exported_as_set_has_its_ramp_and_nothing_beside_it() {
        let t: Vec<f64> = (0..60).map(|i| 0.01 * f64::from(i)).collect();
        let y: Vec<f64> = (0..60).map(|i| 1.0 - 0.5 * f64::from((i - 30).clamp(0, 4))).collect();
        let found = derivatives(&t, &y, &[(0..30).collect(), (30..60).collect()], 5, 0.0, Wanted::Both);
        // Reading 34, where the ramp ends, belongs to both sides. Rounding of 1 over 0.01 s.
        assert!((0..30).chain(35..60).all(|at| found.first[at].abs() < 1e-12), "{:?}", found.first);
        assert!((30..34).all(|at| (found.first[at] + 50.0).abs() < 1e-10), "{:?}", &found.first[30..34]);
    }

    #[test]
    fn an_angle_slower_than_its_last_digit_keeps_the_noise_of_rounding() {
        let y: Vec<f64> = (0..200).map(|i| f64::from(i / 7)).collect();
        assert_eq!(rounding(&y, &all(200)), 1.0 / 12.0_f64.sqrt());
        let fast: Vec<f64> = (0..200).map(f64::from).collect();
        assert_eq!(rounding(&fast, &all(200)), 0.0);
    }

    #[test]
    fn windows_end_with_their_stretch() {
        let t = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
        let y = [0.0, 1.0, 2.0, 10.0, 8.0, 6.0];
        let found = derivatives(&t, &y, &[vec![0, 1, 2], vec![3, 4], vec![5]], 5, 0.0, Wanted::Both);
        assert!(found.first[..3].iter().all(|v| (v - 1.0).abs() < 1e-15));
        assert!(found.first[3..5].iter().all(|v| (v + 2.0).abs() < 1e-15));
        assert!(found.first[5].is_nan());
    }
}

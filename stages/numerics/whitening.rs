//! Correlated data made independent: the Cholesky factor of a covariance, its solves, and linear least squares
//! with such data. It knows no model.
//!
//! # Source
//! Generalised least squares by whitening: A. C. Aitken, Proc. R. Soc. Edinb. 55 (1935) 42–48.

/// Lower Cholesky factor L of a covariance C = LLᵀ, stored row after row.
///
/// ```
/// use stages::numerics::whitening::Whitening;
/// // Variances 4 and 9, independent.
/// let whitening = Whitening::new(2, |i, j| if i == j { [4.0, 9.0][i] } else { 0.0 });
/// let mut data = [2.0, 3.0];
/// whitening.iter().for_each(|w| w.apply(&mut data));
/// assert_eq!(data, [1.0, 1.0]);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Whitening {
    rows: Vec<Vec<f64>>,
}

impl Whitening {
    /// From the covariance of n data as a function of two positions; only j ≥ k is asked for.
    ///
    /// None where it is not positive definite.
    pub fn new(n: usize, covariance: impl Fn(usize, usize) -> f64) -> Option<Self> {
        let mut rows: Vec<Vec<f64>> = Vec::with_capacity(n);
        for j in 0..n {
            let mut row: Vec<f64> = Vec::with_capacity(j + 1);
            for (k, above) in rows.iter().enumerate() {
                let rest = covariance(j, k) - dot(&row, &above[..k]);
                row.push(rest / above[k]);
            }
            let rest = covariance(j, j) - dot(&row, &row);
            row.push(positive_root(rest)?);
            rows.push(row);
        }
        Some(Self { rows })
    }

    /// Replaces data by L⁻¹·data: independent with unit variance.
    pub fn apply(&self, data: &mut [f64]) {
        for (j, row) in self.rows.iter().enumerate() {
            data[j] = (data[j] - dot(&row[..j], &data[..j])) / row[j];
        }
    }

    /// Generalised least squares of `data` on two columns, of which the first is 1: level and slope along `place`.
    ///
    /// None where the places do not differ.
    pub fn line(&self, place: &[f64], data: &[f64]) -> Option<Line> {
        let [mut one, mut x, mut y] = [vec![1.0; data.len()], place.to_vec(), data.to_vec()];
        for column in [&mut one, &mut x, &mut y] {
            self.apply(column);
        }
        let (oo, ox, xx) = (dot(&one, &one), dot(&one, &x), dot(&x, &x));
        let determinant = oo * xx - ox * ox;
        // Relative to the product that it is the difference of, rounding is of order 10⁻¹⁵ times the number of data.
        if determinant.is_nan() || determinant <= 1e-12 * oo * xx {
            return None;
        }
        let (oy, xy) = (dot(&one, &y), dot(&x, &y));
        let centre = ox / oo;
        let slope = (oo * xy - ox * oy) / determinant;
        Some(Line { slope, u_slope: (oo / determinant).sqrt(), level: oy / oo, u_level: (1.0 / oo).sqrt(), centre })
    }
}

/// A straight line by generalised least squares.
///
/// ```
/// use stages::numerics::whitening::Whitening;
/// let unit = Whitening::new(3, |i, j| f64::from(u8::from(i == j)));
/// let line = unit.and_then(|w| w.line(&[0.0, 1.0, 2.0], &[1.0, 3.0, 5.0]));
/// assert!(line.is_some_and(|l| (l.slope, l.level, l.centre) == (2.0, 3.0, 1.0)));
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Slope.
    pub slope: f64,
    /// Its standard uncertainty.
    pub u_slope: f64,
    /// Generalised mean of the data: the line's value at `centre`.
    pub level: f64,
    /// Its standard uncertainty, independent of the slope's.
    pub u_level: f64,
    /// Where the line takes that value.
    pub centre: f64,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn positive_root(square: f64) -> Option<f64> {
    (square > 0.0 && square.is_finite()).then(|| square.sqrt())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    #[test]
    fn whitened_data_have_unit_covariance() {
        let covariance =
            |j: usize, k: usize| 0.3 * (-(j.abs_diff(k) as f64) / 2.0).exp() + if j == k { 0.1 } else { 0.0 };
        let n = 6;
        let whitening = Whitening::new(n, covariance).unwrap();
        // L⁻¹·C·L⁻ᵀ, built from the columns of C, is the unit matrix.
        let half: Vec<Vec<f64>> = (0..n)
            .map(|k| {
                let mut column: Vec<f64> = (0..n).map(|j| covariance(j, k)).collect();
                whitening.apply(&mut column);
                column
            })
            .collect();
        let row = |j: usize| half.iter().map(move |column| column[j]).collect::<Vec<f64>>();
        for (j, mut row) in (0..n).map(row).enumerate() {
            whitening.apply(&mut row);
            for (k, v) in row.iter().enumerate() {
                assert!((v - f64::from(u8::from(j == k))).abs() < 1e-13);
            }
        }
    }

    #[test]
    fn a_line_through_independent_data_is_the_ordinary_one() {
        // Worked by hand: y = 1, 3, 2 at x = 0, 1, 2 with unit variance: slope 0.5, u = 1/√2, mean 2, u = 1/√3.
        let line =
            Whitening::new(3, |j, k| f64::from(u8::from(j == k))).unwrap().line(&[0.0, 1.0, 2.0], &[1.0, 3.0, 2.0]);
        let line = line.unwrap();
        let got = [line.slope, line.u_slope, line.level, line.u_level, line.centre];
        for (g, w) in got.iter().zip([0.5, 0.5_f64.sqrt(), 2.0, (1.0_f64 / 3.0).sqrt(), 1.0]) {
            assert!((g - w).abs() < 1e-14, "{got:?}");
        }
    }

    #[test]
    fn what_is_no_covariance_is_refused() {
        assert_eq!(Whitening::new(2, |_, _| 1.0), None);
        assert_eq!(Whitening::new(1, |_, _| f64::NAN), None);
        let whitening = Whitening::new(2, |j, k| f64::from(u8::from(j == k))).unwrap();
        assert_eq!(whitening.line(&[1.0, 1.0], &[1.0, 2.0]), None);
    }
}

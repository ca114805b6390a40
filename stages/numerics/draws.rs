//! Random draws by name: the same seed and name give the same numbers on any machine, in any order, on any thread,
//! and whatever else is drawn.
//!
//! Every name is a stream of its own of the counter-based generator ChaCha12; its number is a hash of the name. Two
//! names of one study meet in a stream with a probability of 2⁻⁶⁴ per pair.

use super::normal;
use rand_chacha::ChaCha12Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// Draws of one name.
///
/// ```
/// use stages::numerics::draws::Draws;
/// let (mut radius, mut angle) = (Draws::named(7, "radius"), Draws::named(7, "angle"));
/// assert_ne!(radius.normal(), angle.normal());
/// // Whatever else was drawn, the same seed and name begin anew with the same numbers.
/// assert_eq!(Draws::named(7, "radius").normals(3), Draws::named(7, "radius").normals(3));
/// assert!((0.0..1.0).contains(&radius.uniform()));
/// ```
#[derive(Debug, Clone)]
pub struct Draws(ChaCha12Rng);

impl Draws {
    /// The stream of `name` under the study's seed.
    pub fn named(seed: u64, name: &str) -> Self {
        let mut generator = ChaCha12Rng::seed_from_u64(seed);
        generator.set_stream(stream(name));
        Self(generator)
    }

    /// A uniform draw inside (0, 1), never an end.
    pub fn uniform(&mut self) -> f64 {
        // 53 bits, set in the middle of their cell.
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// A draw of the standard normal distribution, by its quantile.
    pub fn normal(&mut self) -> f64 {
        normal::quantile(self.uniform())
    }

    /// `n` draws of the standard normal distribution.
    pub fn normals(&mut self, n: usize) -> Vec<f64> {
        (0..n).map(|_| self.normal()).collect()
    }
}

/// FNV-1a of the name, 64 bits: a hash that will not change with a library.
fn stream(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_fnv_1a() {
        // Published test vectors of FNV-1a, 64 bits: "", "a", "foobar" (RFC 9923).
        assert_eq!(stream(""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(stream("a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(stream("foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn a_name_has_its_own_draws_whatever_else_is_drawn() {
        let radius = Draws::named(7, "radius").normals(5);
        let mut other = Draws::named(7, "angle");
        other.normals(1000);
        assert_eq!(Draws::named(7, "radius").normals(5), radius);
        assert_ne!(Draws::named(7, "angle").normals(5), radius);
        assert_ne!(Draws::named(8, "radius").normals(5), radius);
    }

    #[test]
    fn the_additive_model_of_the_supplement() {
        // JCGM 101:2008, 9.2.2: Y is the sum of four standard normal inputs, so u(y) = 2 and the 95 % interval is
        // ±3.92 (figures from memory, confirmed by exact calculation: 2·1.959964).
        let n = 100_000;
        let inputs: Vec<Vec<f64>> = ["X1", "X2", "X3", "X4"].iter().map(|x| Draws::named(1, x).normals(n)).collect();
        let mut y: Vec<f64> = (0..n).map(|i| inputs.iter().map(|x| x[i]).sum()).collect();
        let mean = y.iter().sum::<f64>() / n as f64;
        let u = (y.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1) as f64).sqrt();
        y.sort_by(f64::total_cmp);
        let ends = [y[n / 40], y[n - n / 40]];
        // Four standard errors: of the mean 2/√n = 0.0063, of u 2/√(2n) = 0.0045, of a 2.5 % quantile
        // √(0.025·0.975/n)/(density 0.0292) = 0.017.
        assert!(mean.abs() < 0.026, "{mean}");
        assert!((u - 2.0).abs() < 0.018, "{u}");
        assert!((ends[0] + 3.92).abs() < 0.07 && (ends[1] - 3.92).abs() < 0.07, "{ends:?}");
    }

    #[test]
    fn the_additive_model_with_rectangular_inputs() {
        // JCGM 101:2008, 9.2.3: four rectangular inputs of standard deviation 1; exact half-width
        // 2√3(2 − (3/5)^¼) = 3.8794067, clearly inside the normal ±3.92.
        let n = 200_000;
        let wide = 12f64.sqrt();
        let inputs: Vec<Vec<f64>> = ["X1", "X2", "X3", "X4"]
            .iter()
            .map(|x| {
                let mut draws = Draws::named(1, x);
                (0..n).map(|_| wide * (draws.uniform() - 0.5)).collect()
            })
            .collect();
        let mut y: Vec<f64> = (0..n).map(|i| inputs.iter().map(|x| x[i]).sum::<f64>().abs()).collect();
        y.sort_by(f64::total_cmp);
        let half = y[n - n / 20];
        // Standard error √(0.05·0.95/n)/(density of |y| there, 0.058) = 0.0084; three of them.
        assert!((half - 3.879_406_7).abs() < 0.026, "{half}");
    }

    /// Standard deviation, and the ends of the middle 95 %.
    fn spread(mut y: Vec<f64>) -> (f64, [f64; 2]) {
        let n = y.len();
        let mean = y.iter().sum::<f64>() / n as f64;
        let u = (y.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / (n - 1) as f64).sqrt();
        y.sort_by(f64::total_cmp);
        (u, [y[n / 40], y[n - n / 40]])
    }

    fn rectangular(name: &str, low: f64, high: f64, n: usize) -> Vec<f64> {
        let mut draws = Draws::named(1, name);
        (0..n).map(|_| low + (high - low) * draws.uniform()).collect()
    }

    #[test]
    fn one_rectangular_input_that_outweighs_the_others() {
        // JCGM 101:2008, 9.2.4: three rectangular inputs of standard deviation 1, one of 10; exact u = 10.148892 and
        // half-width 17.01581, where ±1.96 u would be 19.9 (figures by exact calculation).
        let (n, root) = (200_000, 3f64.sqrt());
        let widths = [("X1", 1.0), ("X2", 1.0), ("X3", 1.0), ("X4", 10.0)];
        let inputs: Vec<Vec<f64>> = widths.iter().map(|(x, sd)| rectangular(x, -root * sd, root * sd, n)).collect();
        let (u, [low, high]) = spread((0..n).map(|i| inputs.iter().map(|x| x[i]).sum()).collect());
        // Standard errors: of u below u/√(2n) = 0.016, of an end √(0.025·0.975/n)/(density 0.027) = 0.013; four each.
        assert!((u - 10.148_892).abs() < 0.064, "{u}");
        assert!((low + 17.015_81).abs() < 0.052 && (high - 17.015_81).abs() < 0.052, "{low} {high}");
    }

    #[test]
    fn the_mass_calibration_of_the_supplement() {
        // JCGM 101:2008, 9.3: a model whose first-order uncertainty (0.0539 mg) misses a third of the spread. Exact
        // u = 0.0754797 mg; the ends of the middle 95 % from 2·10⁶ trials of another program.
        let n = 200_000;
        let normal = |name: &str| Draws::named(1, name).normals(n);
        let (mass, difference) = (normal("mass"), normal("difference"));
        let air = rectangular("air", 1.10, 1.30, n);
        let (weight, reference) =
            (rectangular("weight", 7000.0, 9000.0, n), rectangular("reference", 7950.0, 8050.0, n));
        let model = |i: usize| {
            let load = 100_000.0 + 0.050 * mass[i] + 1.234 + 0.020 * difference[i];
            load * (1.0 + (air[i] - 1.2) * (1.0 / weight[i] - 1.0 / reference[i])) - 100_000.0
        };
        let (u, [low, high]) = spread((0..n).map(model).collect());
        // Four standard errors: u/√(2n)·4 = 0.0005; of an end √(0.025·0.975/n)/(density 0.8)·4 = 0.0018.
        assert!((u - 0.075_479_7).abs() < 0.0005, "{u}");
        assert!((low - 1.084_19).abs() < 0.0018 && (high - 1.383_39).abs() < 0.0018, "{low} {high}");
    }

    #[test]
    fn the_end_gauge_of_the_guide_with_its_second_order() {
        // JCGM 100:2008, H.1: l = lS + d − lS(δα·θ + αS·δθ). First order gives 32 nm, with the products 34 nm; the
        // exact moments 33.8065 nm (H.1.7; all figures recomputed). Lengths in nm.
        let n = 200_000;
        let normal = |name: &str| Draws::named(1, name).normals(n);
        let (standard, difference, mean) = (normal("lS"), normal("d"), normal("theta"));
        let cycle = rectangular("cycle", 0.0, std::f64::consts::TAU, n);
        let (alpha, by) = (rectangular("alpha", 9.5e-6, 13.5e-6, n), rectangular("delta alpha", -1e-6, 1e-6, n));
        let warmer = rectangular("delta theta", -0.05, 0.05, n);
        let model = |i: usize| {
            let length = 50_000_623.0 + 25.0 * standard[i];
            let theta = -0.1 + 0.2 * mean[i] + 0.5 * super::super::float::sin(cycle[i]);
            9.681_94 * difference[i] + 25.0 * standard[i] - length * (by[i] * theta + alpha[i] * warmer[i])
        };
        let (u, _) = spread((0..n).map(model).collect());
        // Four standard errors u/√(2n).
        assert!((u - 33.8065).abs() < 0.22, "{u}");
    }
}

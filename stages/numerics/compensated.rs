//! Sums of products as if in twice the precision, from plain floats: what two roundings lose is kept and added at the
//! end. For residuals of linear systems, whose digits cancel; it solves nothing.
//!
//! # Source
//! T. Ogita, S. M. Rump, S. Oishi, Accurate sum and dot product, SIAM J. Sci. Comput. 26 (2005) 1955–1988 (Dot2), with
//! the error-free sum of Knuth and the error-free product of Dekker (Numer. Math. 18 (1971) 224–242) with Veltkamp's
//! splitting (papers and splitter as several public programs give them). No fused multiply-add, whose result would be
//! another one on processors without it.

/// 2²⁷ + 1 parts 53 bits into two halves whose products are exact.
const SPLITTER: f64 = 134_217_729.0;

/// a + b as the rounded sum and what it lost.
fn sum(a: f64, b: f64) -> (f64, f64) {
    let s = a + b;
    let of_b = s - a;
    (s, (a - (s - of_b)) + (b - of_b))
}

/// High and low half of a number below 10³⁰⁰.
fn halves(a: f64) -> (f64, f64) {
    let c = SPLITTER * a;
    let high = c - (c - a);
    (high, a - high)
}

/// a·b as the rounded product and what it lost.
fn product(a: f64, b: f64) -> (f64, f64) {
    let p = a * b;
    let ((a_high, a_low), (b_high, b_low)) = (halves(a), halves(b));
    (p, a_low * b_low - (((p - a_high * b_high) - a_low * b_high) - a_high * b_low))
}

/// `start` + Σ a·b, rounded once; NaN where a product overflows.
///
/// ```
/// use stages::numerics::compensated::sum_of_products;
/// let pairs = [(1e8, 1e8), (1.0, 1.0), (-1e8, 1e8)];
/// assert_eq!(pairs.iter().map(|(a, b)| a * b).sum::<f64>(), 0.0); // the 1 is lost
/// assert_eq!(sum_of_products(0.0, pairs.into_iter()), 1.0);
/// ```
pub fn sum_of_products(start: f64, pairs: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (mut total, mut lost) = (start, 0.0);
    for (a, b) in pairs {
        let (p, of_product) = product(a, b);
        let (s, of_sum) = sum(total, p);
        (total, lost) = (s, lost + (of_product + of_sum));
    }
    total + lost
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_that_cancel_are_kept() {
        // (2⁵² + 1)² − 2¹⁰⁴ − 2⁵³ = 1, of which plain floats leave 0.
        let big = 4_503_599_627_370_497.0;
        let pairs = [(big, big), (-4_503_599_627_370_496.0, 4_503_599_627_370_496.0), (-9_007_199_254_740_992.0, 1.0)];
        assert_eq!(sum_of_products(0.0, pairs.into_iter()), 1.0);
        assert_eq!(sum_of_products(1e16, [(1.0, 1.0), (-1e8, 1e8)].into_iter()), 1.0);
    }

    #[test]
    fn a_product_and_what_it_lost_are_the_whole() {
        // 0.1 and 0.3 as floats are n/2⁵⁵ and m/2⁵⁴ with these whole numbers.
        let (n, m) = (3_602_879_701_896_397_i128, 5_404_319_552_844_595_i128);
        let (p, lost) = product(0.1, 0.3);
        // 2¹⁰⁹ and all of its parts are exact.
        let scale = f64::from(1_u32 << 31) * (1_u64 << 39) as f64 * (1_u64 << 39) as f64;
        assert_eq!((p * scale) as i128 + (lost * scale) as i128, n * m);
    }
}

//! Whether one viscosity a sample describes the data, so that no law of the stress or the rate can be identified.

use super::data::{Data, Scale};
use super::rules::{CONSTANT, SMALLEST_RISE};
use crate::numerics::{chi_square, float, least_squares};

/// By χ² where errors are known (false where they cannot be told apart), by the range of the viscosities otherwise.
pub(super) fn is_constant(data: &Data) -> bool {
    match &data.errors {
        Some(_) => misfit(data).is_some_and(|(rss, dof)| dof < 1.0 || chi_square::upper_tail(rss, dof) > CONSTANT),
        None => (0..data.samples.len()).all(|s| {
            let of = || data.ln.iter().zip(&data.sample).filter(|(_, of)| **of == s).map(|(ln, _)| *ln);
            let (low, high) = (of().fold(f64::INFINITY, f64::min), of().fold(f64::NEG_INFINITY, f64::max));
            high - low < float::ln1p(SMALLEST_RISE)
        }),
    }
}

/// Generalised sum of squares about one level a sample, and its degrees of freedom.
fn misfit(data: &Data) -> Option<(f64, f64)> {
    let whitening = data.errors.as_ref()?.whitening(&vec![Scale::default(); data.ln.len()])?;
    let mut ln = data.ln.clone();
    whitening.apply(&mut ln);
    let column = |s: usize| {
        let mut of: Vec<f64> = data.sample.iter().map(|of| f64::from(u8::from(*of == s))).collect();
        whitening.apply(&mut of);
        of
    };
    let columns: Vec<f64> = (0..data.samples.len()).flat_map(column).collect();
    let (n, levels) = (ln.len(), least_squares::linear(&columns, &ln)?);
    let left = |i: usize| ln[i] - levels.iter().enumerate().map(|(s, l)| l * columns[s * n + i]).sum::<f64>();
    Some(((0..n).map(|i| left(i) * left(i)).sum(), n as f64 - levels.len() as f64))
}

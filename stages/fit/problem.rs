//! The objective of a fit in the coordinates of the minimiser; it knows no start, no bound and no words.
//!
//! S(p, δ) = [y − f(p, φ + uδ)]ᵀ V⁻¹ [y − f] + Σ δ², y = ln η, one shift δ per sample whose solid fraction is
//! uncertain (`data`). Scales are fitted as logarithms: coordinates are the free parameters, then the shifts.

use super::data::{Data, Scale};
use super::robust::Robust;
use crate::numerics::float;
use crate::numerics::least_squares::Residuals;
use crate::numerics::whitening::Whitening;
use crate::physics::models::{Model, Parameter, Point};

/// A model with what is held, and the data with what the fit makes of their errors.
#[derive(Clone)]
pub(super) struct Problem<'a> {
    pub model: &'a dyn Model,
    /// Value at which a parameter is held, by the settings or on a bound.
    pub held: Vec<Option<f64>>,
    pub data: &'a Data,
    /// Samples whose solid fraction may shift.
    pub shifting: Vec<usize>,
    /// Scale of each datum.
    pub scales: Vec<Scale>,
    /// What is added to each datum; empty where nothing is.
    moved: Vec<f64>,
    whitening: Option<Whitening>,
}

impl<'a> Problem<'a> {
    pub(super) fn new(model: &'a dyn Model, held: &[Option<f64>], data: &'a Data) -> Self {
        let shifting = (0..data.samples.len()).filter(|s| data.samples[*s].1 > 0.0).collect();
        let (held, scales, moved) = (held.to_vec(), Vec::new(), Vec::new());
        let plain = Self { model, held, data, shifting, scales, moved, whitening: None };
        plain.with_scales(vec![Scale::default(); data.ln.len()])
    }

    /// The same with other scales.
    #[must_use]
    pub(super) fn with_scales(self, scales: Vec<Scale>) -> Self {
        let whitening = self.data.errors.as_ref().and_then(|e| e.whitening(&scales));
        Self { scales, whitening, ..self }
    }

    /// The same with the pseudo-values of a robust loss for data, and the variance that the loss works with.
    #[must_use]
    pub(super) fn with_pseudo_values(self, robust: &Robust) -> Self {
        let weight = if self.knows_errors() { robust.slope } else { 1.0 };
        let scales = self.scales.iter().map(|scale| Scale { weight, ..*scale }).collect();
        Self { moved: robust.moved.clone(), ..self }.with_scales(scales)
    }

    /// The same with parameter `k` held.
    #[must_use]
    pub(super) fn holding(&self, k: usize, value: f64) -> Self {
        let mut held = self.held.clone();
        held[k] = Some(value);
        Self { held, ..self.clone() }
    }

    pub(super) fn free(&self) -> Vec<usize> {
        (0..self.held.len()).filter(|k| self.held[*k].is_none()).collect()
    }

    pub(super) fn parameter(&self, k: usize) -> Parameter {
        self.model.parameters()[k]
    }

    /// Name of parameter `k` in tables.
    pub(super) fn name(&self, k: usize) -> String {
        self.parameter(k).label.name.to_owned()
    }

    /// Coordinate of a value of parameter `k`.
    pub(super) fn coordinate(&self, k: usize, value: f64) -> f64 {
        if self.parameter(k).scale { float::ln(value) } else { value }
    }

    /// Value of parameter `k` at a coordinate.
    pub(super) fn value(&self, k: usize, q: f64) -> f64 {
        if self.parameter(k).scale { float::exp(q) } else { q }
    }

    /// Coordinates of model parameters and shifts (in standard uncertainties).
    pub(super) fn coordinates(&self, values: &[f64], shifts: &[f64]) -> Vec<f64> {
        let free = self.free().into_iter().map(|k| self.coordinate(k, values[k]));
        free.chain(self.shifting.iter().map(|s| shifts[*s])).collect()
    }

    /// Model parameters at coordinates `q`.
    pub(super) fn values(&self, q: &[f64]) -> Vec<f64> {
        let mut values: Vec<f64> = self.held.iter().map(|h| h.unwrap_or(0.0)).collect();
        for (k, q) in self.free().into_iter().zip(q) {
            values[k] = self.value(k, *q);
        }
        values
    }

    /// Shift of every sample, in standard uncertainties of its solid fraction.
    pub(super) fn shifts(&self, q: &[f64]) -> Vec<f64> {
        let mut shifts = vec![0.0; self.data.samples.len()];
        let free = self.free().len();
        self.shifting.iter().zip(&q[free..]).for_each(|(s, d)| shifts[*s] = *d);
        shifts
    }

    /// Where datum `i` is taken, its solid fraction shifted.
    pub(super) fn point(&self, i: usize, shifts: &[f64]) -> Point {
        let (point, sample) = (self.data.points[i], self.data.sample[i]);
        let by = shifts[sample] * self.data.samples[sample].1;
        Point { volume_fraction: point.volume_fraction + by, ..point }
    }

    /// L⁻¹ v with V = LLᵀ, so that what V correlates becomes independent; without V only what the scales ask for.
    pub(super) fn whiten(&self, v: &mut [f64]) {
        match &self.whitening {
            Some(whitening) => whitening.apply(v),
            None => v.iter_mut().zip(&self.scales).for_each(|(v, s)| *v *= s.weight.sqrt() / s.moves),
        }
    }

    /// What an error of datum `i` alone does to a sum over whitened data with these weights.
    pub(super) fn along(&self, i: usize, weights: &[f64]) -> f64 {
        let mut direction = vec![0.0; self.n()];
        direction[i] = 1.0;
        self.whiten(&mut direction);
        direction.iter().zip(weights).map(|(d, w)| d * w).sum()
    }

    /// Covariance of the whitened data by what liquid, instrument and geometry share, row after row: L⁻¹ S L⁻ᵀ.
    pub(super) fn whitened_shared(&self) -> Option<Vec<Vec<f64>>> {
        let (errors, whitening) = (self.data.errors.as_ref()?, self.whitening.as_ref()?);
        let slope = |i: usize| self.scales[i].slope;
        let shared = |i: usize, j: usize| errors.shared(i, j, slope(i), slope(j));
        let mut half: Vec<Vec<f64>> = (0..self.n()).map(|j| (0..self.n()).map(|i| shared(i, j)).collect()).collect();
        half.iter_mut().for_each(|column| whitening.apply(column));
        // S is symmetric, so the rows of L⁻¹S are what is whitened a second time.
        let mut rows: Vec<Vec<f64>> = (0..self.n()).map(|i| half.iter().map(|column| column[i]).collect()).collect();
        rows.iter_mut().for_each(|row| whitening.apply(row));
        Some(rows)
    }

    /// Whether V is known.
    pub(super) fn knows_errors(&self) -> bool {
        self.whitening.is_some()
    }

    pub(super) fn n(&self) -> usize {
        self.data.ln.len()
    }

    /// y − f at coordinates `q`, of the data as they are, not whitened.
    pub(super) fn plain_residuals(&self, q: &[f64]) -> Vec<f64> {
        let (values, shifts) = (self.values(q), self.shifts(q));
        let ln = |i: usize| self.model.ln_viscosity(&values, self.point(i, &shifts));
        self.data.ln.iter().enumerate().map(|(i, y)| y - ln(i)).collect()
    }

    /// Derivatives at `q`, column after column.
    pub(super) fn derivatives(&self, q: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; self.len() * q.len()];
        self.jacobian(q, &mut out);
        out
    }
}

impl Residuals for Problem<'_> {
    fn len(&self) -> usize {
        self.n() + self.shifting.len()
    }

    fn residuals(&self, q: &[f64], out: &mut [f64]) {
        let (values, shifts) = (self.values(q), self.shifts(q));
        for (i, (out, ln)) in out.iter_mut().zip(&self.data.ln).enumerate() {
            *out = self.model.ln_viscosity(&values, self.point(i, &shifts)) - ln;
        }
        out.iter_mut().zip(&self.moved).for_each(|(out, moved)| *out -= moved);
        self.whiten(&mut out[..self.n()]);
        out[self.n()..].copy_from_slice(&q[self.free().len()..]);
    }

    fn jacobian(&self, q: &[f64], out: &mut [f64]) {
        let (values, shifts, free) = (self.values(q), self.shifts(q), self.free());
        let (n, rows) = (self.n(), self.len());
        out.fill(0.0);
        let mut by_parameter = vec![0.0; values.len()];
        for i in 0..n {
            let by_fraction = self.model.derivatives(&values, self.point(i, &shifts), &mut by_parameter);
            for (column, k) in free.iter().enumerate() {
                let chain = if self.parameter(*k).scale { values[*k] } else { 1.0 };
                out[column * rows + i] = by_parameter[*k] * chain;
            }
            if let Some(s) = self.shifting.iter().position(|s| *s == self.data.sample[i]) {
                out[(free.len() + s) * rows + i] = by_fraction * self.data.samples[self.data.sample[i]].1;
            }
        }
        for column in 0..free.len() + self.shifting.len() {
            self.whiten(&mut out[column * rows..column * rows + n]);
        }
        for s in 0..self.shifting.len() {
            out[(free.len() + s) * rows + n + s] = 1.0;
        }
    }
}

//! From a fit to what is handed on: rows of parameters, how the fit ended, residuals, criteria. No fit, no model.

use super::data::Data;
use super::known::{self, Known};
use super::params::Params;
use super::remark::{Need, Remark};
use super::result::{Ending, FitQuality, FitRow, Residual, Scope};
use super::solve::{Fit, Found, covariance_of};
use crate::numerics::float;
use crate::physics::models::{Label, Model};

/// A model with the parameters that are held, and the data that it is fitted to.
pub(super) struct Job<'a> {
    pub model: &'a dyn Model,
    pub scope: Scope,
    pub held: Vec<Option<f64>>,
    pub data: Data,
}

/// A row without numbers.
pub(super) fn empty_row(model: &str, scope: &Scope, quantity: Label) -> FitRow {
    FitRow {
        model: model.to_owned(),
        scope: scope.clone(),
        parameter: quantity.name.to_owned(),
        unit: quantity.unit.to_owned(),
        value: None,
        u_value: None,
        value_low: None,
        value_high: None,
        rss: None,
        degrees_of_freedom: None,
        aicc: None,
        bic: None,
        remarks: Vec::new(),
    }
}

/// Rows without a value but what is held, one a parameter.
pub(super) fn without_values(model: &dyn Model, scope: &Scope, held: &[Option<f64>], why: &Remark) -> Vec<FitRow> {
    let row = |(parameter, held): (&crate::physics::models::Parameter, &Option<f64>)| {
        let remarks = held.map(|_| Remark::Held).into_iter().chain([why.clone()]).collect();
        FitRow { value: *held, remarks, ..empty_row(model.name(), scope, parameter.label) }
    };
    model.parameters().iter().zip(held).map(row).collect()
}

/// A row per parameter.
pub(super) fn rows(job: &Job<'_>, fit: &Fit<'_>, known: &[Known]) -> Vec<FitRow> {
    let parameters = job.model.parameters().iter().zip(known);
    parameters.map(|(p, known)| row(fit, &job.scope, p.label, known)).collect()
}

/// A row of a parameter, or of what follows from them.
pub(super) fn row(fit: &Fit<'_>, scope: &Scope, quantity: Label, known: &Known) -> FitRow {
    let found = fit.found.as_ref().ok();
    let criteria = found.and_then(|f| criteria_of(fit, f));
    FitRow {
        value: known.value,
        u_value: known.u,
        value_low: known.interval.map(|i| i.0),
        value_high: known.interval.map(|i| i.1),
        rss: found.map(|f| f.rss),
        degrees_of_freedom: found.map(|f| f.dof),
        aicc: criteria.and_then(|c| c.0),
        bic: criteria.and_then(|c| c.1),
        remarks: known.remarks.iter().cloned().chain(known::remarks(fit)).collect(),
        ..empty_row(fit.problem.model.name(), scope, quantity)
    }
}

/// Those of a fit; none for a robust loss, whose sum of squares is of data that differ between models.
fn criteria_of(fit: &Fit<'_>, found: &Found) -> Option<(Option<f64>, Option<f64>)> {
    found.robust.is_none().then(|| criteria(found.rss, fit.problem.n(), fit.problem.free().len()))
}

/// AICc and BIC of `free` parameters and the variance, from −2 ln L = n ln(S/n) + n(1 + ln 2π).
///
/// Comparable between models of the same data only. AICc is none unless n > k + 1; both are none for S = 0.
///
/// # Source
/// Akaike 1974; Hurvich & Tsai 1989; Schwarz 1978. The variance counts as a parameter (Burnham & Anderson 2002).
pub(super) fn criteria(rss: f64, n: usize, free: usize) -> (Option<f64>, Option<f64>) {
    let (n, k) = (n as f64, free as f64 + 1.0);
    let deviance = n * float::ln(rss / n) + n * (1.0 + float::ln(2.0 * std::f64::consts::PI));
    if !deviance.is_finite() {
        return (None, None);
    }
    (corrected(deviance, n, k), Some(deviance + k * float::ln(n)))
}

/// AICc from −2 ln L with k parameters; none unless n > k + 1.
pub(super) fn corrected(deviance: f64, n: f64, k: f64) -> Option<f64> {
    (n > k + 1.0).then(|| deviance + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0))
}

/// Akaike weights exp(−Δ/2), Δ from the smallest, normed to a sum of 1 (Burnham & Anderson 2002); none where one has
/// no criterion, or where there is nothing to weigh.
pub(super) fn weights(aicc: &[Option<f64>]) -> Option<Vec<f64>> {
    let all: Vec<f64> = aicc.iter().copied().collect::<Option<_>>()?;
    let least = all.iter().copied().fold(f64::INFINITY, f64::min);
    let relative: Vec<f64> = all.iter().map(|a| float::exp(-0.5 * (a - least))).collect();
    let sum: f64 = relative.iter().sum();
    (all.len() > 1).then(|| relative.iter().map(|r| r / sum).collect())
}

/// How the fit ended.
pub(super) fn quality(job: &Job<'_>, fit: &Fit<'_>, params: &Params, needs: Vec<Need>) -> FitQuality {
    let found = fit.found.as_ref().ok();
    let criteria = found.and_then(|f| criteria_of(fit, f));
    let names = fit.problem.free().into_iter().map(|k| fit.problem.name(k));
    let (covariance, correlation) = found.and_then(|f| matrices(fit, f)).unwrap_or_default();
    FitQuality {
        data: fit.problem.n() as u32,
        free_parameters: fit.free as u32,
        ending: fit.ending,
        starts: fit.starts.0 as u32,
        starts_agreeing: fit.starts.1 as u32,
        evaluations: fit.evaluations as u32,
        condition_number: found.and_then(|f| f.condition).filter(|c| c.is_finite()),
        on_bounds: fit.on_bounds.iter().map(|(k, _)| fit.problem.name(*k)).collect(),
        rss: found.map(|f| f.rss),
        degrees_of_freedom: found.map(|f| f.dof),
        aicc: criteria.and_then(|c| c.0),
        bic: criteria.and_then(|c| c.1),
        parameters: names.collect(),
        covariance,
        correlation,
        further_measurements: needs,
        remarks: known::distrust(fit).into_iter().chain(known::remarks(fit)).collect(),
        ..no_fit(job.model, &job.scope, params)
    }
}

/// Where nothing was fitted.
pub(super) fn no_fit(model: &dyn Model, scope: &Scope, params: &Params) -> FitQuality {
    FitQuality {
        model: model.name().to_owned(),
        scope: scope.clone(),
        data: 0,
        free_parameters: 0,
        ending: Ending::NotFitted,
        starts: 0,
        starts_agreeing: 0,
        evaluations: 0,
        condition_number: None,
        on_bounds: Vec::new(),
        loss: params.loss,
        rss: None,
        degrees_of_freedom: None,
        aicc: None,
        bic: None,
        akaike_weight: None,
        parameters: Vec::new(),
        covariance: Vec::new(),
        correlation: Vec::new(),
        further_measurements: Vec::new(),
        remarks: Vec::new(),
    }
}

/// Row by row.
type Matrix = Vec<Vec<f64>>;

/// Covariance in units of the parameters, and correlation.
fn matrices(fit: &Fit<'_>, found: &Found) -> Option<(Matrix, Matrix)> {
    let free = fit.problem.free();
    let unit = |k: usize| (0..found.q.len()).map(|j| f64::from(u8::from(j == k))).collect::<Vec<_>>();
    let matrix: Option<Matrix> = (0..free.len())
        .map(|j| (0..free.len()).map(|k| covariance_of(&fit.problem, found, &unit(j), &unit(k))).collect())
        .collect();
    let matrix = matrix?;
    let chain: Vec<f64> =
        free.iter().map(|k| if fit.problem.parameter(*k).scale { found.values[*k] } else { 1.0 }).collect();
    let scaled = |of: &dyn Fn(usize, usize) -> f64| {
        (0..free.len()).map(|j| (0..free.len()).map(|k| of(j, k) * matrix[j][k]).collect()).collect::<Matrix>()
    };
    Some((scaled(&|j, k| chain[j] * chain[k]), scaled(&|j, k| 1.0 / (matrix[j][j] * matrix[k][k]).sqrt())))
}

/// The data with what is left of them.
pub(super) fn residuals(job: &Job<'_>, fit: &Fit<'_>) -> Vec<Residual> {
    let Ok(found) = &fit.found else { return Vec::new() };
    let left = fit.problem.plain_residuals(&found.q);
    let data = &job.data;
    let of = |i: usize| Residual {
        model: job.model.name().to_owned(),
        scope: job.scope.clone(),
        sample: data.samples[data.sample[i]].0.clone(),
        set_point: data.set_points[i].clone(),
        volume_fraction: data.points[i].volume_fraction,
        stress_pa: data.points[i].stress_pa,
        ln_residual: left[i],
        standardised: found.influences[i].standardised.map(|w| w / found.variance.sqrt()),
        leverage: found.influences[i].leverage,
        weight: fit.weights.get(i).copied().unwrap_or(1.0),
    };
    (0..left.len()).map(of).collect()
}

//! The curves of fits with their bands, as figures draw them. No drawing.

use super::known::{fraction, predict};
use super::result::{FlowCurve, FlowPoint, LawCurve, LawPoint};
use super::rows::Job;
use super::solve::Fit;
use crate::numerics::float;
use crate::physics::materials::Sample;
use crate::physics::models::Point;

/// Points of a fitted curve.
const CURVE_POINTS: u16 = 80;
/// A curve ends where its band is known to this factor only: nothing is to be seen beyond.
const WIDEST_BAND: f64 = 1e3;

/// The curve of one sample under the law of its group, over twice the range of stress of the study.
pub(super) fn flow_curve(job: &Job<'_>, fit: &Fit<'_>, sample: usize, samples: &[Sample]) -> Option<FlowCurve> {
    let found = fit.found.as_ref().ok()?;
    let name = &job.data.samples[sample].0;
    let (liquid, volume_fraction) = (liquid(name, samples), fraction(fit, found, sample));
    let point = |stress_pa: f64| {
        let (value, low, high) = with_band(fit, Some(sample), Point::at_stress(volume_fraction, stress_pa))?;
        let rate_per_s = liquid.map(|v| stress_pa / (v * value));
        Some(FlowPoint { stress_pa, relative_viscosity: value, rate_per_s, low, high })
    };
    let points: Vec<FlowPoint> = around(job.data.points.iter().map(|p| p.stress_pa)).filter_map(point).collect();
    curve(job, name, volume_fraction, points)
}

/// The curve of a sample's own flow curve, over twice its range of rates; none without the liquid's viscosity.
pub(super) fn own_flow_curve(job: &Job<'_>, fit: &Fit<'_>, samples: &[Sample]) -> Option<FlowCurve> {
    let name = &job.data.samples[0].0;
    let liquid = liquid(name, samples)?;
    let point = |rate: f64| {
        let (value, low, high) = with_band(fit, None, Point::at_rate(rate))?;
        let [relative_viscosity, low, high] = [value, low, high].map(|v| v / liquid);
        Some(FlowPoint { stress_pa: value * rate, relative_viscosity, rate_per_s: Some(rate), low, high })
    };
    let points: Vec<FlowPoint> = around(job.data.points.iter().map(|p| p.rate_per_s)).filter_map(point).collect();
    curve(job, name, job.data.points[0].volume_fraction, points)
}

fn curve(job: &Job<'_>, sample: &str, volume_fraction: f64, points: Vec<FlowPoint>) -> Option<FlowCurve> {
    let (model, sample) = (job.model.name().to_owned(), sample.to_owned());
    (!points.is_empty()).then_some(FlowCurve { model, sample, volume_fraction, points })
}

fn liquid(sample: &str, samples: &[Sample]) -> Option<f64> {
    let viscosity = samples.iter().find(|s| s.name == sample).and_then(|s| s.liquid.viscosity);
    viscosity.map(|q| q.value).filter(|v| *v > 0.0)
}

/// A grid of even ratios from half the smallest to twice the largest.
fn around(values: impl Iterator<Item = f64> + Clone) -> impl Iterator<Item = f64> {
    let (low, high) = (values.clone().fold(f64::INFINITY, f64::min) / 2.0, values.fold(0.0, f64::max) * 2.0);
    (0..=CURVE_POINTS).map(move |i| low * float::pow(high / low, f64::from(i) / f64::from(CURVE_POINTS)))
}

/// A law against φ from three quarters of the smallest solid fraction until its band leaves the page.
pub(super) fn law_curve(job: &Job<'_>, fit: &Fit<'_>) -> Option<LawCurve> {
    let found = fit.found.as_ref().ok()?;
    let fractions = || job.data.points.iter().map(|p| p.volume_fraction);
    let low = 0.75 * fractions().fold(f64::INFINITY, f64::min);
    let high = found.values[0].min(fractions().fold(0.0, f64::max) + 0.1);
    let point = |i: u16| {
        let volume_fraction = low + (high - low) * f64::from(i) / f64::from(CURVE_POINTS);
        let (relative_viscosity, low, high) = with_band(fit, None, Point::at_fraction(volume_fraction))?;
        Some(LawPoint { volume_fraction, relative_viscosity, low, high })
    };
    let points: Vec<LawPoint> = (0..CURVE_POINTS).map_while(point).collect();
    let (model, scope) = (job.model.name().to_owned(), job.scope.clone());
    (!points.is_empty()).then_some(LawCurve { model, scope, points })
}

/// A viscosity with its band; none where jammed, or where the band says nothing.
fn with_band(fit: &Fit<'_>, sample: Option<usize>, point: Point) -> Option<(f64, f64, f64)> {
    let (ln, half) = predict(fit, sample, point)?;
    (half < float::ln(WIDEST_BAND)).then(|| (float::exp(ln), float::exp(ln - half), float::exp(ln + half)))
}

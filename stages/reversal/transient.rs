//! The curve that is fitted to a trace after reversal, its derivatives, its priors, and the penalised problem
//! that the minimiser sees. Starts, forms and averages are in `headline.rs`.
//!
//! # Model
//! y = η/η_before as a function of Γ, the strain since the turning point:
//!
//! y = H·[1 − d·((Γ/γ_h)·e^{1−Γ/γ_h})^q] + C·[1 − e^{−((Γ−γ_0)₊/γ_c)^m}] + E₁·e^{−Γ/γ₁} + E₂·e^{−Γ/γ₂}
//!
//! H: the liquid's share with the dip that opening gaps cause. C: contacts that form anew, at once or after a
//! delay γ_0. E₁: left-over of drive and inertia. E₂: elastic release; both of free sign. Steady shear ties
//! H + C to 1 within the uncertainty of the value before. The form is empirical: two strain scales after Ness &
//! Sun 2016 (Phys. Rev. E 93, 012604) and Peters et al. 2016 (J. Rheol. 60, 715), one smooth term for each.
//!
//! Weak normal priors enter as penalties; they keep terms apart that a short trace cannot. Hard limits are kept by
//! a logistic change of variable. Parameters that must be positive are fitted as logarithms.

use super::bins::Bin;
use super::noise;
use super::result::Noise;
use crate::numerics::float::{exp, ln, pow};
use crate::numerics::least_squares::{Covariance, Residuals};
use crate::numerics::whitening::Whitening;

/// Number of parameters of the full model.
pub(super) const PARAMETERS: usize = 12;

pub(super) const LIQUID: usize = 0;
pub(super) const CONTACTS: usize = 1;
pub(super) const DRIVE: usize = 2;
pub(super) const RELEASE: usize = 3;
pub(super) const LN_DIP: usize = 4;
pub(super) const LN_DIP_STRAIN: usize = 5;
pub(super) const DIP_POWER: usize = 6;
pub(super) const LN_DELAY: usize = 7;
pub(super) const LN_CONTACT_STRAIN: usize = 8;
pub(super) const LN_CONTACT_POWER: usize = 9;
pub(super) const LN_DRIVE_STRAIN: usize = 10;
pub(super) const LN_RELEASE_STRAIN: usize = 11;

/// The two shares of the viscosity, neither of which can be negative in truth.
const SHARES: [usize; 2] = [LIQUID, CONTACTS];

/// Standard deviation of the one-sided normal prior below 0 of either share: wide enough that noise may carry an
/// estimate below 0, narrow enough that a dip is not fitted as contacts that vanish (empirical).
pub(super) const NEGATIVE: f64 = 0.05;

/// Values of all parameters, those that the form leaves out among them.
pub(super) type Theta = [f64; PARAMETERS];

/// Weak prior of one parameter and its hard limits; logarithms are taken where the parameter is one.
pub(super) struct Prior {
    /// Centre and standard deviation; none where the data alone decide.
    pub(super) normal: Option<(f64, f64)>,
    /// Hard limits; none where there are none.
    pub(super) limits: Option<(f64, f64)>,
}

/// The table of priors. Lower limits of d and γ_0 are six standard deviations off, where the prior has long taken
/// over; the others bound what was seen in published transients and trials (empirical).
pub(super) fn prior(k: usize) -> Prior {
    let log = |centre: f64, sd: f64, low: f64, high: f64| Prior {
        normal: Some((ln(centre), sd)),
        limits: Some((ln(low), ln(high))),
    };
    match k {
        DRIVE => Prior { normal: Some((0.0, 1.5)), limits: None },
        RELEASE => Prior { normal: Some((0.0, 0.7)), limits: None },
        LN_DIP => log(0.10, 1.2, 7e-5, 0.65),
        LN_DIP_STRAIN => log(0.20, 0.40, 0.04, 0.8),
        // How the liquid's share begins to fall is what a trace tells least about X: in proportion to strain (q = 1), or
        // flat (q = 2)? In simulated particles its level falls in proportion from the first strain on, but a release
        // that overshoots hides that. The centre is a compromise between trials: contact shares of the described
        // transients (`cargo trial reversal`) come out right at 1.2 to 1.4, those of invented campaigns at 1.0, those of
        // simulated particles at 1.6; a step of 0.25 moves a mean by 0.003 to 0.005, of the particles by 0.03.
        DIP_POWER => Prior { normal: Some((1.25, 0.4)), limits: Some((0.8, 2.3)) },
        LN_DELAY => log(0.05, 0.9, 2e-4, 0.25),
        LN_CONTACT_STRAIN => log(0.40, 0.6, 0.05, 3.0),
        LN_CONTACT_POWER => log(1.2, 0.35, 0.6, 3.0),
        LN_DRIVE_STRAIN => log(0.003, 0.8, 0.0003, 0.01),
        LN_RELEASE_STRAIN => log(0.008, 0.6, 0.003, 0.025),
        _ => Prior { normal: None, limits: None },
    }
}

/// Which terms are in. Absent is a form of its own, not a parameter at its limit: with m = 1 a shift of γ_0 equals
/// a change of H, so a quadratic error at γ_0 → 0 would make u several times too large.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Form {
    /// Contacts and the dip; off for a Newtonian liquid, whose level alone is asked for.
    pub(super) structure: bool,
    /// Contacts return after a delay.
    pub(super) delay: bool,
    /// Elastic release.
    pub(super) release: bool,
}

impl Form {
    /// As it stands in results.
    pub(super) fn name(self) -> &'static str {
        match (self.delay, self.release) {
            (false, false) => "plain",
            (true, false) => "delay",
            (false, true) => "release",
            (true, true) => "delay+release",
        }
    }

    /// The parameters that are fitted.
    pub(super) fn active(self) -> Vec<usize> {
        let in_form = |k: &usize| match *k {
            LIQUID | DRIVE | LN_DRIVE_STRAIN => true,
            RELEASE | LN_RELEASE_STRAIN => self.release,
            LN_DELAY => self.structure && self.delay,
            _ => self.structure,
        };
        (0..PARAMETERS).filter(in_form).collect()
    }
}

/// Σ 2·ln sd of the priors of a form: what a parameter pays for the room that its prior gives it.
pub(super) fn prior_volume(form: Form, width: f64) -> f64 {
    form.active().into_iter().filter_map(|k| prior(k).normal).map(|(_, sd)| 2.0 * ln(sd * width)).sum()
}

/// Centre of a parameter's prior; 0 where it has none.
pub(super) fn centre(k: usize) -> f64 {
    prior(k).normal.map_or(0.0, |(centre, _)| centre)
}

/// The curve without its early exponentials, and with them.
pub(super) fn curve(form: Form, theta: &Theta, strain: f64) -> (f64, f64) {
    let mut gradient = [0.0; PARAMETERS];
    let whole = value(form, theta, strain, &mut gradient);
    (whole - theta[DRIVE] * gradient[DRIVE] - theta[RELEASE] * gradient[RELEASE], whole)
}

/// The curve and its derivatives with respect to every parameter; those out of the form are 0.
pub(super) fn value(form: Form, theta: &Theta, strain: f64, gradient: &mut Theta) -> f64 {
    *gradient = [0.0; PARAMETERS];
    let mut y = early(theta, strain, gradient, DRIVE, LN_DRIVE_STRAIN);
    if form.release {
        y += early(theta, strain, gradient, RELEASE, LN_RELEASE_STRAIN);
    }
    gradient[LIQUID] = 1.0;
    if form.structure {
        liquid(theta, strain, gradient);
        contacts(theta, strain, if form.delay { exp(theta[LN_DELAY]) } else { 0.0 }, gradient);
    }
    y + theta[LIQUID] * gradient[LIQUID] + theta[CONTACTS] * gradient[CONTACTS]
}

/// E·e^{−Γ/γ}.
fn early(theta: &Theta, strain: f64, gradient: &mut Theta, amplitude: usize, ln_scale: usize) -> f64 {
    let x = strain / exp(theta[ln_scale]);
    gradient[amplitude] = exp(-x);
    let y = theta[amplitude] * gradient[amplitude];
    gradient[ln_scale] = y * x;
    y
}

/// 1 − d·((Γ/γ_h)e^{1−Γ/γ_h})^q and its derivatives times H.
fn liquid(theta: &Theta, strain: f64, gradient: &mut Theta) {
    if strain <= 0.0 {
        return;
    }
    let x = strain / exp(theta[LN_DIP_STRAIN]);
    let ln_shape = ln(x) + 1.0 - x;
    let dip = exp(theta[LN_DIP] + theta[DIP_POWER] * ln_shape);
    gradient[LIQUID] = 1.0 - dip;
    gradient[LN_DIP] = -theta[LIQUID] * dip;
    gradient[DIP_POWER] = -theta[LIQUID] * dip * ln_shape;
    gradient[LN_DIP_STRAIN] = -theta[LIQUID] * dip * theta[DIP_POWER] * (x - 1.0);
}

/// 1 − e^{−((Γ−γ_0)₊/γ_c)^m} and its derivatives times C.
fn contacts(theta: &Theta, strain: f64, delay: f64, gradient: &mut Theta) {
    let (scale, power) = (exp(theta[LN_CONTACT_STRAIN]), exp(theta[LN_CONTACT_POWER]));
    let x = (strain - delay) / scale;
    // Closer to the onset the power has no derivative for m < 1, and the term is below 10⁻⁵ anyway.
    if x < 1e-9 {
        return;
    }
    let raised = pow(x, power);
    let absent = exp(-raised);
    gradient[CONTACTS] = 1.0 - absent;
    let slope = theta[CONTACTS] * absent * raised * power;
    gradient[LN_CONTACT_STRAIN] = -slope;
    gradient[LN_CONTACT_POWER] = slope * ln(x);
    gradient[LN_DELAY] = -slope * delay / (strain - delay);
}

/// Strain, as a factor in ln Γ, over which the deviation of a true transient from its form keeps its sign: a third of
/// a decade and more, or the fit would follow it (empirical).
pub(super) const FORM_LENGTH: f64 = 0.7;

/// Covariance of the bins: the wander of ln η scales with the curve `level`, the white part does not (noise of
/// the torque). The forms are empirical, so a true transient differs from each of them by about `form_error` times the
/// level, smoothly in ln Γ: without that term data of little noise would press early exponentials and delays into
/// service for what is no more than a slightly different shape (M. C. Kennedy & A. O'Hagan, J. R. Stat. Soc. B 63
/// (2001) 425: a model's discrepancy as a Gaussian process).
pub(super) fn whitening(bins: &[Bin], noise: &Noise, level: &[f64], form_error: f64) -> Option<Whitening> {
    let places: Vec<f64> = bins.iter().map(|b| ln(b.strain)).collect();
    Whitening::new(bins.len(), |j, k| {
        let apart = (places[j] - places[k]) / FORM_LENGTH;
        let smooth = noise::covariance(noise, bins[j].strain - bins[k].strain)
            + form_error * form_error * exp(-0.5 * apart * apart);
        smooth * level[j] * level[k] + if j == k { noise::white(noise, bins[j].readings) } else { 0.0 }
    })
}

/// What the minimiser sees: whitened bins, the tie H + C = 1, and the priors.
pub(super) struct Penalised<'a> {
    pub(super) bins: &'a [Bin],
    pub(super) whitening: &'a Whitening,
    pub(super) form: Form,
    pub(super) active: Vec<usize>,
    /// Relative standard uncertainty of the value before.
    pub(super) u_before: f64,
    /// Factor on the width of every prior.
    pub(super) width: f64,
}

impl Penalised<'_> {
    /// Parameters from the variables of the minimiser.
    pub(super) fn theta(&self, free: &[f64]) -> Theta {
        let mut theta = [0.0; PARAMETERS];
        for (k, t) in self.active.iter().zip(free) {
            theta[*k] = bounded(*k, *t).0;
        }
        theta
    }

    /// Variables of the minimiser from parameters.
    pub(super) fn free(&self, theta: &Theta) -> Vec<f64> {
        self.active.iter().map(|k| unbounded(*k, theta[*k])).collect()
    }

    /// (JᵀJ)⁻¹ in the parameters themselves, at `theta`.
    pub(super) fn covariance(&self, theta: &Theta) -> Option<Covariance> {
        let mut jacobian = vec![0.0; self.len() * self.active.len()];
        self.fill(theta, &vec![1.0; self.active.len()], &mut jacobian);
        Covariance::from_jacobian(&jacobian, self.len())
    }

    /// Sum of squares of the bins alone.
    pub(super) fn squares(&self, theta: &Theta) -> f64 {
        let mut r = vec![0.0; self.len()];
        self.fill_residuals(theta, &mut r);
        r[..self.bins.len()].iter().map(|v| v * v).sum()
    }

    fn fill_residuals(&self, theta: &Theta, out: &mut [f64]) {
        let mut gradient = [0.0; PARAMETERS];
        let (data, rest) = out.split_at_mut(self.bins.len());
        for (r, bin) in data.iter_mut().zip(self.bins) {
            *r = value(self.form, theta, bin.strain, &mut gradient) - bin.ratio;
        }
        self.whitening.apply(data);
        rest[0] = if self.form.structure { (theta[LIQUID] + theta[CONTACTS] - 1.0) / self.u_before } else { 0.0 };
        let (signs, rest) = rest[1..].split_at_mut(SHARES.len());
        for (r, k) in signs.iter_mut().zip(SHARES) {
            *r = if self.form.structure { theta[k].min(0.0) / (NEGATIVE * self.width) } else { 0.0 };
        }
        for (r, k) in rest.iter_mut().zip(&self.active) {
            *r = prior(*k).normal.map_or(0.0, |(centre, sd)| (theta[*k] - centre) / (sd * self.width));
        }
    }

    /// Derivatives, each column times its factor.
    fn fill(&self, theta: &Theta, factors: &[f64], out: &mut [f64]) {
        out.fill(0.0);
        let (n, rows) = (self.bins.len(), self.len());
        let mut gradient = [0.0; PARAMETERS];
        for (i, bin) in self.bins.iter().enumerate() {
            value(self.form, theta, bin.strain, &mut gradient);
            for (c, k) in self.active.iter().enumerate() {
                out[c * rows + i] = gradient[*k] * factors[c];
            }
        }
        for (c, k) in self.active.iter().enumerate() {
            let column = &mut out[c * rows..(c + 1) * rows];
            self.whitening.apply(&mut column[..n]);
            if let Some(sign) = SHARES.iter().position(|s| self.form.structure && s == k) {
                column[n] = factors[c] / self.u_before;
                column[n + 1 + sign] = if theta[*k] < 0.0 { factors[c] / (NEGATIVE * self.width) } else { 0.0 };
            }
            if let Some((_, sd)) = prior(*k).normal {
                column[n + 1 + SHARES.len() + c] = factors[c] / (sd * self.width);
            }
        }
    }
}

impl Residuals for Penalised<'_> {
    fn len(&self) -> usize {
        self.bins.len() + 1 + SHARES.len() + self.active.len()
    }

    fn residuals(&self, free: &[f64], out: &mut [f64]) {
        self.fill_residuals(&self.theta(free), out);
    }

    fn jacobian(&self, free: &[f64], out: &mut [f64]) {
        let factors: Vec<f64> = self.active.iter().zip(free).map(|(k, t)| bounded(*k, *t).1).collect();
        self.fill(&self.theta(free), &factors, out);
    }
}

/// A parameter from its free variable, and its derivative: logistic between the limits.
fn bounded(k: usize, free: f64) -> (f64, f64) {
    match prior(k).limits {
        None => (free, 1.0),
        Some((low, high)) => {
            let part = 1.0 / (1.0 + exp(-free));
            (low + (high - low) * part, (high - low) * part * (1.0 - part))
        }
    }
}

/// The free variable of a parameter, kept off the limits themselves, where the map has no slope.
fn unbounded(k: usize, value: f64) -> f64 {
    match prior(k).limits {
        None => value,
        Some((low, high)) => {
            let part = ((value - low) / (high - low)).clamp(1e-3, 1.0 - 1e-3);
            ln(part / (1.0 - part))
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::disallowed_methods)]
mod tests {
    use super::*;

    const FORMS: [Form; 4] = [
        Form { structure: true, delay: false, release: false },
        Form { structure: true, delay: true, release: false },
        Form { structure: true, delay: false, release: true },
        Form { structure: true, delay: true, release: true },
    ];

    fn theta() -> Theta {
        let mut theta = [
            0.4,
            0.6,
            -0.3,
            0.2,
            0.25_f64.ln(),
            0.15_f64.ln(),
            1.4,
            0.04_f64.ln(),
            0.5_f64.ln(),
            1.3_f64.ln(),
            0.004_f64.ln(),
            0.009_f64.ln(),
        ];
        theta[LIQUID] = 0.45;
        theta
    }

    #[test]
    fn derivatives_are_those_of_the_curve() {
        let control = Form { structure: false, delay: false, release: true };
        for form in FORMS.into_iter().chain([control]) {
            for strain in [0.001, 0.01, 0.0401, 0.07, 0.3, 1.5] {
                let mut gradient = [0.0; PARAMETERS];
                value(form, &theta(), strain, &mut gradient);
                let mut unused = [0.0; PARAMETERS];
                for k in 0..PARAMETERS {
                    let step = 1e-6;
                    let [mut low, mut high] = [theta(); 2];
                    (low[k], high[k]) = (low[k] - step, high[k] + step);
                    let numeric = (value(form, &high, strain, &mut unused) - value(form, &low, strain, &mut unused))
                        / (2.0 * step);
                    // Central differences with a step of 10⁻⁶ keep 9 to 10 digits.
                    assert!(
                        (numeric - gradient[k]).abs() < 2e-8 * (1.0 + gradient[k].abs()),
                        "{} parameter {k} at {strain}: {numeric} {}",
                        form.name(),
                        gradient[k]
                    );
                }
            }
        }
    }

    #[test]
    fn the_jacobian_of_the_whitened_and_bounded_problem_is_its_derivative() {
        let bins: Vec<Bin> =
            (1..15).map(|i| Bin { strain: 0.011 * f64::from(i * i), ratio: 0.5, readings: 4.0 }).collect();
        let noise = Noise { white: 0.01, correlated: 0.02, length: 0.1 };
        let whitening = whitening(&bins, &noise, &vec![0.7; bins.len()], 0.01).unwrap();
        for form in FORMS {
            let problem = Penalised {
                bins: &bins,
                whitening: &whitening,
                form,
                active: form.active(),
                u_before: 0.01,
                width: 1.0,
            };
            let free = problem.free(&theta());
            let (rows, columns) = (problem.len(), free.len());
            let mut jacobian = vec![0.0; rows * columns];
            problem.jacobian(&free, &mut jacobian);
            for c in 0..columns {
                let [mut low, mut high] = [free.clone(), free.clone()];
                (low[c], high[c]) = (low[c] - 1e-6, high[c] + 1e-6);
                let [mut r0, mut r1] = [vec![0.0; rows], vec![0.0; rows]];
                problem.residuals(&low, &mut r0);
                problem.residuals(&high, &mut r1);
                for i in 0..rows {
                    let numeric = (r1[i] - r0[i]) / 2e-6;
                    let analytic = jacobian[c * rows + i];
                    assert!(
                        (numeric - analytic).abs() < 1e-5 * (1.0 + analytic.abs()),
                        "{} column {c} row {i}",
                        form.name()
                    );
                }
            }
        }
    }

    #[test]
    fn limits_hold_and_the_change_of_variable_has_an_inverse() {
        for k in 0..PARAMETERS {
            for t in [-30.0, -1.0, 0.5, 30.0] {
                let (value, _) = bounded(k, t);
                if let Some((low, high)) = prior(k).limits {
                    assert!(low <= value && value <= high);
                }
                if t.abs() < 2.0 {
                    assert!((unbounded(k, value) - t).abs() < 1e-9);
                }
            }
        }
    }

    #[test]
    fn at_zero_strain_the_curve_is_the_liquid_and_the_early_terms() {
        let (level, whole) = curve(FORMS[3], &theta(), 0.0);
        assert!((level - 0.45).abs() < 1e-15 && (whole - 0.35).abs() < 1e-15);
    }
}

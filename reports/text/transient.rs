//! What is said of the curve that is fitted to the trace after a reversal, in enough detail to fit it again.

use super::methods::{Sentence, say};
use super::numbers::{count, setting, significant};
use stages::numerics::float;
use stages::reversal::params::Fit;
use stages::reversal::priors::{self, Weak};

/// Sentences on bins, curve, priors and average.
pub fn sentences(fit: &Fit) -> Vec<Sentence> {
    vec![
        say(bins(fit), &["stages.reversal.fit.bin_width", "stages.reversal.fit.bins"]),
        say(forms(fit), &["stages.reversal.fit.release", "stages.reversal.fit.delay"])
            .citing(&["ness-2016", "peters-2016"]),
        say(weak(fit), &["stages.reversal.fit.prior_width"]),
        say(fitted(fit), &["stages.reversal.fit.form_error"]).citing(&["more-1978"]),
        say(
            "Its minima are averaged with weights in proportion to exp(−½[F + ln det A + 2Σ ln s]), where F is the sum of \
             squares with the terms of the priors, A its Gauss–Newton matrix and s the standard deviations of the \
             priors, and their spread is part of the uncertainty.",
            &["stages.reversal.fit"],
        ),
    ]
}

fn bins(fit: &Fit) -> String {
    let width = if fit.bin_width == 1.0 {
        String::new()
    } else {
        format!(", all of these widths times {}", setting(fit.bin_width))
    };
    format!(
        "The trace after a reversal is averaged in bins of strain: two up to 0.003, seven up to 0.031, from there to 4 \
         even in the logarithm, 36 of them, and as dense beyond{width}; {} at least are needed.",
        count(u64::from(fit.bins), "bin")
    )
}

fn forms(fit: &Fit) -> String {
    let (release, delay) = match (fit.release, fit.delay) {
        (true, true) => ("", "Forms with and without E₂, and with and without γ₀, are averaged."),
        (true, false) => ("γ₀ is zero. ", "Forms with and without E₂ are averaged."),
        (false, true) => ("E₂ is zero. ", "Forms with and without γ₀ are averaged."),
        (false, false) => ("γ₀ and E₂ are zero. ", "No other form is fitted."),
    };
    format!(
        "The curve is {}, y being the viscosity over the steady one before and Γ the strain since the turning point: H is \
         the liquid's share with the dip that opening gaps cause, C are contacts that form anew, E₁ is what drive and \
         inertia leave, E₂ an elastic release; H + C is one within the uncertainty of the value before. {release}{delay}",
        priors::CURVE
    )
}

fn fitted(fit: &Fit) -> String {
    let allowed = if fit.form_error > 0.0 {
        format!(
            " and a deviation of the true transient from the form of {} % of its level, correlated as exp(−½[Δ ln Γ/{}]²)",
            two_digits(100.0 * fit.form_error),
            two_digits(priors::FORM_LENGTH)
        )
    } else {
        String::new()
    };
    format!(
        "The fit is one of least squares by the method of Levenberg and Marquardt from several starts, with the \
         covariance of the bins from the noise before the reversal{allowed}."
    )
}

/// Two digits: priors are weak.
fn two_digits(x: f64) -> String {
    significant(x, 2)
}

fn weak(fit: &Fit) -> String {
    let prior = |w: &Weak| {
        let deviation = fit.prior_width * w.deviation;
        let spread = if w.logarithmic {
            format!("times or over {}", two_digits(float::exp(deviation)))
        } else {
            format!("± {}", two_digits(deviation))
        };
        let limits = w
            .limits
            .map_or_else(String::new, |(low, high)| format!(", within {} to {}", two_digits(low), two_digits(high)));
        format!("{} {} {spread}{limits}", w.symbol, two_digits(w.centre))
    };
    let all: Vec<String> = priors::all().iter().map(prior).collect();
    format!(
        "Weak normal priors, of the logarithm where a factor is given, keep the terms apart: {}; below zero, H and C \
         have one of ± {}.",
        all.join("; "),
        two_digits(fit.prior_width * priors::BELOW_ZERO)
    )
}

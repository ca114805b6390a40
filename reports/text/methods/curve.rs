//! What is said of the curve that is fitted to the trace after a reversal, in enough detail to fit it again.

use super::sentence::{Given, Paragraph, Sentence, say};
use crate::text::numbers::{self, setting, setting_percent, significant};
use crate::text::words::{counted, listed};
use stages::numerics::float;
use stages::reversal::params::Fit;
use stages::reversal::priors::{self, Weak};
use stages::reversal::rules;

/// The chapter on the curve.
pub(super) fn paragraph(fit: &Fit) -> Paragraph {
    Paragraph { title: "The fitted curve", given: Some(given(fit)), sentences: sentences(fit) }
}

/// What is said of bins and of the curve that is fitted to them.
fn sentences(fit: &Fit) -> Vec<Sentence> {
    vec![
        say(bins(fit), &["stages.reversal.fit.bin_width", "stages.reversal.fit.bins"]),
        say(forms(fit), &["stages.reversal.fit.release", "stages.reversal.fit.delay"])
            .citing(&["ness-2016", "peters-2016"]),
        say(
            "Weak normal priors keep the terms apart; the table gives them, with the limits within which a parameter may \
             move.",
            &["stages.reversal.fit.prior_width"],
        ),
        say(fitted(fit), &["stages.reversal.fit.form_error"]).citing(&["more-1978", "kennedy-2001"]),
        say(
            format!(
            "Minima of one form that differ by less than {} in F and {} in X are one. Distinct minima of all forms are averaged with weights p in proportion to exp(−½[F + ln det A + 2Σ ln s]), \
             where F is the sum of squares with the terms of the priors, A its Gauss–Newton matrix and s the standard \
             deviations of the priors; the variance of the mean X̄ is Σ p[u² + (X − X̄)²].",
            setting(rules::ONE_MINIMUM.0),
            setting(rules::ONE_MINIMUM.1)
            ),
            &["stages.reversal.fit"],
        )
        .citing(&["mackay-1992"]),
        say(
            "Where the sum of squares per degree of freedom of the form with the largest weight is above 1, w and s are \
             multiplied by its square root, and the fit is repeated.",
            &["stages.reversal.fit"],
        )
        .citing(&["birge-1932"]),
    ]
}

/// The curve and the priors of its parameters.
fn given(fit: &Fit) -> Given {
    let below = format!("± {}, below zero only", two_digits(fit.prior_width * priors::BELOW_ZERO));
    let share = |symbol: &str| [symbol, meaning(symbol), "0", &below, numbers::MISSING].map(ToOwned::to_owned).to_vec();
    let rows = ["H", "C"].map(share).into_iter().chain(priors::all().into_iter().map(|w| row(fit, &w)));
    Given {
        formula: priors::CURVE,
        caption: "Parameters of the fitted curve with the centre and the standard deviation of their priors; a factor where \
                  the prior is one of the logarithm.",
        columns: &["parameter", "what it is", "centre", "standard deviation", "limits"],
        rows: rows.collect(),
    }
}

fn row(fit: &Fit, w: &Weak) -> Vec<String> {
    let deviation = fit.prior_width * w.deviation;
    let spread = if w.logarithmic {
        format!("×/÷ {}", two_digits(float::exp(deviation)))
    } else {
        format!("± {}", two_digits(deviation))
    };
    let limits = w.limits.map(|(low, high)| format!("{} to {}", two_digits(low), two_digits(high)));
    let limits = limits.unwrap_or_else(|| numbers::MISSING.to_owned());
    vec![w.symbol.to_owned(), meaning(w.symbol).to_owned(), centre(w.centre), spread, limits]
}

/// What a parameter of the curve is.
fn meaning(symbol: &str) -> &'static str {
    match symbol {
        "H" => "the liquid's share, at zero strain",
        "C" => "the contacts' share, when they have formed anew",
        "d" => "depth of the dip that opening gaps cause in the liquid's share",
        "γ₃" => "strain at which the dip is deepest",
        "q" => "power of the dip: the larger, the narrower",
        "γ₀" => "strain before contacts begin to form anew",
        "γ₄" => "strain over which contacts form anew",
        "m" => "power of their return",
        "E₁" => "what drive and inertia leave",
        "γ₁" => "strain over which that dies away",
        "E₂" => "elastic release",
        "γ₂" => "strain over which it dies away",
        _ => "",
    }
}

fn bins(fit: &Fit) -> String {
    let width = if fit.bin_width == 1.0 {
        String::new()
    } else {
        format!(", all of these widths times {}", setting(fit.bin_width))
    };
    format!(
        "The trace after a reversal is averaged in bins of strain: two of 0.0015, eight of 0.004 up to 0.035, and 35 even in \
         the logarithm from there to 4, as dense beyond{width}; {} at least are needed. The strain of a bin is the mean of its \
         readings, its viscosity their mean stress over their mean rate.",
        counted(u64::from(fit.bins), "bin")
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
        "In the curve above, y is the viscosity over the steady one before, and Γ the strain since the turning point; \
         before γ₀ no contact has formed anew; H + C is one within the relative uncertainty of the value before. \
         {release}{delay}"
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
        "The fit is one of least squares by the method of Levenberg and Marquardt, from {}; the rest \
         starts at the centre of its prior, H, C, E₁ and E₂ at their linear least squares. The covariance of the bins is that of the noise before the \
         reversal, the wandering part times the levels of both bins, the white one over the readings of \
         each{allowed}. It needs the curve, so that the fit is made twice, first with the levels of the trace averaged \
         over five bins and a deviation from the form of at least {}.",
        starts(fit),
        setting_percent(rules::TEMPERED)
    )
}

/// The parameters that the fit begins with.
fn starts(fit: &Fit) -> String {
    let bracket = |of: &[f64]| format!("({})", of.iter().map(|x| setting(*x)).collect::<Vec<_>>().join(", "));
    let plain = |[d, dip, q, _, scale, power]: [f64; 6]| bracket(&[d, dip, q, scale, power]);
    let late = |start: [f64; 6]| bracket(&start);
    let without = format!("(d, γ₃, q, γ₄, m) = {}", listed(rules::STARTS.into_iter().map(plain)));
    if !fit.delay {
        return without;
    }
    format!(
        "{without} without γ₀, and from (d, γ₃, q, γ₀, γ₄, m) = {} with it",
        listed(rules::DELAYED_STARTS.into_iter().map(late))
    )
}

/// Three digits without idle zeros: a centre such as 1.25 has them.
fn centre(x: f64) -> String {
    let text = significant(x, 3);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// Two digits: priors are weak.
fn two_digits(x: f64) -> String {
    significant(x, 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_parameter_of_the_curve_is_explained() {
        let given = given(&Fit::default());
        assert!(given.rows.iter().all(|row| row.len() == given.columns.len()));
        for row in &given.rows {
            assert!(given.formula.contains(&row[0]) && !row[1].is_empty(), "{row:?}");
        }
        let wider = super::given(&Fit { prior_width: 2.0, ..Fit::default() });
        assert!(wider.rows.iter().zip(&given.rows).all(|(a, b)| a[3] != b[3]), "{wider:?}");
    }
}

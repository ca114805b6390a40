//! What is said of fits; nothing where they were left out.

use super::sentence::{Sentence, say};
use crate::text::numbers::{setting, setting_percent, significant};
use crate::text::words::{listed, multiple, number};
use stages::fit::params::{Loss, ModelName, Params as Fit};
use stages::fit::rules;
use stages::numerics::least_squares::INDEPENDENT;
use stages::physics::models::{self, Model, Subject};

pub(super) fn sentences(fit: &Fit) -> Vec<Sentence> {
    if fit.skip || fit.models.is_empty() {
        return Vec::new();
    }
    let named: Vec<&dyn Model> = fit.models.iter().filter_map(|name| models::find(name.as_str())).collect();
    let of = |subject| named.iter().copied().filter(|m| m.subject() == subject).collect::<Vec<_>>();
    let groups = [Subject::Thickening, Subject::Packing, Subject::FlowCurve].map(of);
    let mut out: Vec<Sentence> = groups.iter().filter(|g| !g.is_empty()).map(|group| fitted(fit, group)).collect();
    out.push(minimised(fit));
    out.push(errors());
    out.extend(robust(fit));
    out.extend(identified(fit));
    out.push(explanations());
    out.push(
        say(
            format!(
                "Candidate models of the same data are weighed by the corrected Akaike criterion; its weights compare them \
                 with each other only, and one is called preferred from a weight of {}. The hydrodynamic part is called \
                 flat where its change over the stresses stays within ±{} at 95 % (own rules).",
                setting(rules::PREFERRED),
                setting_percent(rules::FLAT)
            ),
            &["stages.fit.models"],
        )
        .citing(&["akaike-1974", "hurvich-1989", "burnham-2002"]),
    );
    out
}

/// One sentence for the models that are fitted to the same.
fn fitted(fit: &Fit, models: &[&dyn Model]) -> Sentence {
    let held = [("α", fit.alpha), ("β", fit.beta)];
    let held = listed(held.iter().filter_map(|(name, v)| v.map(|v| format!("{name} held at {}", setting(v)))));
    let what = match models[0].subject() {
        Subject::Thickening => {
            let with = if held.is_empty() { String::new() } else { format!(", {held}") };
            format!("to all samples of the same particles at all stresses at once{with}")
        }
        Subject::Packing => "against the solid fraction, over each sample's states of lowest and of highest stress (with a contact share or without)".to_owned(),
        Subject::FlowCurve => "to the flow curve of each sample".to_owned(),
    };
    let titles = listed(models.iter().map(|m| m.title().to_owned()));
    let were = if models.len() == 1 { "model was" } else { "models were" };
    let sources: Vec<&'static str> = models.iter().flat_map(|m| m.description().sources).copied().collect();
    let formulas = models.iter().map(|m| (m.title(), m.description().formula));
    let formulas = match models {
        [_] => formulas.map(|(_, formula)| formula.to_owned()).collect::<String>(),
        _ => formulas.map(|(title, formula)| format!("{title}, {formula}")).collect::<Vec<_>>().join("; "),
    };
    let text = format!("The {titles} {were} fitted {what}: {formulas}.");
    say(text, &["stages.fit.models", "stages.fit.alpha", "stages.fit.beta"]).citing(&sources)
}

/// What the covariance of the states is made of.
fn errors() -> Sentence {
    say(
        "The covariance of the states holds the scatter of loadings, pooled over the study and parted into what a filling \
         keeps at all its set-points and what it does not (half the variance of the steps between neighbouring set-points), \
         and what liquid, instrument and geometry do, at one standard uncertainty, to all states that they touch.",
        &["count of loadings"],
    )
}

/// The candidate models of the contact shares, and how the trends with the stress are taken.
fn explanations() -> Sentence {
    say(
        "The candidate models of the contact shares are, with z = −ln(1 − X): no contacts, z = 0; a constant share, z = c with \
         a c for each sample; contacts carry the rise, z = ln η − h with an h for each sample; both parts follow the stress, \
         z = c + b·ln η with one b. Their likelihood is that with the variance integrated out, −2 ln L = (ν + n)·ln(1 + S/ν) \
         for n states, ν degrees of freedom of the scatter of z pooled over loadings, and the sum of squares S. Trends with \
         the stress are slopes of ln η_H, and of η_C over its mean viscosity, against ln σ within each loading, averaged over \
         loadings.",
        &["stages.fit.models", "count of loadings"],
    )
}

fn minimised(fit: &Fit) -> Sentence {
    let from = setting(fit.loss_scale);
    let loss = match fit.loss {
        Loss::Squares => "squares of the residuals".to_owned(),
        Loss::PseudoHuber => format!("the pseudo-Huber loss 2c²[√(1 + r²/c²) − 1], c = {from}, of the residuals r"),
        Loss::Huber => format!("Huber's loss, from {from} standard uncertainties on, of the residuals"),
    };
    say(
        format!(
            "Fits minimise {loss} of the logarithm of the viscosity with their covariance; the solid fraction of a \
             sample moves within its uncertainty, which counts as independent of that of other samples, and where the rate was held the error of the stress follows that of \
             the viscosity (effective variance), but a state keeps {} of its error at least (own rule). The scatter of \
             a loading is taken as {} at least (common practice).",
            setting_percent(rules::LEAST_MOVE),
            setting_percent(rules::SMALLEST_SCATTER)
        ),
        &["stages.fit.loss", "stages.fit.loss_scale"],
    )
    .citing(&["orear-1982"])
}

/// What uncertainties and criteria are where the loss is robust.
fn robust(fit: &Fit) -> Option<Sentence> {
    let text = "Uncertainties are those of an M-estimate, from the variance of its pseudo-values and never below that of \
                normal errors; states that the loss pulls at less than fully stand with their weights in the residuals, \
                and no criterion weighs models of the viscosity.";
    (fit.loss != Loss::Squares).then(|| say(text, &["stages.fit.loss"]).citing(&["huber-1964", "huber-1981"]))
}

/// By which rules a parameter or a fit has a value.
fn identified(fit: &Fit) -> Vec<Sentence> {
    let digits = -stages::numerics::float::log10(INDEPENDENT);
    let parameter = format!(
        "Intervals of parameters end where the sum of squares, least over all others, has risen by what 95 % allow. A \
         parameter has no value on its bound, where that rise does not come on both sides, where the interval is wider \
         than ±{} for a solid fraction or reaches to a factor of {} either way for a scale (own rules), or where other \
         parameters take its place to {} digits (empirical); the condition number of each fit stands in the \
         table of models.",
        setting(rules::WIDEST_FRACTION),
        setting(rules::WIDEST_SCALE),
        significant(digits, 2),
    );
    let whole = format!(
        "A fit has none where the data miss the model by more than {} standard uncertainties on the average, or where \
         one state that chance puts so far off with a probability below {} moves a parameter by more than its standard \
         uncertainty (own rules); below a probability of {} the model is said not to fit.",
        multiple(rules::MISSES),
        setting_percent(rules::WILD),
        setting_percent(rules::MISFIT)
    );
    let mut out =
        vec![say(parameter, &["stages.fit.models"]), say(whole, &["stages.fit.models"]).citing(&["baarda-1968"])];
    let about = |subject: Subject| {
        let is = |name: &ModelName| models::find(name.as_str()).is_some_and(|m| m.subject() == subject);
        fit.models.iter().any(is)
    };
    if about(Subject::Thickening) || about(Subject::Packing) {
        let text = format!(
            "A jamming fraction is remarked as implausible where its interval lies above the close packing of equal \
             spheres, {}, or below {} (own rule).",
            significant(rules::CLOSEST_PACKING, 4),
            setting(rules::LOOSEST_PACKING)
        );
        out.push(say(text, &["stages.fit.models"]));
    }
    if about(Subject::Thickening) {
        let text = format!(
            "The thickening law asks for {} solid fractions (own rule) and for a viscosity that follows the stress: that \
             none does must have a probability below {}, or, with one loading per state, one must change by {}. Advice \
             on amplitude and jamming fraction turns on whether the densest sample reaches {} of φ₀ (empirical).",
            number(rules::FEWEST_FRACTIONS as u64),
            setting_percent(rules::CONSTANT),
            setting_percent(rules::SMALLEST_RISE),
            setting(rules::NEAR_JAMMING)
        );
        out.push(say(text, &["stages.fit.models"]));
    }
    out
}

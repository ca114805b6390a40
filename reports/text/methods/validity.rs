//! What is said of stress between plates, and of numbers by which the flow is judged without setting anything aside.

use super::sentence::{Sentence, say};
use crate::text::numbers::{setting, setting_percent};
use crate::text::words::{counted, listed, multiple};
use stages::clean::params::Params as Clean;

/// Sentences on stress between plates, and on what is judged and not set aside.
pub(super) fn sentences(clean: &Clean, plates: bool) -> Vec<Sentence> {
    let rim = plates.then(|| rim(clean));
    let more = [heat(clean), one_temperature(clean), particles(clean), instrument(clean)];
    rim.into_iter().chain(more.into_iter().flatten()).collect()
}

fn rim(clean: &Clean) -> Sentence {
    let text = match clean.weissenberg_rabinowitsch.on() {
        Some(rule) => format!(
            "Between parallel plates steady stress is that at the rim, by the slope of the run's own flow curve from {} \
             on and up to a slope of {} in logarithms, above which it stays the apparent one; reversals keep the factor of \
             their step, so that their contact share is weighted by torque.",
            counted(rule.rates as u64, "rate"),
            setting(rule.steepest)
        ),
        None => {
            "Between parallel plates stress is the apparent one, as the study asks, without the correction to the rim."
                .to_owned()
        }
    };
    say(text, &["stages.clean.weissenberg_rabinowitsch"]).citing(&["macosko-1994"])
}

fn heat(clean: &Clean) -> Option<Sentence> {
    let rule = clean.temperature.on()?;
    let text = format!(
        "A change of the liquid's viscosity by more than {} is remarked, by heat of shearing or over the temperatures of \
         a run; {} W/(m K) and {} per kelvin were taken for it.",
        setting_percent(rule.change),
        setting(rule.conductivity),
        setting(rule.per_kelvin)
    );
    Some(say(text, &["stages.clean.temperature"]))
}

fn one_temperature(clean: &Clean) -> Option<Sentence> {
    let rule = clean.temperature_correction.on()?;
    let to = rule.reference.map_or("that for which the liquid is stated".to_owned(), |t| format!("{} °C", setting(t)));
    let law = rule.per_kelvin.map_or(String::new(), |per_kelvin| {
        format!(", or by {} per kelvin where its composition is not stated", setting(per_kelvin))
    });
    let text = format!(
        "The rate of each step was brought from its median temperature to {to} at the measured stress, in proportion to \
         the liquid's viscosity by the formula for its composition{law}: η_r(σ) = σ/(γ̇·η_f(T)), because the stress at \
         which repulsion between particles gives way does not follow the liquid's viscosity. A correction of the stress \
         at the measured rate would move a thickening sample along its flow curve."
    );
    Some(say(text, &["stages.clean.temperature_correction"]).citing(&["iapws-r12-08", "cheng-2008", "wyart-2014"]))
}

fn particles(clean: &Clean) -> Option<Sentence> {
    let numbers = clean.dimensionless_numbers.on().map(|r| {
        format!(
            "particle Reynolds and Stokes numbers above {} and Péclet numbers below {} (all by the radius)",
            setting(r.inertia),
            setting(r.peclet)
        )
    });
    let settling = clean.settling.on().map(|r| {
        format!("particles that would settle at rest by more than {} of the gap during a run", setting_percent(r.share))
    });
    let parts: Vec<String> = [numbers, settling].into_iter().flatten().collect();
    let text = format!("Remarked are {}.", listed(parts.iter().cloned()));
    let from = ["stages.clean.dimensionless_numbers", "stages.clean.settling"];
    (!parts.is_empty()).then(|| say(text, &from).citing(&["richardson-1954"]))
}

fn instrument(clean: &Clean) -> Option<Sentence> {
    let twist = clean.unknown_compliance.on().map(|r| {
        format!(
            "an instrument of unknown torsional compliance whose twist, at {} rad/(N m), would mimic a strain above {}",
            setting(r.compliance),
            setting(r.strain)
        )
    });
    let stated = clean.inertia_as_stated.on().map(|r| {
        format!(
            "an exported torque that in {} or more contradicts what is stated about inertia where inertia takes {} times \
             the sample's torque at the turning point",
            counted(r.readings as u64, "reading"),
            multiple(r.torque)
        )
    });
    let parts: Vec<String> = [twist, stated].into_iter().flatten().collect();
    let text = format!("Remarked are also {}.", listed(parts.iter().cloned()));
    let from = ["stages.clean.unknown_compliance", "stages.clean.inertia_as_stated"];
    (!parts.is_empty()).then(|| say(text, &from))
}

#[cfg(test)]
mod tests {
    use super::*;
    use stages::settings::Rule;

    fn all(clean: &Clean, plates: bool) -> String {
        sentences(clean, plates).iter().map(|s| s.text.clone()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn each_rule_has_its_words_while_it_is_on() {
        type Off = fn(&mut Clean);
        let rules: [(&str, Off); 3] = [
            ("heat of shearing", |c| c.temperature = Rule::Off),
            ("Péclet", |c| c.dimensionless_numbers = Rule::Off),
            ("contradicts what is stated", |c| c.inertia_as_stated = Rule::Off),
        ];
        for (words, off) in rules {
            let mut clean = Clean::default();
            assert!(all(&clean, false).contains(words), "{words}");
            off(&mut clean);
            assert!(!all(&clean, false).contains(words), "{words}");
        }
    }

    #[test]
    fn a_temperature_that_was_corrected_is_told() {
        let mut clean = Clean::default();
        assert!(!all(&clean, false).contains("median temperature"));
        let rule = stages::clean::params::TemperatureCorrection { reference: Some(25.0), per_kelvin: Some(0.06) };
        clean.temperature_correction = Rule::On(rule);
        assert!(all(&clean, false).contains("to 25 °C") && all(&clean, false).contains("0.06 per kelvin"));
    }

    #[test]
    fn plates_say_which_stress_they_give() {
        let mut clean = Clean::default();
        assert!(!all(&clean, false).contains("plates"));
        assert!(all(&clean, true).contains("that at the rim"));
        clean.weissenberg_rabinowitsch = Rule::Off;
        assert!(all(&clean, true).contains("the apparent one, as the study asks"));
    }
}

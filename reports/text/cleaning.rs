//! Sentences of the methods text on rules over whole steps and on numbers by which the flow is judged.

use super::methods::{InForce, Sentence, listed, say};
use super::numbers::{count, setting, setting_percent};
use stages::clean::params::Params as Clean;

/// Sentences on exclusions, a rule each; none for a rule that is off.
pub(super) fn exclusions(settings: &InForce) -> Vec<Sentence> {
    let clean = &settings.clean;
    let secondary = clean.secondary_flow.on().map(|r| {
        let reynolds =
            format!("a Reynolds number of the gap above {} (a cone's by its gap at the rim)", setting(r.reynolds));
        let taylor = format!("a Taylor number above {} between cylinders", setting(r.taylor));
        let (flat, round) = (settings.cones || settings.plates, settings.cylinders);
        let (number, sources) = match (flat, round) {
            (true, false) => (reynolds, vec!["ewoldt-2015", "turian-1972"]),
            (false, true) => (taylor, vec!["ewoldt-2015", "taylor-1923"]),
            _ => (format!("{reynolds}, {taylor}"), vec!["ewoldt-2015", "turian-1972", "taylor-1923"]),
        };
        let text = format!("Steps in which a secondary flow is to be expected are set aside: {number}.");
        say(text, &["stages.clean.secondary_flow"]).citing(&sources)
    });
    let momentum = clean.momentum_diffusion.on().map(|r| {
        let text = format!(
            "After a start or a change of speed in one sense, readings are set aside for a time of {} density · gap² / \
             viscosity.",
            setting(r.times)
        );
        say(text, &["stages.clean.momentum_diffusion"]).citing(&["ewoldt-2015"])
    });
    [secondary, momentum, surface(clean), drifting(clean)].into_iter().flatten().collect()
}

fn surface(clean: &Clean) -> Option<Sentence> {
    let rule = clean.edge_fracture.on()?;
    let text = match rule.surface_tension {
        Some(tension) => format!(
            "Steps whose stress is above what the edge holds at a surface tension of {} N/m are set aside; the second \
             normal-stress difference was taken as {} times the stress.",
            setting(tension),
            setting(rule.normal_stress_ratio)
        ),
        None => {
            "No surface tension is stated, so that the largest stress which the edge can hold is not known.".to_owned()
        }
    };
    Some(say(text, &["stages.clean.edge_fracture.surface_tension"]).citing(&["tanner-1983", "hemingway-2019"]))
}

fn drifting(clean: &Clean) -> Option<Sentence> {
    let rule = clean.drifting.on()?;
    let text = format!(
        "Where a run comes back to a set-point (within {}) after another one, its viscosity must be that of the first \
         visit: a difference of more than {} standard uncertainties is remarked above {}, and above {} the later \
         visit is set aside.",
        setting_percent(rule.same),
        setting(rule.uncertainties),
        setting_percent(rule.remarked),
        setting_percent(rule.least)
    );
    Some(say(text, &["stages.clean.drifting"]))
}

/// Sentences on stress between plates, and on what is judged and not set aside.
pub(super) fn judged(clean: &Clean, plates: bool) -> Vec<Sentence> {
    let rim = plates.then(|| rim(clean));
    let more = [heat(clean), one_temperature(clean), particles(clean), instrument(clean)];
    rim.into_iter().chain(more.into_iter().flatten()).collect()
}

fn rim(clean: &Clean) -> Sentence {
    let text = match clean.rim_stress.on() {
        Some(rule) => format!(
            "Between parallel plates steady stress is that at the rim, by the slope of the run's own flow curve from {} \
             on and up to a slope of {} in logarithms, above which it stays the apparent one; reversals keep the factor of \
             their step, so that their contact share is weighted by torque.",
            count(rule.rates as u64, "rate"),
            setting(rule.steepest)
        ),
        None => {
            "Between parallel plates stress is the apparent one, as the study asks, without the correction to the rim."
                .to_owned()
        }
    };
    say(text, &["stages.clean.rim_stress"]).citing(&["macosko-1994"])
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
        "The stress of each step was brought from its median temperature to {to}, at the measured rate and in proportion \
         to the liquid's viscosity by the formula for its composition{law}; where the stress decides on contacts, this \
         is right to first order only."
    );
    Some(say(text, &["stages.clean.temperature_correction"]).citing(&["iapws-r12-08", "cheng-2008"]))
}

fn particles(clean: &Clean) -> Option<Sentence> {
    let numbers = clean.particle_numbers.on().map(|r| {
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
    let from = ["stages.clean.particle_numbers", "stages.clean.settling"];
    (!parts.is_empty()).then(|| say(text, &from).citing(&["richardson-1954"]))
}

fn instrument(clean: &Clean) -> Option<Sentence> {
    let twist = clean.unknown_compliance.on().map(|r| {
        format!(
            "an instrument of unknown torsional compliance whose twist, at {} rad/(N m), would feign a strain above {}",
            setting(r.compliance),
            setting(r.strain)
        )
    });
    let stated = clean.inertia_as_stated.on().map(|r| {
        format!(
            "an exported torque that in {} or more contradicts what is stated about inertia where inertia takes {} times \
             the sample's torque at the turning point",
            count(r.readings as u64, "reading"),
            setting(r.torque)
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
        let settings = InForce { clean: clean.clone(), plates, ..InForce::default() };
        exclusions(&settings).iter().chain(&judged(clean, plates)).map(|s| s.text.clone()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn each_rule_has_its_words_while_it_is_on() {
        type Off = fn(&mut Clean);
        let rules: [(&str, Off); 6] = [
            ("secondary flow", |c| c.secondary_flow = Rule::Off),
            ("change of speed in one sense", |c| c.momentum_diffusion = Rule::Off),
            ("comes back to a set-point", |c| c.drifting = Rule::Off),
            ("heat of shearing", |c| c.temperature = Rule::Off),
            ("Péclet", |c| c.particle_numbers = Rule::Off),
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
    fn nothing_is_said_of_geometries_that_are_not_there() {
        let said = |cones, cylinders| {
            let settings = InForce { cones, cylinders, ..InForce::default() };
            exclusions(&settings).iter().map(|s| s.text.clone()).collect::<String>()
        };
        assert!(said(true, false).contains("Reynolds") && !said(true, false).contains("cylinders"));
        assert!(!said(false, true).contains("Reynolds") && said(true, true).contains("cylinders"));
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
        clean.rim_stress = Rule::Off;
        assert!(all(&clean, true).contains("the apparent one, as the study asks"));
    }
}

//! What is said of the rules that set readings and steps aside; a rule that is off has no sentence.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::{setting, setting_percent};
use crate::text::words::{counted, either, multiple};
use stages::clean::params::Params as Clean;
use stages::clean::recipe;
use stages::states::result::{States, StudyReversal};

pub(super) fn sentences(settings: &InForce, states: &States) -> Vec<Sentence> {
    let clean = &settings.clean;
    let mut out = vec![say("Readings are flagged with a reason and never deleted.", &["count of exclusions"])];
    let plain = [
        (clean.missing, "without torque, time or motion", "stages.clean.missing"),
        (clean.clock, "whose time goes back", "stages.clean.clock"),
        (clean.duplicate, "that repeat the time of the one before", "stages.clean.duplicate"),
    ];
    let on: Vec<_> = plain.into_iter().filter(|rule| rule.0).collect();
    if !on.is_empty() {
        let what = either(on.iter().map(|rule| rule.1.to_owned()));
        let from: Vec<&str> = on.iter().map(|rule| rule.2).collect();
        out.push(say(format!("Set aside were readings {what}."), &from));
    }
    out.extend(flags(clean));
    out.extend(over_steps(settings));
    out.extend(clean.drifting.on().and_then(|_| no_return(states)));
    out
}

/// What the rule on set-points that are visited twice cannot tell, where no reversal is at one.
fn no_return(states: &States) -> Option<Sentence> {
    let asked: Vec<&StudyReversal> =
        states.reversals.iter().filter(|r| !r.identity.control && r.set_point.is_some()).collect();
    let returns = |run: &[&StudyReversal]| {
        let visits: Vec<_> = run.chunk_by(|a, b| a.set_point == b.set_point).map(|visit| &visit[0].set_point).collect();
        visits.iter().enumerate().any(|(i, at)| visits[..i].contains(at))
    };
    let none = !asked.is_empty() && !asked.chunk_by(|a, b| a.identity.run == b.identity.run).any(returns);
    none.then(|| {
        let text = "In no run does a reversal come back to a set-point after another one, so that drying, settling or \
                    migration in the course of a run would not show in the reversals.";
        say(text, &["count of reversals"])
    })
}

/// Sentences of the rules that can be switched off and have settings.
fn flags(clean: &Clean) -> Vec<Sentence> {
    let spike = clean.spike.on().map(|r| {
        let text = format!(
            "Up to {} in a row are a spike if their torque lies on one side of the readings before and behind and differs \
             from the median of {} on either side by more than {} robust standard deviations (1.4826 times the median \
             distance from the median) and by more than {}, or {} up to strain {} after a change of speed or sense; up \
             to strain {} only single readings can be one.",
            counted(r.longest as u64, "reading"),
            counted(r.window as u64, "reading"),
            multiple(r.threshold),
            setting_percent(r.least),
            setting_percent(r.least_in_transient),
            setting(r.transient_strain),
            setting(r.single_strain)
        );
        say(text, &["stages.clean.spike"]).citing(&["hampel-1974"])
    });
    let floor = clean.below_torque_floor.on().map(|r| {
        let text = format!(
            "Stretches whose median torque lies below {} times the instrument's smallest torque are set aside, the one \
             before a reversal as well as that over strain 0.02 to 0.3 after it, never single readings.",
            multiple(r.factor)
        );
        say(text, &["stages.clean.below_torque_floor"]).citing(&["ewoldt-2015"])
    });
    let ceiling = clean.above_torque_ceiling.on().map(|r| {
        let times = if r.factor == 1.0 { String::new() } else { format!("{} times ", setting(r.factor)) };
        let text =
            format!("Stretches whose median torque lies above {times}the instrument's largest torque are set aside.");
        say(text, &["stages.clean.above_torque_ceiling"])
    });
    let inertia = clean.instrument_inertia.on().map(|r| {
        let text = format!(
            "Readings are set aside where inertia takes more than {} of the sample torque and the acceleration stands \
             out of its noise by {} standard uncertainties. A change of speed lasts from the turning point, or the beginning \
             of a step, until the speed is within {} of its median over strain {} to {}, or {} standard uncertainties; \
             where it holds fewer than {}, the mean acceleration to the neighbours decides.",
            setting_percent(r.share),
            multiple(recipe::CLEAR),
            setting_percent(recipe::REACHED),
            setting(recipe::LEAST_STRAIN),
            setting(recipe::SETTLED),
            multiple(recipe::NOISE_OF_SPEED),
            counted(r.ramp_readings as u64, "reading")
        );
        say(text, &["stages.clean.instrument_inertia"]).citing(&["ewoldt-2015"])
    });
    let gap = clean.gap_too_narrow.on().map(|r| {
        let text = format!("A gap of fewer than {} particle diameters is remarked.", multiple(r.diameters));
        say(text, &["stages.clean.gap_too_narrow"])
    });
    let edge = clean.edge_fracture.on().map(|r| {
        let text = format!(
            "A fall of the viscosity by more than {} that lasts to the end of a step, later than strain {} after a \
             change, counts as fracture of the edge.",
            setting_percent(r.fall),
            setting(r.transient_strain)
        );
        say(text, &["stages.clean.edge_fracture"])
    });
    [spike, floor, ceiling, inertia, gap, edge].into_iter().flatten().collect()
}

/// Rules over whole steps, a sentence each; none for a rule that is off.
fn over_steps(settings: &InForce) -> Vec<Sentence> {
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
        multiple(rule.uncertainties),
        setting_percent(rule.remarked),
        setting_percent(rule.least)
    );
    Some(say(text, &["stages.clean.drifting"]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use stages::settings::Rule;

    fn said(settings: &InForce) -> String {
        sentences(settings, &States::default()).iter().map(|s| s.text.clone()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn each_rule_has_its_words_while_it_is_on() {
        type Off = fn(&mut Clean);
        let rules: [(&str, Off); 3] = [
            ("secondary flow", |c| c.secondary_flow = Rule::Off),
            ("change of speed in one sense", |c| c.momentum_diffusion = Rule::Off),
            ("comes back to a set-point", |c| c.drifting = Rule::Off),
        ];
        for (words, off) in rules {
            let mut settings = InForce::default();
            assert!(said(&settings).contains(words), "{words}");
            off(&mut settings.clean);
            assert!(!said(&settings).contains(words), "{words}");
        }
    }

    #[test]
    fn nothing_is_said_of_geometries_that_are_not_there() {
        let said = |cones, cylinders| said(&InForce { cones, cylinders, ..InForce::default() });
        assert!(said(true, false).contains("Reynolds") && !said(true, false).contains("cylinders"));
        assert!(!said(false, true).contains("Reynolds") && said(true, true).contains("cylinders"));
    }

    #[test]
    fn what_no_reversal_comes_back_to_is_told() {
        let mut states = crate::fixture::states();
        let told = |states: &States| no_return(states).is_some();
        // In a run of its own each, no reversal comes back to anything.
        for (i, r) in states.reversals.iter_mut().enumerate() {
            r.identity.run = format!("run {i}");
        }
        assert!(told(&states) && !told(&States::default()));
        let asked: Vec<usize> =
            (0..states.reversals.len()).filter(|i| !states.reversals[*i].identity.control).collect();
        for (i, at) in asked.iter().zip(["1 Pa", "2 Pa", "1 Pa"]) {
            states.reversals[*i].identity.run = "one".into();
            states.reversals[*i].set_point = Some(at.into());
        }
        assert!(!told(&states));
    }
}

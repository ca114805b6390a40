//! What is said of how the exports were read: words for missing values, rows that cannot be read, steps, angles.

use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::setting_percent;
use crate::text::words::either;
use stages::ingest::params::Params;

/// Sentences on reading.
pub(super) fn sentences(settings: &InForce) -> Vec<Sentence> {
    let ingest = &settings.ingest;
    let words = ingest.missing.iter().map(|word| format!("“{word}”"));
    let missing = if ingest.missing.is_empty() {
        "A field counts as missing where it is blank.".to_owned()
    } else {
        format!("A field counts as missing where it is blank or holds {}.", either(words))
    };
    let unreadable = if ingest.refuse_unreadable {
        "Rows with a number that cannot be read were refused and counted."
    } else {
        "A number that cannot be read stops the analysis; there was none."
    };
    let mut out = vec![say(missing, &["stages.ingest.missing"]), say(unreadable, &["stages.ingest.refuse_unreadable"])];
    out.extend(settings.angles.then(|| angle(ingest)));
    out.extend(settings.steps_by_set_point.then(|| {
        let change = setting_percent(ingest.set_point_change);
        let text = format!(
            "Where an export does not number its steps, a relative change of its set-point by more than {change} begins one."
        );
        say(text, &["stages.ingest.set_point_change"])
    }));
    out.extend(settings.stress_and_torque.then(|| {
        let within = setting_percent(settings.clean.stress_agreement);
        let text = format!(
            "Where an export gives both stress and torque, they agree with the constants of the geometry within {within}; \
             otherwise the analysis stops."
        );
        say(text, &["stages.clean.stress_agreement"])
    }));
    out
}

fn angle(ingest: &Params) -> Sentence {
    let text = if ingest.unwrap_angle {
        "An angle that starts anew after each turn was made continuous."
    } else {
        "Angles were taken as they are."
    };
    say(text, &["stages.ingest.unwrap_angle"])
}

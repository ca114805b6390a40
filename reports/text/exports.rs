//! What is said of how the exports were read: words for missing values, rows that cannot be read, steps, angles.

use super::methods::{Sentence, listed, say};
use super::numbers::setting_percent;
use stages::ingest::params::Params;

/// Sentences on reading.
pub fn sentences(ingest: &Params, stress_agreement: f64) -> Vec<Sentence> {
    let words = ingest.missing.iter().map(|word| format!("“{word}”"));
    let missing = if ingest.missing.is_empty() {
        "A field counts as missing where it is blank.".to_owned()
    } else {
        format!("A field counts as missing where it is blank or holds {}.", listed(words).replace(" and ", " or "))
    };
    let unreadable = if ingest.refuse_unreadable {
        "Rows with a number that cannot be read were refused and counted."
    } else {
        "A number that cannot be read stops the analysis; there was none."
    };
    let angle = if ingest.unwrap_angle {
        "An angle that starts anew after each turn was made continuous."
    } else {
        "Angles were taken as they are."
    };
    vec![
        say(missing, &["stages.ingest.missing"]),
        say(unreadable, &["stages.ingest.refuse_unreadable"]),
        say(angle, &["stages.ingest.unwrap_angle"]),
        say(
            format!(
                "Where an export does not number its steps, a relative change of its set-point by more than {} begins \
                 one.",
                setting_percent(ingest.set_point_change)
            ),
            &["stages.ingest.set_point_change"],
        ),
        say(
            format!(
                "Where an export gives both stress and torque, they agree with the constants of the geometry within {}; \
                 otherwise the analysis stops.",
                setting_percent(stress_agreement)
            ),
            &["stages.clean.stress_agreement"],
        ),
    ]
}

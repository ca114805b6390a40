//! The methods text: sentences made from the settings in force and from counts, a file for each chapter. A rule that
//! is switched off, and a step that is left out, has no sentence. Every sentence names the settings or counts that it
//! rests on.

mod after;
mod before;
mod control;
mod curve;
mod exclusions;
mod exports;
mod fits;
mod geometries;
mod grades;
mod in_force;
mod liquids;
mod plain;
mod readings;
mod secondary;
mod sentence;
mod states;
mod uncertainty;
mod validity;

pub use in_force::InForce;
pub use plain::{cited, markdown, numbers_of};
pub use sentence::{Given, Paragraph, Sentence};

use stages::reversal::result::GradedRun;
use stages::states::result::States;

/// The methods text of a study, its chapters in the order in which they are printed.
pub fn paragraphs(settings: &InForce, runs: &[GradedRun], of: &States) -> Vec<Paragraph> {
    let paragraph = |title, sentences| Paragraph { title, given: None, sentences };
    let all = vec![
        paragraph("Liquids", liquids::sentences(&settings.computed_liquids)),
        paragraph("Readings", readings::sentences(settings, runs)),
        paragraph("Exclusions", exclusions::sentences(settings, of)),
        paragraph("Limits of the flow", validity::sentences(&settings.clean, settings.plates)),
        paragraph("Before the reversal", before::sentences(settings)),
        paragraph("After the reversal", after::sentences(settings)),
        curve::paragraph(&settings.reversal.fit),
        paragraph("Beside the value at zero strain", secondary::sentences(settings)),
        paragraph("Resolved or not, and grades", grades::sentences(settings)),
        paragraph("Control", control::sentences(settings, of)),
        paragraph("States and the share of the rise", states::sentences(settings, of)),
        paragraph("Fits", fits::sentences(&settings.fit)),
        paragraph("Uncertainty", uncertainty::sentences(settings)),
    ];
    all.into_iter().filter(|p| !p.sentences.is_empty()).collect()
}

#[cfg(test)]
mod tests;

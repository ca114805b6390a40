//! What is said of reading: counts, exports, geometries, motion, inertia, loadings.

use super::exports;
use super::geometries;
use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::words::{capital, counted, multiple};
use stages::clean::recipe::NO_NOISE;
use stages::reversal::result::GradedRun;

/// Where the strain comes from.
fn strain(settings: &InForce) -> &'static str {
    match (settings.positions, settings.rates) {
        (true, true) => {
            "Strain is that of the measured motion: from the exported angle or strain where there is one, otherwise the \
             integral of the exported speed or rate by trapezoids; never set-point times time."
        }
        (false, true) => {
            "Strain is that of the measured motion, the integral of the exported speed or rate by trapezoids, never \
             set-point times time."
        }
        _ => "Strain is that of the measured motion, from the exported angle or strain, never set-point times time.",
    }
}

pub(super) fn sentences(settings: &InForce, runs: &[GradedRun]) -> Vec<Sentence> {
    let rows: u64 = runs.iter().map(|r| r.identity.rows).sum();
    let were = if runs.len() == 1 { "was" } else { "were" };
    let mut out = vec![say(
        format!("{} with {} {were} read.", capital(&counted(runs.len() as u64, "raw export")), counted(rows, "row")),
        &["count of runs", "count of rows"],
    )];
    out.extend(exports::sentences(settings));
    out.extend(geometries::sentences(settings));
    let clean = &settings.clean;
    out.push(
        say(
            format!(
                "{} Speeds and accelerations that no export gives are the derivatives of a local quadratic over {}, \
                 symmetric about the reading unless its residuals exceed {} times the noise (the median over all such \
                 windows of a run), then the one that fits best among those that hold the reading.",
                strain(settings),
                counted(clean.derivative_readings as u64, "reading"),
                multiple(NO_NOISE)
            ),
            &["layouts", "stages.clean.derivative_readings"],
        )
        .citing(&["savitzky-1964"]),
    );
    if settings.inertia_known {
        out.push(say(
            "Where the inertia of instrument and geometry is known, the acceleration can be told and the exported torque \
             still holds it, moment of inertia times acceleration was subtracted from the torque.",
            &["instruments", "geometries", "stages.clean.instrument_inertia"],
        ));
    }
    if settings.loading_per_export {
        out.push(say(
            "Where the study does not tell loadings apart, each export counts as a loading of its own.",
            &["raw.loading"],
        ));
    }
    out
}

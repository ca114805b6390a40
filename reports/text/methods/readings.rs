//! What is said of reading: counts, exports, geometries, motion, inertia, loadings.

use super::exports;
use super::geometries;
use super::in_force::InForce;
use super::sentence::{Sentence, say};
use crate::text::numbers::count;
use stages::reversal::result::JudgedRun;

pub(super) fn sentences(settings: &InForce, runs: &[JudgedRun]) -> Vec<Sentence> {
    let rows: u64 = runs.iter().map(|r| r.identity.rows).sum();
    let were = if runs.len() == 1 { "was" } else { "were" };
    let mut out = vec![say(
        format!("{} with {} {were} read.", count(runs.len() as u64, "raw export"), count(rows, "row")),
        &["count of runs", "count of rows"],
    )];
    out.extend(exports::sentences(settings));
    out.extend(geometries::sentences(settings));
    let clean = &settings.clean;
    out.push(
        say(
            format!(
                "Strain is that of the measured motion. Speed and acceleration come from a local quadratic over {}.",
                count(clean.derivative_readings as u64, "reading")
            ),
            &["stages.clean.derivative_readings"],
        )
        .citing(&["savitzky-1964"]),
    );
    if settings.inertia_known {
        out.push(say(
            "Where the inertia of instrument and geometry is known and the acceleration can be told, the torque that \
             it takes was subtracted.",
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

//! Clean: which readings can be trusted, and what stress, rate and strain do they stand for?
//!
//! σ = k_σ·(M − I·dΩ/dt), γ̇ = k_γ·Ω, γ = k_γ·θ with the geometry's constants. Readings are flagged, never deleted:
//! every row of ingest is a row of the points, with its reasons. `motion.rs` θ, Ω, dΩ/dt · `segments.rs` where the sense
//! or speed changes · `levels.rs` what steps settle to · `rules.rs`, `drive.rs`, `spikes.rs`, `edge.rs`, `visits.rs`
//! the rules · `weissenberg_rabinowitsch.rs` the stress at the rim of plates · `temperature.rs` rates at one temperature ·
//! `validity.rs` numbers that a referee asks for · `compute.rs` their order · `remark.rs` what is to be said of a run.

pub mod compute;
mod drive;
mod edge;
mod levels;
mod local_quadratic;
mod motion;
pub mod params;
pub mod recipe;
pub mod remark;
pub mod result;
mod rules;
mod segments;
mod spikes;
mod temperature;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic, clippy::disallowed_methods)]
mod tests;
mod validity;
mod visits;
mod weissenberg_rabinowitsch;

use crate::ingest::result::Readings;
use pipeline::diagnostic::Diagnostic;
use pipeline::stage::{Context, Produced};

/// The task: input `readings`; settings `clean`, `geometry`, `instrument`, `sample`, `torque_includes_inertia`,
/// `set_aside` → `points` (Parquet) and `notes` (JSON).
///
/// # Errors
/// As [`compute::cleaned`]; places name the file `raw`.
pub fn work(context: &Context<'_>) -> Result<Produced, Vec<Diagnostic>> {
    let readings = Readings::from_parquet(&context.input("readings")?)?;
    let set_aside: Vec<params::SetAside> = context.settings("set_aside")?;
    let setup = compute::Setup {
        geometry: &context.settings("geometry")?,
        instrument: &context.settings("instrument")?,
        sample: &context.settings("sample")?,
        torque_includes_inertia: context.settings("torque_includes_inertia")?,
        set_aside: &set_aside,
    };
    let (cleaned, notes) = compute::cleaned(readings, &setup, &context.settings("clean")?)?;
    let failing: Vec<_> =
        notes.validity.iter().filter(|c| c.holds == Some(false) && !c.check.told_by_flags()).collect();
    let produced = Produced::default().with_remarks(&notes.remarks)?.with_remarks(&failing)?;
    produced.with("points", cleaned.to_parquet()?).with_json("notes", &notes)
}

/// Median of the values; none of none.
fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_by(f64::total_cmp);
    let (low, high) = (values.get(values.len().checked_sub(1)? / 2)?, values.get(values.len() / 2)?);
    Some(0.5 * (low + high))
}

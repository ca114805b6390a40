//! Reversals with known contact share through the stages: bias and coverage of every estimator, and which ones are
//! called resolved. `cargo trial reversal [studies in a row of the table] [seed]`; `cargo trial reversal grid [seed]`.
//!
//! A study is one state: some loadings, two reversals each, of one sample with one transient. `transient` how
//! suspensions answer, `instrument` what a rheometer makes of that, `design` which studies, `reading` the stages,
//! `score` the statistics, `tables` the tables. Nothing of the stages is used to make the readings.

mod design;
mod instrument;
mod reading;
mod score;
mod tables;
#[cfg(test)]
mod tests;
mod transient;

use design::{Span, Study, study};
use reading::{Said, read, settings};
use score::Result;
use stages::reversal::params::Params;
use std::process::ExitCode;
use transient::Origin;

impl crate::random::Stream {
    /// Uniform between two ends.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }
}

/// Seed of the tables in the README.
const SEED: u64 = 1;

/// Studies whose drive arrives early enough to be read.
const EARLY: Span = Span { arrival: (0.002, 0.02), noise: (0.002, 0.05), loadings: 3 };
/// Studies whose drive arrives too late.
const LATE: Span = Span { arrival: (0.1, 1.0), noise: (0.002, 0.05), loadings: 1 };
/// Studies that every estimator should be able to read.
const GOOD: Span = Span { arrival: (0.002, 0.008), noise: (0.002, 0.01), loadings: 1 };

/// Runs the trial.
pub(crate) fn trial(arguments: &[String]) -> ExitCode {
    let number = |k: usize| arguments.get(k).and_then(|a| a.parse::<u64>().ok());
    if arguments.first().is_some_and(|a| a == "grid") {
        tables::grid(number(1).unwrap_or(SEED));
    } else {
        tables::all(number(0).unwrap_or(100), number(1).unwrap_or(SEED));
    }
    ExitCode::SUCCESS
}

/// A study and what the stages said.
struct Outcome {
    study: Study,
    said: Said,
}

/// Studies `from..from + count` of an origin, read; what the stages refuse is told and left out.
fn outcomes(origin: Origin, numbers: std::ops::Range<u64>, span: &Span, params: &Params, seed: u64) -> Vec<Outcome> {
    let one = |number| {
        let study = study(number, origin, span, seed);
        match read(&study, params, seed) {
            Ok(said) => Some(Outcome { study, said }),
            Err(problems) => {
                problems.iter().for_each(|p| eprintln!("{} {number}: {p:?}", origin.name()));
                None
            }
        }
    };
    numbers.filter_map(one).collect()
}

/// Ways to read a contact share from one reversal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Estimator {
    /// The zero-strain value that the report leads with.
    Headline,
    /// The early plateau.
    Plateau,
    /// The minimum.
    Minimum,
    /// The first bin of readings.
    First,
    /// True viscosity at zero strain over the measured one before, error of that alone.
    Perfect,
}

impl Estimator {
    const ALL: [Self; 5] = [Self::Headline, Self::Plateau, Self::Minimum, Self::First, Self::Perfect];

    const fn name(self) -> &'static str {
        match self {
            Self::Headline => "zero-strain value",
            Self::Plateau => "early plateau",
            Self::Minimum => "minimum",
            Self::First => "first readings",
            Self::Perfect => "perfect reader",
        }
    }
}

impl Outcome {
    /// What an estimator says of the first reversal, where that is resolved.
    fn single(&self, estimator: Estimator) -> Option<Result> {
        let graded = self.said.reversal.as_ref().filter(|j| j.resolved)?;
        let truth = self.study.loadings[0];
        let (after, before) = (graded.read.after.as_ref()?, graded.read.before.as_ref()?);
        let eta = before.viscosity_pa_s;
        let of = |value: f64| Some(Result::new(value, None, truth));
        match estimator {
            Estimator::Headline => {
                let interval = graded.contact_share_low.zip(graded.contact_share_high);
                Some(Result::new(graded.contact_share?.value, interval, truth))
            }
            Estimator::Plateau => of(after.plateau?.1),
            Estimator::Minimum => of(1.0 - after.minimum_pa_s / eta.value),
            Estimator::First => of(1.0 - after.bins.first()?.1),
            Estimator::Perfect => {
                let protocol = &self.study.protocol;
                let ratio = protocol.stress / protocol.rate / eta.value;
                // z = −ln(1 − X) has the error of ln η before.
                let end = |sign: f64| 1.0 - (1.0 - truth) * ratio * libm::exp(sign * 1.96 * eta.u / eta.value);
                Some(Result::new(1.0 - (1.0 - truth) * ratio, Some((end(1.0), end(-1.0))), truth))
            }
        }
    }

    /// What the state says, where it has a value.
    fn state(&self) -> Option<Result> {
        let state = self.said.state.as_ref()?;
        let share = state.contact_share?;
        Some(Result::new(share.value, share.low.zip(share.high), self.study.share))
    }

    /// Error and standard uncertainty of what was read of the first reversal, whether or not it counts as resolved.
    fn fitted(&self) -> Option<(f64, f64)> {
        let share = self.said.reversal.as_ref()?.read.after.as_ref()?.contact_share;
        Some((share.value - self.study.loadings[0], share.u))
    }

    /// Whether the first reversal is called resolved.
    fn resolved(&self) -> bool {
        self.said.reversal.as_ref().is_some_and(|j| j.resolved)
    }
}

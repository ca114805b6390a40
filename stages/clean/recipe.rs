//! Numbers of the cleaning that are no settings, each with its reason; the report prints them.

/// A leg must reach this strain to be one of its own; below, it belongs to the drive's turning round (as the
/// strain after which an aborted reversal is not read).
pub const LEAST_STRAIN: f64 = 0.3;

/// The speed that a leg goes to is the median from there up to this strain.
pub const SETTLED: f64 = 1.0;

/// Speed counts as reached within this part of that speed (empirical, as for the first usable strain).
pub const REACHED: f64 = 0.02;

/// Or within so many standard uncertainties of the speed.
pub const NOISE_OF_SPEED: f64 = 3.0;

/// An acceleration is one where it stands out of its noise by so many standard uncertainties (empirical: one false
/// alarm in 10⁶ readings).
pub const CLEAR: f64 = 5.0;

/// Residuals of a quadratic over so many times the noise are no noise alone (empirical: those of pure noise are in one
/// window of 10⁴, of five readings).
pub const NO_NOISE: f64 = 3.0;

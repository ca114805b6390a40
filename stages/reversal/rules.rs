//! Numbers of the recipe that are no settings, each with its reason; the report prints them. Priors are in `priors`.

/// Standard uncertainties beyond which a drift of the viscosity is significant: two-sided 99 % of a normal deviate.
pub const DRIFTS: f64 = 2.58;

/// Standard uncertainties beyond which the viscosity recovered differs: more than for the drift, because the later stretch
/// may differ for harmless reasons too (empirical: false alarms 1.5 % and 0.05 %).
pub const DIFFERS: f64 = 3.0;

/// Strain below which bins tell the level at zero strain: above it the liquid's own share has begun to dip (empirical).
pub const EARLY: f64 = 0.1;

/// Strains after a turning point over which torque and normal force are averaged: behind an elastic release, before the
/// contacts are back.
pub const STRETCH: (f64, f64) = (0.02, 0.3);

/// Factors on the first usable strain from which a trace is read again, so that a reversal keeps a value where the control
/// comes back late (empirical: a control that needs more than twice the strain leaves too little of the early trace).
pub const LATER: [f64; 2] = [1.5, 2.0];

/// Two-sided 95 % of a normal deviate.
pub const TWO_SIDED: f64 = 1.96;

/// One-sided 95 % of a normal deviate, for bounds.
pub const ONE_SIDED: f64 = 1.645;

/// Ratio within which what was held is the same, where the noise of windows is pooled.
pub const ALIKE: f64 = 1.05;

/// Grid of strain for the lags of the variogram (empirical).
pub const LAG_STEP: f64 = 0.02;

/// How many correlation lengths are tried, the shortest and the longest, in strain (empirical).
pub const LENGTHS: (u32, f64, f64) = (12, 0.03, 0.5);

/// Deviation of the forms that the first pass allows for: data of little noise have narrow valleys, which a minimiser
/// that starts far off does not reach (empirical).
pub const TEMPERED: f64 = 0.03;

/// Parts of the way back from the minimum whose strains are given: 1 − 1/e, and nine tenths.
pub const RECOVERED: [f64; 2] = [0.632, 0.9];

/// Strains between which the speed after a reversal is read: the drive has arrived, the record goes that far.
pub const ARRIVED: (f64, f64) = (0.3, 1.0);

/// First edge, s, and growth of the bins of time after the turning point of a control (empirical: two readings or more
/// at the usual fastest sampling, three bins within the usual dead times).
pub const TIME_BINS: (f64, f64) = (1e-3, 1.5);

/// Bins in a row that must agree before the torque of a control counts as back: single ones agree by chance.
pub const AGREEING: usize = 3;

/// Weight below which a form is refuted by the data and says nothing (common practice).
pub const FORM_COUNTS: f64 = 0.05;

/// Starts of (d, γ₃, q, γ₀, γ₄, m) without a delay: slow and fast returns, weak and strong dips (empirical).
pub const STARTS: [[f64; 6]; 3] =
    [[0.08, 0.12, 1.1, 0.05, 0.3, 1.0], [0.3, 0.2, 1.8, 0.05, 0.4, 1.8], [0.05, 0.2, 1.5, 0.05, 0.25, 0.85]];

/// Starts with a delay.
pub const DELAYED_STARTS: [[f64; 6]; 2] = [[0.08, 0.12, 1.1, 0.04, 0.3, 1.0], [0.3, 0.2, 1.8, 0.07, 0.5, 1.7]];

/// Penalised sums of squares and contact shares closer than this belong to one minimum of a form (empirical: far above
/// where the minimiser stops, far below what either matters).
pub const ONE_MINIMUM: (f64, f64) = (0.05, 2e-3);

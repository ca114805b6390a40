//! The priors of the fitted curve as a report can print them: the numbers are those of `transient.rs`.

use super::transient::{
    DIP_POWER, DRIVE, LN_CONTACT_POWER, LN_CONTACT_STRAIN, LN_DELAY, LN_DIP, LN_DIP_STRAIN, LN_DRIVE_STRAIN,
    LN_RELEASE_STRAIN, RELEASE, prior,
};
use crate::numerics::float::exp;

/// The curve with the symbols of [`all`]: Γ is the strain since the turning point, H + C = 1.
pub const CURVE: &str =
    "y = H·{1 − d·[(Γ/γ₃)·exp(1 − Γ/γ₃)]^q} + C·{1 − exp(−[(Γ − γ₀)/γ₄]^m)} + E₁·exp(−Γ/γ₁) + E₂·exp(−Γ/γ₂)";

/// Standard deviation of the one-sided prior of either share, H and C, below 0.
pub const BELOW_ZERO: f64 = super::transient::NEGATIVE;

/// Length in ln Γ over which the allowed deviation from a form keeps its sign.
pub const FORM_LENGTH: f64 = super::transient::FORM_LENGTH;

/// A parameter with its normal prior and its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weak {
    /// Its symbol in [`CURVE`].
    pub symbol: &'static str,
    /// Centre.
    pub centre: f64,
    /// Standard deviation; of the logarithm where `logarithmic`.
    pub deviation: f64,
    /// The prior is one of the logarithm.
    pub logarithmic: bool,
    /// Hard limits; none where there are none.
    pub limits: Option<(f64, f64)>,
}

/// Every parameter that has a prior.
pub fn all() -> Vec<Weak> {
    let named = [
        ("d", LN_DIP, true),
        ("γ₃", LN_DIP_STRAIN, true),
        ("q", DIP_POWER, false),
        ("γ₀", LN_DELAY, true),
        ("γ₄", LN_CONTACT_STRAIN, true),
        ("m", LN_CONTACT_POWER, true),
        ("E₁", DRIVE, false),
        ("γ₁", LN_DRIVE_STRAIN, true),
        ("E₂", RELEASE, false),
        ("γ₂", LN_RELEASE_STRAIN, true),
    ];
    let weak = |(symbol, k, logarithmic): (&'static str, usize, bool)| {
        let prior = prior(k);
        let back = |x: f64| if logarithmic { exp(x) } else { x };
        let (centre, deviation) = prior.normal?;
        let limits = prior.limits.map(|(low, high)| (back(low), back(high)));
        Some(Weak { symbol, centre: back(centre), deviation, logarithmic, limits })
    };
    named.into_iter().filter_map(weak).collect()
}

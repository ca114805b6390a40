//! How a suspension's viscosity answers to a reversal, in units of the steady value: the family of transients whose
//! terms the literature describes, and shapes of other origin. Nothing here is taken from the curve that is fitted.

use crate::random::Stream;

/// The liquid's own share over its steady value: 1, less a dip of unit depth times `depth`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Dip {
    /// ((Γ/γ)·e^{1−Γ/γ})^q.
    Gamma { strain: f64, power: f64 },
    /// Difference of two exponentials, scaled to depth 1; lowest between its two strains.
    Exponentials { short: f64, ratio: f64 },
    /// Bell in ln Γ: flat at first.
    Bell { strain: f64, width: f64 },
}

impl Dip {
    /// Either form that begins to fall at once, lowest at strain 0.1–0.4: in simulated particles the liquid's level falls
    /// in proportion to strain from the first reading on.
    pub(crate) fn draw(draws: &mut Stream) -> Self {
        let strain = draws.between(0.1, 0.4);
        match draws.below(2) {
            0 => Self::Gamma { strain, power: draws.between(0.8, 2.0) },
            _ => {
                let ratio = draws.between(2.0, 6.0);
                // Lowest at short·ratio·ln(ratio)/(ratio − 1).
                Self::Exponentials { short: strain * (ratio - 1.0) / (ratio * libm::log(ratio)), ratio }
            }
        }
    }

    fn at(self, gamma: f64) -> f64 {
        match self {
            _ if gamma <= 0.0 => 0.0,
            Self::Gamma { strain, power } => libm::pow(gamma / strain * libm::exp(1.0 - gamma / strain), power),
            Self::Exponentials { short, ratio } => {
                let lowest = short * ratio * libm::log(ratio) / (ratio - 1.0);
                let fall = |x: f64| libm::exp(-x / (short * ratio)) - libm::exp(-x / short);
                fall(gamma) / fall(lowest)
            }
            Self::Bell { strain, width } => {
                let x = libm::log(gamma / strain) / width;
                libm::exp(-0.5 * x * x)
            }
        }
    }
}

/// How contacts that a reversal opened form anew: 0 at first, 1 in the end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Return {
    /// 1 − e^{−((Γ−γ₀)/γ_c)^m}.
    Stretched { delay: f64, scale: f64, power: f64 },
    /// Two scales, both at once.
    TwoScales { fast: f64, slow: f64, part: f64 },
    /// Logistic in strain, shifted so that it begins at 0.
    Logistic { middle: f64, width: f64 },
    /// 1 − (1 + Γ/γ_c)^{−p}: a long tail.
    PowerLaw { scale: f64, power: f64 },
    /// 1 − e^{−x}(cos x + sin x): overshoots by e^{−π} = 4 %.
    Overshoot { scale: f64 },
    /// As `Stretched`, but a part never quite leaves and fades over strain 0.05 instead.
    Lingering { scale: f64, power: f64, part: f64 },
}

impl Return {
    fn at(self, gamma: f64) -> f64 {
        let stretched = |x: f64, power: f64| -libm::expm1(-libm::pow(x.max(0.0), power));
        match self {
            Self::Stretched { delay, scale, power } => stretched((gamma - delay) / scale, power),
            Self::TwoScales { fast, slow, part } => {
                part * stretched(gamma / fast, 1.0) + (1.0 - part) * stretched(gamma / slow, 1.0)
            }
            Self::Logistic { middle, width } => {
                let logistic = |x: f64| 1.0 / (1.0 + libm::exp(-(x - middle) / width));
                (logistic(gamma) - logistic(0.0)) / (1.0 - logistic(0.0))
            }
            Self::PowerLaw { scale, power } => 1.0 - libm::pow(1.0 + gamma / scale, -power),
            Self::Overshoot { scale } => {
                let x = gamma / scale;
                1.0 - libm::exp(-x) * (libm::cos(x) + libm::sin(x))
            }
            Self::Lingering { scale, power, part } => part * libm::exp(-gamma / 0.05) + stretched(gamma / scale, power),
        }
    }
}

/// Elastic release: (amplitude + part of the contact share)·e^{−Γ/γ}(1 − overshoot·Γ/γ).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Release {
    /// Amplitude at strain 0 in units of the steady viscosity.
    pub(crate) amplitude: f64,
    /// What is squeezed are grains in contact: amplitude in units of the contact share.
    pub(crate) of_contacts: f64,
    /// Strain over which it fades.
    pub(crate) strain: f64,
    /// How far it swings to the other side.
    pub(crate) overshoot: f64,
}

impl Release {
    const NONE: Self = Self { amplitude: 0.0, of_contacts: 0.0, strain: 1.0, overshoot: 0.0 };

    /// Starts too low, at the wrong sign at worst; gone by strain 0.03; half of them overshoot. The amplitudes are
    /// those seen in simulated particles: 0.6 to 0.9 of the contact share.
    fn draw(draws: &mut Stream) -> Self {
        Self {
            amplitude: draws.between(-0.05, 0.05),
            of_contacts: draws.between(-0.9, 0.0),
            strain: draws.between(0.002, 0.010),
            overshoot: draws.between(-1.0, 1.0).max(0.0),
        }
    }

    fn at(self, share: f64, gamma: f64) -> f64 {
        let x = gamma / self.strain;
        (self.amplitude + self.of_contacts * share) * libm::exp(-x) * (1.0 - self.overshoot * x)
    }
}

/// A transient; its contact share is told apart, because it varies between loadings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Transient {
    /// Depth of the dip.
    pub(crate) depth: f64,
    /// Its form.
    pub(crate) dip: Dip,
    /// How contacts return.
    pub(crate) contacts: Return,
    /// Elastic release.
    pub(crate) release: Release,
    /// Slow wander on top: standard deviation and strain of its correlation.
    pub(crate) wander: (f64, f64),
}

impl Transient {
    /// Viscosity over its steady value at strain Γ after the turning point, for contact share `share`.
    pub(crate) fn at(&self, share: f64, gamma: f64) -> f64 {
        let liquid = (1.0 - share) * (1.0 - self.depth * self.dip.at(gamma));
        liquid + share * self.contacts.at(gamma) + self.release.at(share, gamma)
    }
}

/// How deep the liquid's share dips.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Class {
    /// Not at all.
    None,
    /// 5–20 %.
    Mild,
    /// 20–45 %.
    Strong,
}

impl Class {
    /// All classes.
    pub(crate) const ALL: [Self; 3] = [Self::None, Self::Mild, Self::Strong];

    /// As it stands in tables.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::None => "no dip",
            Self::Mild => "mild dip",
            Self::Strong => "strong dip",
        }
    }

    fn depth(self, draws: &mut Stream) -> f64 {
        match self {
            Self::None => 0.0,
            Self::Mild => draws.between(0.05, 0.20),
            Self::Strong => draws.between(0.20, 0.45),
        }
    }
}

/// Where a transient comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Origin {
    /// The described terms without a release.
    Plain,
    /// The described terms with an elastic release.
    Release,
    /// Foreign: a dip that begins flat, a bell in ln Γ.
    FlatDip,
    /// Foreign: contacts on two scales.
    TwoExponentials,
    /// Foreign: logistic recovery.
    Logistic,
    /// Foreign: recovery by a power law.
    PowerLaw,
    /// Foreign: recovery that overshoots.
    Overshoot,
    /// Foreign: contacts that never quite leave.
    Lingering,
    /// Foreign: the described terms with slow wander of 1–3 %.
    Wander,
}

impl Origin {
    /// The foreign ones.
    pub(crate) const FOREIGN: [Self; 7] = [
        Self::FlatDip,
        Self::TwoExponentials,
        Self::Logistic,
        Self::PowerLaw,
        Self::Overshoot,
        Self::Lingering,
        Self::Wander,
    ];

    /// As it stands in tables.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Plain => "described terms",
            Self::Release => "with elastic release",
            Self::FlatDip => "dip that begins flat",
            Self::TwoExponentials => "contacts on two scales",
            Self::Logistic => "logistic",
            Self::PowerLaw => "power law",
            Self::Overshoot => "overshoot",
            Self::Lingering => "contacts that linger",
            Self::Wander => "slow wander",
        }
    }

    /// A transient of this origin and class.
    pub(crate) fn draw(self, class: Class, draws: &mut Stream) -> Transient {
        let (dip, depth) = (Dip::draw(draws), class.depth(draws));
        let stretched = Return::Stretched {
            delay: draws.between(0.0, 0.1),
            scale: draws.between(0.15, 0.8),
            power: draws.between(0.8, 2.0),
        };
        let release = Release::draw(draws);
        let scale = draws.between(0.15, 0.8);
        let wander = (draws.between(0.01, 0.03), draws.between(0.3, 1.0));
        let plain = Transient { depth, dip, contacts: stretched, release: Release::NONE, wander: (0.0, 1.0) };
        match self {
            Self::Plain => plain,
            Self::Release => Transient { release, ..plain },
            Self::FlatDip => {
                let dip = Dip::Bell { strain: draws.between(0.1, 0.4), width: draws.between(0.6, 1.0) };
                Transient { dip, depth: depth.max(0.05), ..plain }
            }
            Self::TwoExponentials => {
                let contacts = Return::TwoScales {
                    fast: scale / draws.between(3.0, 8.0),
                    slow: scale,
                    part: draws.between(0.2, 0.6),
                };
                Transient { contacts, ..plain }
            }
            Self::Logistic => Transient {
                contacts: Return::Logistic { middle: scale, width: scale / draws.between(2.5, 5.0) },
                ..plain
            },
            Self::PowerLaw => {
                Transient { contacts: Return::PowerLaw { scale, power: draws.between(1.5, 3.0) }, ..plain }
            }
            Self::Overshoot => Transient { contacts: Return::Overshoot { scale: scale.max(0.25) }, ..plain },
            Self::Lingering => {
                let contacts =
                    Return::Lingering { scale, power: draws.between(0.8, 2.0), part: draws.between(0.01, 0.05) };
                Transient { contacts, ..plain }
            }
            Self::Wander => Transient { wander, ..plain },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_transient_starts_at_the_liquids_level_and_ends_at_the_steady_one() {
        let mut draws = Stream::named(1, "transients");
        for origin in [Origin::Plain, Origin::TwoExponentials, Origin::Logistic, Origin::PowerLaw, Origin::Overshoot] {
            for class in Class::ALL {
                let transient = origin.draw(class, &mut draws);
                assert!((transient.at(0.6, 0.0) - 0.4).abs() < 1e-12, "{transient:?}");
                // A power law still lacks (1 + 200)^−1.5 there.
                assert!((transient.at(0.6, 160.0) - 1.0).abs() < 1e-3, "{transient:?}");
            }
        }
    }

    #[test]
    fn dips_have_unit_depth_at_their_lowest_place() {
        let mut draws = Stream::named(2, "dips");
        for _ in 0..50 {
            let dip = Dip::draw(&mut draws);
            let deepest = (1..4000).map(|k| dip.at(f64::from(k) * 2.5e-4)).fold(0.0, f64::max);
            assert!((deepest - 1.0).abs() < 1e-3, "{dip:?}: {deepest}");
        }
    }
}

//! How the slurry answers: steady viscosity, its part without contacts, and the way back after a reversal. Knows no
//! instrument and no noise. SI throughout; stress and rate are magnitudes.

/// What beads of one kind do in their liquid.
pub(crate) struct Beads {
    /// Solid fraction at which the viscosity diverges while grains keep apart.
    pub(crate) phi_0: f64,
    /// The same once all grains touch.
    pub(crate) phi_m: f64,
    /// Stress that presses grains together, Pa.
    pub(crate) sigma_star: f64,
    /// Exponent of the crossover.
    pub(crate) beta: f64,
    /// Factor before the divergence.
    pub(crate) amplitude: f64,
    /// Contact share of the viscosity at low stress.
    pub(crate) share_at_low_stress: f64,
    /// Contact share of what thickening adds.
    pub(crate) share_of_rise: f64,
}

/// A steady state.
#[derive(Clone, Copy)]
pub(crate) struct Steady {
    /// Stress, Pa.
    pub(crate) stress: f64,
    /// Viscosity, Pa s.
    pub(crate) viscosity: f64,
    /// Part of the viscosity that contacts carry.
    pub(crate) share: f64,
}

impl Beads {
    /// Relative viscosity (Wyart & Cates 2014) at a fraction `f` of frictional grains.
    fn relative(&self, phi: f64, f: f64) -> f64 {
        let gap = 1.0 - phi / (f * self.phi_m + (1.0 - f) * self.phi_0);
        self.amplitude / (gap * gap)
    }

    /// The steady state under a stress, in a liquid of this viscosity.
    pub(crate) fn at_stress(&self, phi: f64, liquid: f64, stress: f64) -> Steady {
        let f = libm::exp(-libm::pow(self.sigma_star / stress, self.beta));
        let (low, total) = (self.relative(phi, 0.0), self.relative(phi, f));
        let contacts = self.share_at_low_stress * low + self.share_of_rise * (total - low);
        Steady { stress, viscosity: liquid * total, share: contacts / total }
    }

    /// The steady state at a rate: the stress whose rate it is, by bisection. The flow curve must rise throughout.
    pub(crate) fn at_rate(&self, phi: f64, liquid: f64, rate: f64) -> Steady {
        let (mut low, mut high) = (liquid * rate, 1e6 * liquid * rate);
        for _ in 0..200 {
            let middle = (low * high).sqrt();
            if middle / self.at_stress(phi, liquid, middle).viscosity < rate { low = middle } else { high = middle }
        }
        self.at_stress(phi, liquid, (low * high).sqrt())
    }
}

/// The way of the viscosity after a reversal, in units of the steady value.
#[derive(Clone, Copy)]
pub(crate) struct Transient {
    /// Contact share: what is lost at once.
    pub(crate) share: f64,
    /// Depth of the dip of the liquid's own part.
    pub(crate) dip: f64,
    /// Strain of its lowest point.
    pub(crate) dip_strain: f64,
    /// Strain before which no contact forms anew.
    pub(crate) delay: f64,
    /// Strain over which contacts form anew.
    pub(crate) spread: f64,
    /// Exponent of their return.
    pub(crate) exponent: f64,
    /// What squeezed grains give back at strain 0; negative: it pushes along.
    pub(crate) release: f64,
    /// Strain over which it fades.
    pub(crate) release_strain: f64,
}

impl Transient {
    /// Of a Newtonian liquid: none.
    pub(crate) const NONE: Self = Self {
        share: 0.0,
        dip: 0.0,
        dip_strain: 1.0,
        delay: 0.0,
        spread: 1.0,
        exponent: 1.0,
        release: 0.0,
        release_strain: 1.0,
    };

    /// Viscosity over its steady value at a strain after the turning point.
    ///
    /// The liquid's part dips as a difference of two exponentials whose strain scales differ by a factor 2 (lowest
    /// at 2·ln 2 times the shorter one, where the difference is ¼), contacts return as a stretched exponential.
    pub(crate) fn ratio(&self, strain: f64) -> f64 {
        let short = self.dip_strain / (2.0 * std::f64::consts::LN_2);
        let dip = 4.0 * (libm::exp(-strain / (2.0 * short)) - libm::exp(-strain / short));
        let grown = libm::pow((strain - self.delay).max(0.0) / self.spread, self.exponent);
        let liquid = (1.0 - self.share) * (1.0 - self.dip * dip);
        liquid + self.share * -libm::expm1(-grown) + self.release * libm::exp(-strain / self.release_strain)
    }
}

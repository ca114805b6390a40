//! Rates brought to one temperature by the liquid's own viscosity. Changes of temperature that are only remarked stand in
//! `validity.rs`.
//!
//! Hard particles without inertia and Brownian motion have η = η_f(T)·η_r(φ, σ/σ*), where the stress scale σ* of the
//! repulsion between particles does not follow the liquid's viscosity (M. Wyart & M. E. Cates, Phys. Rev. Lett. 112,
//! 098302 (2014); R. Mari, R. Seto, J. F. Morris & M. M. Denn, J. Rheol. 58, 1693 (2014)). So the stress is kept and the
//! rate scaled: at the same stress and the reference temperature the sample flows at γ̇·η_f(T)/η_f(T_ref). Scaling the
//! stress at a fixed rate instead would move the sample along its flow curve, and where it thickens by
//! d ln η_r/d ln σ = s the error of the viscosity is that of the liquid's times s/(1 − s).

use super::params::TemperatureCorrection;
use super::remark::NoTemperature;
use crate::numerics::float::exp;
use crate::physics::liquids::{Composition, TEMPERATURES};
use crate::physics::materials::Liquid;

/// Zero of the Celsius scale, K (SI brochure, 9th edition, 2.3.1).
const ZERO_CELSIUS: f64 = 273.15;

/// By how much the rate at one stress differs from that at the reference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    /// Temperature to which rates are brought, °C.
    pub(super) reference: f64,
    law: Law,
}

/// How the liquid's viscosity depends on temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Law {
    /// By the formula of its composition.
    Known(Composition),
    /// Falling by this part per kelvin, as exp(−βΔT): over the few kelvin of a run no other law can be told from it.
    PerKelvin(f64),
}

impl Scale {
    /// The scale that the settings ask for.
    ///
    /// # Errors
    /// What is not known.
    pub(super) fn new(settings: &TemperatureCorrection, liquid: &Liquid) -> Result<Self, NoTemperature> {
        match (liquid.composition, settings.per_kelvin, settings.reference) {
            (Some(known), _, reference) => {
                let own = known.temperature().value - ZERO_CELSIUS;
                Ok(Self { reference: reference.unwrap_or(own), law: Law::Known(known) })
            }
            (None, Some(per_kelvin), Some(reference)) => Ok(Self { reference, law: Law::PerKelvin(per_kelvin) }),
            (None, None, _) => Err(NoTemperature::NoCoefficient),
            (None, _, None) => Err(NoTemperature::NoReference),
        }
    }

    /// Rate at the reference over rate at this temperature (°C), at one stress: η_f(T)/η_f(T_ref); none where the formula
    /// does not hold.
    pub(super) fn rate_factor(&self, celsius: f64) -> Option<f64> {
        match self.law {
            Law::PerKelvin(beta) => Some(exp(-beta * (celsius - self.reference))),
            Law::Known(liquid) => {
                let at = |celsius: f64| {
                    let kelvin = celsius + ZERO_CELSIUS;
                    (TEMPERATURES[0]..=TEMPERATURES[1]).contains(&kelvin).then(|| liquid.at(kelvin).viscosity().value)
                };
                Some(at(celsius)? / at(self.reference)?)
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::physics::quantity::Quantity;

    fn liquid(composition: Option<Composition>) -> Liquid {
        Liquid { name: "carrier".into(), viscosity: None, density: None, composition }
    }

    /// Viscosities of water by IAPWS R12-08 with the density of IAPWS-95, mPa s: 1.0016 at 20 °C, 0.8900 at 25 °C.
    #[test]
    fn water_is_scaled_by_its_formula() {
        let water = Composition::Water { temperature: Quantity::exact(293.15) };
        let scale = Scale::new(&TemperatureCorrection::default(), &liquid(Some(water))).unwrap();
        assert!((scale.reference - 20.0).abs() < 1e-12);
        // Five digits are known of both.
        assert!((scale.rate_factor(25.0).unwrap() - 0.8900 / 1.0016).abs() < 2e-4, "{:?}", scale.rate_factor(25.0));
        assert_eq!(scale.rate_factor(20.0), Some(1.0));
        assert_eq!(scale.rate_factor(60.0), None, "the formula holds to 40 °C");
    }

    #[test]
    fn another_liquid_needs_its_coefficient_and_a_reference() {
        let settings = TemperatureCorrection { reference: Some(25.0), per_kelvin: Some(0.05) };
        let scale = Scale::new(&settings, &liquid(None)).unwrap();
        // exp(−0.05 · 2), exp(0.05 · 1) by hand.
        assert!((scale.rate_factor(27.0).unwrap() - 0.904_837_418).abs() < 1e-9);
        assert!((scale.rate_factor(24.0).unwrap() - 1.051_271_096).abs() < 1e-9);
        for lacking in [
            TemperatureCorrection { reference: None, ..settings.clone() },
            TemperatureCorrection { per_kelvin: None, ..settings },
        ] {
            assert!(Scale::new(&lacking, &liquid(None)).is_err());
        }
    }
}

//! Viscosity and density of liquids that need no measurement: water and water–glycerol at one atmosphere. It must not
//! hold what a study says of its liquids.

use super::quantity::Quantity;
use crate::numerics::float::{exp, pow, sin};
use serde::{Deserialize, Serialize};
use std::f64::consts::PI;

/// What a liquid is made of, where its viscosity follows from that and from its temperature.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Composition {
    /// Ordinary water.
    Water {
        /// K.
        temperature: Quantity,
    },
    /// Water and glycerol.
    WaterGlycerol {
        /// K.
        temperature: Quantity,
        /// Mass fraction of glycerol, 0–1.
        glycerol: Quantity,
    },
}

/// Standard uncertainty of the formulation for liquid water at one atmosphere: half of the 1 % that IAPWS R12-08
/// gives with k = 2.
const U_WATER: f64 = 0.005;
/// Standard uncertainty of Cheng's formula: its mean deviation from the measurements of Segur & Oberstar (1951) is
/// 1.5 %, the largest 3.5 % (80 mixtures, 0–40 °C).
const U_MIXTURE: f64 = 0.02;
/// Standard uncertainty of the density of water by the formula of Tanaka et al. (2001): below 10⁻⁶ without
/// dissolved air, some 3·10⁻⁶ with it; what counts here is only that it is small.
const U_WATER_DENSITY: f64 = 1e-5;
/// Standard uncertainty of the mixture's density: the formula differs from the table of Bosart & Snoddy by up to 3·10⁻⁴ at
/// 20 °C, and its contraction was measured at 15–30 °C, of which 0–40 °C is an extrapolation.
const U_MIXTURE_DENSITY: f64 = 0.001;

/// Zero of the Celsius scale, K (SI brochure, 9th edition, 2.3.1).
const ZERO_CELSIUS: f64 = 273.15;

/// Temperatures for which the formulas hold, K: the density of water is given for 0–40 °C.
pub const TEMPERATURES: [f64; 2] = [273.15, 313.15];

impl Composition {
    /// Viscosity at one atmosphere, Pa s: value, and uncertainty from temperature, composition and the formula.
    pub fn viscosity(&self) -> Quantity {
        match *self {
            Self::Water { temperature } => propagate(water_viscosity_at, temperature, U_WATER),
            Self::WaterGlycerol { temperature, glycerol } => {
                mixture(water_glycerol_viscosity, temperature, glycerol, U_MIXTURE)
            }
        }
    }

    /// Density at one atmosphere, kg/m³.
    pub fn density(&self) -> Quantity {
        match *self {
            Self::Water { temperature } => propagate(water_density, temperature, U_WATER_DENSITY),
            Self::WaterGlycerol { temperature, glycerol } => {
                mixture(water_glycerol_density, temperature, glycerol, U_MIXTURE_DENSITY)
            }
        }
    }

    /// The same liquid at another temperature, K, taken as exact.
    #[must_use]
    pub fn at(self, kelvin: f64) -> Self {
        let temperature = Quantity::exact(kelvin);
        match self {
            Self::Water { .. } => Self::Water { temperature },
            Self::WaterGlycerol { glycerol, .. } => Self::WaterGlycerol { temperature, glycerol },
        }
    }

    /// K.
    pub fn temperature(&self) -> Quantity {
        match *self {
            Self::Water { temperature } | Self::WaterGlycerol { temperature, .. } => temperature,
        }
    }
}

/// First-order propagation (JCGM 100, 5.1.2), with the formula's own relative uncertainty.
fn propagate(formula: impl Fn(f64) -> f64, x: Quantity, own: f64) -> Quantity {
    let value = formula(x.value);
    let spread = (formula(x.value + x.u) - formula(x.value - x.u)) / 2.0;
    let own = own * value;
    Quantity { value, u: (spread * spread + own * own).sqrt() }
}

fn mixture(formula: fn(f64, f64) -> f64, temperature: Quantity, glycerol: Quantity, own: f64) -> Quantity {
    let by_temperature = propagate(|t| formula(glycerol.value, t), temperature, 0.0);
    let by_glycerol = propagate(|g| formula(g, temperature.value), glycerol, own);
    let (a, b) = (by_temperature.u, by_glycerol.u);
    Quantity { value: by_glycerol.value, u: (a * a + b * b).sqrt() }
}

/// Viscosity of liquid water at one atmosphere, Pa s, at T in K within [`TEMPERATURES`].
fn water_viscosity_at(temperature: f64) -> f64 {
    water_viscosity(temperature, water_density(temperature))
}

/// Coefficients of the viscosity in the limit of zero density (IAPWS R12-08, table 1).
const H_0: [f64; 4] = [1.677_52, 2.204_62, 0.636_656_4, -0.241_605];

/// Coefficients H_ij (IAPWS R12-08, table 2): a row per power i of 1/T − 1, a column per power j of ρ − 1.
#[rustfmt::skip]
const H_1: [[f64; 7]; 6] = [
    [5.200_94e-1, 2.225_31e-1, -2.813_78e-1, 1.619_13e-1, -3.253_72e-2, 0.0, 0.0],
    [8.508_95e-2, 9.991_15e-1, -9.068_51e-1, 2.573_99e-1, 0.0, 0.0, 0.0],
    [-1.083_74, 1.887_97, -7.724_79e-1, 0.0, 0.0, 0.0, 0.0],
    [-2.895_55e-1, 1.266_13, -4.898_37e-1, 0.0, 6.984_52e-2, 0.0, -4.356_73e-3],
    [0.0, 0.0, -2.570_40e-1, 0.0, 0.0, 8.721_02e-3, 0.0],
    [0.0, 1.205_73e-1, 0.0, 0.0, 0.0, 0.0, -5.932_64e-4],
];

/// Viscosity of water, Pa s, at T in K and density in kg/m³, without the critical enhancement, which is below 10⁻⁴ away
/// from the critical point (IAPWS R12-08, eqs. 10–12).
fn water_viscosity(temperature: f64, density: f64) -> f64 {
    let (t, rho) = (temperature / 647.096, density / 322.0);
    let dilute = 100.0 * t.sqrt() / polynomial(&H_0, 1.0 / t);
    let rows = H_1.map(|row| polynomial(&row, rho - 1.0));
    1e-6 * dilute * exp(rho * polynomial(&rows, 1.0 / t - 1.0))
}

/// Horner's scheme, lowest power first.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Density of air-free water at one atmosphere, kg/m³, at T in K, 0–40 °C (Tanaka et al. 2001, eq. 1).
fn water_density(temperature: f64) -> f64 {
    let t = temperature - 273.15;
    let a = t - 3.983_035;
    999.974_950 * (1.0 - a * a * (t + 301.797) / (522_528.9 * (t + 69.348_81)))
}

/// Viscosity of a water–glycerol mixture, Pa s, at mass fraction of glycerol and T in K (Cheng 2008, eqs. 6, 11–13,
/// 21, 22). It takes the fraction by mass, so that no rule for the density enters.
fn water_glycerol_viscosity(glycerol: f64, temperature: f64) -> f64 {
    let (c, t) = (glycerol, temperature - 273.15);
    let ln_water = (-1230.0 - t) * t / (36_100.0 + 360.0 * t);
    let ln_glycerol = (-1233.0 + t) * t / (9900.0 + 70.0 * t);
    let a = 0.705 - 0.0017 * t;
    let b = (4.9 + 0.036 * t) * a * a * a.sqrt();
    let share = 1.0 - c + a * b * c * (1.0 - c) / (a * c + b * (1.0 - c));
    let ratio = crate::numerics::float::ln(12_100.0 / 1.790) + ln_glycerol - ln_water;
    1e-3 * 1.790 * exp(ln_water + (1.0 - share) * ratio)
}

/// Density of a water–glycerol mixture, kg/m³: that of volumes which add up, times the contraction
/// 1 + A(t)·sin(π·w^1.31)^0.81 by mixing, up to 1.1 % (Volk & Kähler 2018).
fn water_glycerol_density(glycerol: f64, temperature: f64) -> f64 {
    let t = temperature - ZERO_CELSIUS;
    let pure = 1273.3 - 0.6121 * t;
    let additive = 1.0 / (glycerol / pure + (1.0 - glycerol) / water_density(temperature));
    let strength = 1.41e-2 - 1.82e-4 * t + 1.78e-6 * t * t;
    // Rounding may leave the sine of π·1 just below zero, which has no such power.
    let bow = sin(PI * pow(glycerol, 1.31)).max(0.0);
    additive * (1.0 + strength * pow(bow, 0.81))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE_4: &str = include_str!("reference/iapws_r12-08_table4.csv");
    const ONE_ATMOSPHERE: &str = include_str!("reference/water_one_atmosphere.csv");
    const CHENG: &str = include_str!("reference/cheng2008_fine.csv");
    const MEASURED: &str = include_str!("reference/water_glycerol.csv");
    /// Mass fraction of glycerol, °C, kg/m³.
    const VOLK: [(f64, f64, f64); 8] = [
        (0.2, 15.0, 1048.183),
        (0.2, 30.0, 1043.191),
        (0.5, 15.0, 1128.540),
        (0.5, 20.0, 1126.109),
        (0.5, 30.0, 1121.108),
        (0.8, 20.0, 1207.900),
        (0.8, 30.0, 1201.864),
        (0.95, 25.0, 1245.095),
    ];

    /// Rows of numbers of a reference file.
    fn rows(text: &str) -> Vec<Vec<f64>> {
        let numbers = |line: &str| line.split(',').map(str::parse).collect::<Result<Vec<f64>, _>>().ok();
        let rows: Vec<_> = text.lines().filter_map(numbers).collect();
        assert!(rows.len() > 9, "the reference file is read");
        rows
    }

    /// IAPWS R12-08, table 4, to its last digit.
    #[test]
    fn water_agrees_with_the_check_values_of_the_release() {
        for row in rows(TABLE_4) {
            let found = water_viscosity(row[0], row[1]) * 1e6;
            assert!((found - row[2]).abs() < 1e-6, "{row:?}: {found}");
        }
    }

    /// R12-08 with the density of IAPWS-95 by the public package `iapws`; the density formula differs by some 10⁻⁶.
    #[test]
    fn liquid_water_agrees_at_one_atmosphere() {
        for row in rows(ONE_ATMOSPHERE).into_iter().filter(|row| row[0] <= 40.0) {
            let kelvin = row[0] + 273.15;
            // Six digits are printed; 2e-6 from the density.
            assert!((water_viscosity_at(kelvin) * 1e3 / row[1] - 1.0).abs() < 3e-6, "{row:?}");
            // The two density formulas differ by 1.2e-6 at most, and the file prints five decimals.
            assert!((water_density(kelvin) / row[4] - 1.0).abs() < 1.5e-6, "{row:?}");
        }
    }

    /// Cheng's formula by an independent script, and the measurements it was made for.
    #[test]
    fn water_glycerol_agrees_with_the_formula_and_with_the_measurements() {
        for row in rows(CHENG) {
            let found = water_glycerol_viscosity(row[0], row[1] + 273.15) * 1e3;
            assert!((found / row[2] - 1.0).abs() < 1e-10, "{row:?}: {found}");
        }
        for row in rows(MEASURED) {
            let found = water_glycerol_viscosity(row[0] / 100.0, row[1] + 273.15) * 1e3;
            // Twice the standard uncertainty that is claimed.
            assert!((found / row[2] - 1.0).abs() < 2.0 * U_MIXTURE, "{row:?}: {found}");
        }
    }

    /// Volumes that add up are too light by up to 1 % here: glycerol and water contract.
    ///
    /// Density at 20 °C, g/cm³, by percent of glycerol: L. W. Bosart & A. O. Snoddy, Ind. Eng. Chem. 20, 1377 (1928), as the
    /// handbooks of glycerol print it (from memory).
    #[test]
    fn density_of_water_glycerol_agrees_with_the_pycnometer() {
        const MEASURED: [(f64, f64); 10] = [
            (10.0, 1.022_10),
            (20.0, 1.046_90),
            (30.0, 1.072_70),
            (40.0, 1.099_30),
            (50.0, 1.126_30),
            (60.0, 1.153_80),
            (70.0, 1.181_25),
            (80.0, 1.208_50),
            (90.0, 1.235_10),
            (100.0, 1.261_08),
        ];
        for (percent, density) in MEASURED {
            let found = water_glycerol_density(percent / 100.0, 293.15) / 1e3;
            // A third of the standard uncertainty that is claimed.
            assert!((found / density - 1.0).abs() < U_MIXTURE_DENSITY / 3.0, "{percent} %: {found}");
        }
        assert!((water_glycerol_density(0.0, 293.15) / water_density(293.15) - 1.0).abs() < 1e-12);
    }

    /// A. Volk & C. J. Kähler, Exp. Fluids 59, 75 (2018): their formula with their own water, 1000·(1 − |(t − 3.98)/615|^1.71)
    /// and glycerol, 1273 − 0.612·t, as two public programs print it, worked by an independent script.
    #[test]
    fn density_of_water_glycerol_is_that_of_the_published_formula() {
        for (glycerol, celsius, density) in VOLK {
            let found = water_glycerol_density(glycerol, celsius + 273.15);
            // Their coefficients of pure glycerol have a digit less, and their water is off by up to 2e-4.
            assert!((found / density - 1.0).abs() < 3e-4, "{glycerol} at {celsius} °C: {found}");
        }
    }

    /// Water at 20 °C is the primary reference point of viscometry: 1.0016 mPa s (so in several public tables) ± 0.17 %
    /// (ISO/TR 3666, from memory).
    #[test]
    fn uncertainty_of_water_holds_the_primary_reference_point() {
        let water = Composition::Water { temperature: Quantity { value: 293.15, u: 0.1 } }.viscosity();
        assert!((water.value - 1.0016e-3).abs() < 0.0017 * 1.0016e-3);
        // 0.1 K moves it by 0.24 %, the formula adds 0.5 %.
        assert!((water.relative() - 0.0056).abs() < 0.0002, "{}", water.relative());
    }

    /// 80 % glycerol at 20 °C: 0.1 K moves it by 0.61 %, a mass fraction of 0.001 by 1.11 % (from the same formula by an
    /// independent script).
    #[test]
    fn uncertainty_of_a_mixture_follows_temperature_and_fraction() {
        let at = |u_t: f64, u_c: f64| {
            let temperature = Quantity { value: 293.15, u: u_t };
            Composition::WaterGlycerol { temperature, glycerol: Quantity { value: 0.8, u: u_c } }.viscosity()
        };
        let beyond = |q: Quantity| (q.relative() * q.relative() - U_MIXTURE * U_MIXTURE).sqrt();
        assert!((beyond(at(0.1, 0.0)) - 0.0061).abs() < 0.0001, "{}", beyond(at(0.1, 0.0)));
        assert!((beyond(at(0.0, 0.001)) - 0.0111).abs() < 0.0002, "{}", beyond(at(0.0, 0.001)));
    }
}

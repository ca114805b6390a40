//! Numbers by which a referee asks whether a flow was what it is taken for: inertia of sample and particles, heat,
//! settling, diffusion, the free edge. Formulas only; what follows from them is decided where they are used.
//!
//! All arguments in SI. Where not said otherwise: R. H. Ewoldt, M. T. Johnston & L. M. Caretta, in S. E. Spagnolie
//! (ed.), *Complex Fluids in Biological Systems* (Springer, 2015). Particle numbers are made with the **radius**.

use super::materials::Sample;
use crate::numerics::float::pow;
use std::f64::consts::PI;

/// Boltzmann's constant, J/K (exact since 2019).
const BOLTZMANN: f64 = 1.380_649e-23;
/// Standard acceleration of free fall, m/s².
const FREE_FALL: f64 = 9.806_65;
/// Kelvin at 0 °C.
pub const KELVIN: f64 = 273.15;

/// Density of the liquid, kg/m³; that of water where it was not given (common practice for terms that rarely count).
pub fn liquid_density(sample: &Sample) -> f64 {
    sample.liquid.density.map_or(1000.0, |d| d.value)
}

/// Density of the mixture, kg/m³, by volume; particles without a density count as liquid.
pub fn mixture_density(sample: &Sample) -> f64 {
    let liquid = liquid_density(sample);
    let solid = sample.particles.as_ref().and_then(|p| p.density).map_or(liquid, |d| d.value);
    let phi = sample.volume_fraction.map_or(0.0, |p| p.value);
    phi * solid + (1.0 - phi) * liquid
}

/// ρΩL²/η with the gap at the rim L: inertia of the sample, which drives a secondary flow.
pub fn reynolds(density: f64, speed: f64, gap: f64, viscosity: f64) -> f64 {
    density * speed * gap * gap / viscosity
}

/// Torque with the secondary flow over the torque without: 1 + 3 Re²/4900 (R. M. Turian, Ind. Eng. Chem. Fundam. 11,
/// 361 (1972)).
pub fn secondary_torque(reynolds: f64) -> f64 {
    1.0 + 3.0 / 4900.0 * reynolds * reynolds
}

/// ρ²Ω²(R_o − R_i)³R_i/η²: vortices between cylinders of which the inner turns set in near 1700 (G. I. Taylor, Phil.
/// Trans. R. Soc. A 223, 289 (1923)).
pub fn taylor(density: f64, speed: f64, inner: f64, gap: f64, viscosity: f64) -> f64 {
    let ratio = density * speed / viscosity;
    ratio * ratio * gap * gap * gap * inner
}

/// ρh²/η, s: the time in which momentum crosses the gap.
pub fn momentum_time(density: f64, gap: f64, viscosity: f64) -> f64 {
    density * gap * gap / viscosity
}

/// βηγ̇²h²/k: how much the heat of shearing softens the liquid, β = −d ln η/dT (R. B. Bird, W. E. Stewart & E. N.
/// Lightfoot, *Transport Phenomena*, 2nd ed.: the Nahme number).
pub fn nahme(per_kelvin: f64, viscosity: f64, rate: f64, gap: f64, conductivity: f64) -> f64 {
    per_kelvin * viscosity * rate * rate * gap * gap / conductivity
}

/// ηγ̇²h²/(8k), K: the warmest place of a gap whose walls are both held, once the heat flows steadily (same source).
pub fn heating(viscosity: f64, rate: f64, gap: f64, conductivity: f64) -> f64 {
    viscosity * rate * rate * gap * gap / (8.0 * conductivity)
}

/// ργ̇a²/η of the liquid: with the liquid's density the particle Reynolds number, with the particles' the Stokes
/// number.
pub fn particle_inertia(density: f64, rate: f64, radius: f64, liquid_viscosity: f64) -> f64 {
    density * rate * radius * radius / liquid_viscosity
}

/// 6πηγ̇a³/(k_B T): shear against Brownian motion.
pub fn peclet(liquid_viscosity: f64, rate: f64, radius: f64, kelvin: f64) -> f64 {
    6.0 * PI * liquid_viscosity * rate * radius * radius * radius / (BOLTZMANN * kelvin)
}

/// 2a²Δρg/(9η), m/s: one sphere alone (G. G. Stokes, 1851); negative where it rises.
pub fn settling_speed(radius: f64, density_difference: f64, liquid_viscosity: f64) -> f64 {
    2.0 * radius * radius * density_difference * FREE_FALL / (9.0 * liquid_viscosity)
}

/// (1 − φ)^4.65: what neighbours leave of that speed where inertia does not count (J. F. Richardson & W. N. Zaki,
/// Trans. Inst. Chem. Eng. 32, 35 (1954)).
pub fn hindered(volume_fraction: f64) -> f64 {
    pow(1.0 - volume_fraction, 4.65)
}

/// σ/(Δρga): shear against the weight of particles, which it keeps suspended well above one.
pub fn suspended(stress: f64, density_difference: f64, radius: f64) -> f64 {
    stress / (density_difference.abs() * FREE_FALL * radius)
}

/// 2Γ/(3a), Pa: the second normal-stress difference that opens a dent of radius a (R. I. Tanner & M. Keentok,
/// J. Rheol. 27, 47 (1983)); the dent is at most half the gap.
pub fn edge_second_normal_stress(surface_tension: f64, dent: f64) -> f64 {
    2.0 * surface_tension / (3.0 * dent)
}

/// 4πΓ/(Ah), Pa: the shear stress at which the edge gives way for N₂ = −Aσ (E. J. Hemingway & S. M. Fielding,
/// J. Rheol. 63, 735 (2019), whose criterion for N₂ in proportion to σ reads so).
pub fn edge_stress(surface_tension: f64, ratio: f64, gap: f64) -> f64 {
    4.0 * PI * surface_tension / (ratio * gap)
}

/// Γ/a, Pa: the largest pressure by which a free surface holds particles back (E. Brown & H. M. Jaeger, J. Rheol. 56,
/// 875 (2012): stresses of a tenth of it are reached).
pub fn confinement(surface_tension: f64, radius: f64) -> f64 {
    surface_tension / radius
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

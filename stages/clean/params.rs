//! Settings of clean: one rule per reason, named by it with `_`. The rules themselves are in `rules.rs`.

use crate::settings::Rule;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Settings of clean.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Params {
    /// Readings in the local quadratic that gives speed and acceleration (Savitzky & Golay 1964).
    #[schemars(range(min = 3, max = 51))]
    pub derivative_readings: usize,
    /// Largest relative difference between exported stress and torque times the geometry's constant.
    #[schemars(range(min = 0.0001, max = 1.0))]
    pub stress_agreement: f64,
    /// Flag readings without torque, time or motion.
    pub missing: bool,
    /// Flag readings whose time goes back.
    pub clock: bool,
    /// Flag readings that repeat the time of the one before.
    pub duplicate: bool,
    /// Flag few readings of the torque in a row that stand out from their neighbours (Hampel 1974).
    pub spike: Rule<Spike>,
    /// Flag steps whose torque is too small to be read.
    pub below_torque_floor: Rule<TorqueFloor>,
    /// Flag steps whose torque is too large to be read.
    pub above_torque_ceiling: Rule<TorqueCeiling>,
    /// Flag readings whose torque is spent on turning the rotor's own mass.
    pub instrument_inertia: Rule<InstrumentInertia>,
    /// Flag readings after a start or a change of speed in one sense while momentum still crosses the gap.
    pub momentum_diffusion: Rule<MomentumDiffusion>,
    /// Flag steps in which inertia of the sample drives a secondary flow.
    pub secondary_flow: Rule<SecondaryFlow>,
    /// Remark on gaps that are narrow against the particles.
    pub gap_too_narrow: Rule<GapTooNarrow>,
    /// Flag the rest of a step from an irreversible fall of the viscosity on, and steps above the edge's limit.
    pub edge_fracture: Rule<EdgeFracture>,
    /// Flag a later visit of a set-point whose viscosity is not that of the first.
    pub drifting: Rule<Drifting>,
    /// Correct the stress of parallel plates to that at the rim by the slope of the run's flow curve.
    pub weissenberg_rabinowitsch: Rule<WeissenbergRabinowitsch>,
    /// Remark where the exported torque is not what the layout states about inertia.
    pub inertia_as_stated: Rule<InertiaAsStated>,
    /// Remark where a twist of the instrument that nobody corrected could pass for an elastic release.
    pub unknown_compliance: Rule<UnknownCompliance>,
    /// Remark where heat of shearing, or a drift of the temperature, softens the liquid.
    pub temperature: Rule<Temperature>,
    /// Bring the rate of each step to one temperature, at its stress, by the liquid's viscosity; `{reference: 25, per_kelvin: 0.06}`
    /// for a liquid whose composition is not stated.
    pub temperature_correction: Rule<TemperatureCorrection>,
    /// Remark where inertia or Brownian motion of the particles counts.
    pub dimensionless_numbers: Rule<DimensionlessNumbers>,
    /// Remark where particles settle or rise during the run.
    pub settling: Rule<Settling>,
}

impl Default for Params {
    fn default() -> Self {
        Self {
            derivative_readings: 5,
            stress_agreement: 0.02,
            missing: true,
            clock: true,
            duplicate: true,
            spike: Rule::default(),
            below_torque_floor: Rule::default(),
            above_torque_ceiling: Rule::default(),
            instrument_inertia: Rule::default(),
            momentum_diffusion: Rule::default(),
            secondary_flow: Rule::default(),
            gap_too_narrow: Rule::default(),
            edge_fracture: Rule::default(),
            drifting: Rule::default(),
            weissenberg_rabinowitsch: Rule::default(),
            inertia_as_stated: Rule::default(),
            unknown_compliance: Rule::default(),
            temperature: Rule::default(),
            // A reading is changed only where somebody knows the liquid.
            temperature_correction: Rule::Off,
            dimensionless_numbers: Rule::default(),
            settling: Rule::default(),
        }
    }
}

/// Hampel's filter on the sample torque.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Spike {
    /// Readings on each side that a reading is compared with.
    #[schemars(range(min = 2, max = 50))]
    pub window: usize,
    /// Distance from the neighbours' median in robust standard deviations.
    #[schemars(range(min = 2.0, max = 50.0))]
    pub threshold: f64,
    /// Smallest relative distance from the neighbours' median that can be a spike.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub least: f64,
    /// The same for the quick transient just after a change of speed or sense.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub least_in_transient: f64,
    /// Strain after a change of speed or sense that counts as its quick transient.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub transient_strain: f64,
    /// Most readings in a row that one spike may hold.
    #[schemars(range(min = 1, max = 10))]
    pub longest: usize,
    /// Strain after a change of speed or sense before which only single readings can be spikes.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub single_strain: f64,
}

impl Default for Spike {
    fn default() -> Self {
        // Empirical: at 5 robust standard deviations normal noise raises one false alarm in 10⁵ readings or so; three
        // readings are what a bump of the bench leaves at common sampling, and by strain 1 the dip that the liquid's
        // own share makes after a reversal is over.
        Self {
            window: 5,
            threshold: 5.0,
            least: 0.1,
            least_in_transient: 0.5,
            transient_strain: 0.1,
            longest: 3,
            single_strain: 1.0,
        }
    }
}

/// When a step's torque is too small.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct TorqueFloor {
    /// Median |torque| of the steady part, in units of the instrument's floor, below which a step is flagged.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub factor: f64,
}

impl Default for TorqueFloor {
    fn default() -> Self {
        Self { factor: 5.0 }
    }
}

/// When a step's torque is too large.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct TorqueCeiling {
    /// Median |torque| of the steady part, in units of the instrument's ceiling, above which a step is flagged.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub factor: f64,
}

impl Default for TorqueCeiling {
    fn default() -> Self {
        Self { factor: 1.0 }
    }
}

/// When a reading belongs to the drive and not to the sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct InstrumentInertia {
    /// Inertia torque in units of the sample torque above which a reading inside a change of speed is flagged.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub share: f64,
    /// Readings inside a change of speed below which its acceleration is not known, and all of them are flagged.
    #[schemars(range(min = 0, max = 100))]
    pub ramp_readings: usize,
}

impl Default for InstrumentInertia {
    fn default() -> Self {
        Self { share: 0.05, ramp_readings: 5 }
    }
}

/// When a gap is narrow.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct GapTooNarrow {
    /// Narrowest gap, in particle diameters, below which the run carries a remark.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub diameters: f64,
}

impl Default for GapTooNarrow {
    fn default() -> Self {
        // Common practice.
        Self { diameters: 10.0 }
    }
}

/// When a fall of the viscosity is irreversible.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct EdgeFracture {
    /// Fall from the highest level reached in the step, as a part of it, that must last to the step's end.
    #[schemars(range(min = 0.05, max = 1.0))]
    pub fall: f64,
    /// Strain after a change of speed or sense that is left out, because the sample's own transients fall too.
    #[schemars(range(min = 0.0, max = 100.0))]
    pub transient_strain: f64,
    /// Surface tension of the liquid, by which the edge's limit of stress is reckoned; none: not known, not applied.
    #[schemars(range(min = 0.0, max = 1.0), extend("x-unit" = "N/m"))]
    pub surface_tension: Option<f64>,
    /// Second normal-stress difference over shear stress of the suspension, for that limit.
    #[schemars(range(min = 0.001, max = 10.0))]
    pub normal_stress_ratio: f64,
}

impl Default for EdgeFracture {
    fn default() -> Self {
        // Fall: empirical, larger than the fall after a start-up overshoot, smaller than what a lost rim takes away.
        // Ratio: of the order reported at a solid fraction of 0.45 (É. Couturier, F. Boyer, O. Pouliquen &
        // É. Guazzelli, J. Fluid Mech. 686, 26 (2011); S.-C. Dai, E. Bertevas, F. Qi & R. I. Tanner, J. Rheol. 57
        // (2013)).
        Self { fall: 0.3, transient_strain: 1.0, surface_tension: None, normal_stress_ratio: 0.36 }
    }
}

/// When momentum has crossed the gap.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct MomentumDiffusion {
    /// Time after the change, in units of density · gap² / viscosity, for which readings are flagged.
    #[schemars(range(min = 0.0, max = 100.0))]
    pub times: f64,
}

impl Default for MomentumDiffusion {
    fn default() -> Self {
        // The slowest mode decays as exp(−π²t/t_v), to below 1 % at 0.5 (Stokes' start-up problem; R. B. Bird, W. E.
        // Stewart & E. N. Lightfoot, Transport Phenomena, 2nd ed., §4.1).
        Self { times: 0.5 }
    }
}

/// When the flow is no longer laminar shear.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct SecondaryFlow {
    /// Reynolds number of the gap above which a step between cone and plate or plates is flagged.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub reynolds: f64,
    /// Taylor number above which a step between concentric cylinders is flagged.
    #[schemars(range(min = 0.0, max = 100_000.0))]
    pub taylor: f64,
}

impl Default for SecondaryFlow {
    fn default() -> Self {
        // At 4 the torque is 1 % too large (Ewoldt, Johnston & Caretta 2015, after Turian 1972); vortices near 1700
        // (Taylor 1923).
        Self { reynolds: 4.0, taylor: 1700.0 }
    }
}

/// When two visits of one set-point differ.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Drifting {
    /// Relative difference of the held rate, or of the held stress, within which two visits are of one set-point.
    #[schemars(range(min = 0.0, max = 0.2))]
    pub same: f64,
    /// Difference of the viscosities in standard uncertainties that counts as one.
    #[schemars(range(min = 1.0, max = 100.0))]
    pub uncertainties: f64,
    /// Smallest relative difference that is remarked.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub remarked: f64,
    /// Smallest relative difference for which the later visit is flagged.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub least: f64,
}

impl Default for Drifting {
    fn default() -> Self {
        // Empirical: drives hold a rate to better than 2 %, and a tenth of the viscosity is more than a loading's
        // scatter of a few per cent would hide.
        Self { same: 0.02, uncertainties: 3.0, remarked: 0.03, least: 0.1 }
    }
}

/// How the stress at the rim of parallel plates is found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct WeissenbergRabinowitsch {
    /// Different steady rates in a run below which its flow curve has no slope, and the stress stays the apparent one.
    #[schemars(range(min = 3, max = 100))]
    pub rates: usize,
    /// Slope d ln M/d ln rate above which a flow curve jumps rather than bends, and the stress stays the apparent one.
    #[schemars(range(min = 1.0, max = 100.0))]
    pub steepest: f64,
}

impl Default for WeissenbergRabinowitsch {
    fn default() -> Self {
        // A parabola through three neighbours is the least that bends; at slope 5 the stress at the rim would be
        // twice the apparent one, and no parabola follows that.
        Self { rates: 3, steepest: 5.0 }
    }
}

/// How it is seen whether torque holds inertia.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct InertiaAsStated {
    /// Inertia torque at the turning point, in units of the steady torque, from which a reading can tell.
    #[schemars(range(min = 1.0, max = 1000.0))]
    pub torque: f64,
    /// Readings that must tell.
    #[schemars(range(min = 1, max = 1000))]
    pub readings: usize,
}

impl Default for InertiaAsStated {
    fn default() -> Self {
        // At the turning point a sample still holds at most its steady torque, by contacts: at three times that,
        // raw torque shows two thirds of the inertia torque or more, corrected torque no more than a third.
        Self { torque: 3.0, readings: 3 }
    }
}

/// What a twist of the instrument is set against where its compliance is not known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct UnknownCompliance {
    /// Compliance that an instrument may well have.
    #[schemars(range(min = 0.0, max = 1.0), extend("x-unit" = "rad/(N.m)"))]
    pub compliance: f64,
    /// Strain, feigned by that twist when the torque changes at a reversal, above which it is remarked.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub strain: f64,
}

impl Default for UnknownCompliance {
    fn default() -> Self {
        // Common practice for the compliance, which includes the geometry's shaft; elastic releases of contacts take
        // a strain of 0.005 to 0.03.
        Self { compliance: 0.01, strain: 0.005 }
    }
}

/// When the liquid's viscosity is no longer the one that was stated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Temperature {
    /// Thermal conductivity of the sample.
    #[schemars(range(min = 0.001, max = 10.0), extend("x-unit" = "W/(m.K)"))]
    pub conductivity: f64,
    /// Relative fall of the liquid's viscosity per kelvin.
    #[schemars(range(min = 0.0, max = 1.0), extend("x-unit" = "1/K"))]
    pub per_kelvin: f64,
    /// Relative change of the liquid's viscosity, by heat of shearing or over the temperatures of a run, that is
    /// remarked.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub change: f64,
}

impl Default for Temperature {
    fn default() -> Self {
        // From memory, so that the remark comes too early rather than too late: oils conduct 0.13–0.16 W/(m K) and
        // lose 3–6 % of their viscosity per kelvin, glycerol and its mixtures 0.3 W/(m K) and 6–9 %.
        Self { conductivity: 0.15, per_kelvin: 0.06, change: 0.02 }
    }
}

/// How rates are brought to one temperature.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct TemperatureCorrection {
    /// Temperature to which rates are brought; none: that for which a liquid of known composition is stated.
    #[schemars(range(min = -50.0, max = 200.0), extend("x-unit" = "Cel"))]
    pub reference: Option<f64>,
    /// Relative fall of the liquid's viscosity per kelvin; a liquid of known composition has its formula instead.
    #[schemars(range(min = 0.0, max = 1.0), extend("x-unit" = "1/K"))]
    pub per_kelvin: Option<f64>,
}

/// Particle numbers, made with the radius.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct DimensionlessNumbers {
    /// Particle Reynolds number or Stokes number above which inertia of particles is remarked.
    #[schemars(range(min = 0.0, max = 1000.0))]
    pub inertia: f64,
    /// Péclet number below which Brownian motion is remarked.
    #[schemars(range(min = 0.0, max = 1_000_000.0))]
    pub peclet: f64,
}

impl Default for DimensionlessNumbers {
    fn default() -> Self {
        // Common practice: a tenth is where simulations see the first effects of inertia, and at a hundred Brownian
        // stresses are a few per cent of the viscous ones.
        Self { inertia: 0.1, peclet: 100.0 }
    }
}

/// When settling counts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct Settling {
    /// Way that particles settle during the run at rest, in units of the widest gap, above which it is remarked.
    #[schemars(range(min = 0.0, max = 10.0))]
    pub share: f64,
}

impl Default for Settling {
    fn default() -> Self {
        // Common practice: a clear layer of a twentieth of the gap changes the rate in the rest by as much.
        Self { share: 0.05 }
    }
}

/// A stretch of the run that somebody set aside by hand; without step and times the whole run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetAside {
    /// Step as numbered in the export.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<i64>,
    /// First time that is set aside, s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("x-unit" = "s"))]
    pub from_s: Option<f64>,
    /// Last time that is set aside, s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(extend("x-unit" = "s"))]
    pub to_s: Option<f64>,
    /// The reason, which the report prints.
    pub because: String,
}

//! The limits by which fits are judged, each with its reason; the report prints them. Settings are in `params`, limits
//! of the minimiser (rounds, tolerances) beside their code; of these only `numerics::least_squares::INDEPENDENT` decides
//! what is said.

/// A solid fraction whose 95 % half-width exceeds this is not identified: ±0.1 spans everything from loose to close
/// packing of spheres (0.55 to 0.74). Own rule.
pub const WIDEST_FRACTION: f64 = 0.1;

/// A scale whose 95 % interval reaches from its value by this factor or more either way is not identified. Own rule.
pub const WIDEST_SCALE: f64 = 10.0;

/// Where the data miss the model by more than this many standard uncertainties (root of the mean square), no value of
/// a parameter means anything. Own rule.
pub const MISSES: f64 = 5.0;

/// Probability of the misfit below which a model, or every candidate model of contact shares, is said not to fit; common
/// practice.
pub const MISFIT: f64 = 0.01;

/// Probability, for any of the data, below which the furthest one is called wild; common practice (Bonferroni). It
/// decides a fit if a parameter moves by more than its standard uncertainty without it. Own rule.
pub const WILD: f64 = 0.01;

/// Solid fractions that the thickening law asks for: two determine amplitude and jamming fraction without any check on
/// the form of the divergence. Own rule.
pub const FEWEST_FRACTIONS: usize = 3;

/// Probability below which a viscosity that is the same at all stresses is given up; common practice.
pub const CONSTANT: f64 = 0.01;

/// Rise of the viscosity that counts where errors are unknown, as in the verdict on thickening.
pub const SMALLEST_RISE: f64 = 0.1;

/// φ/φ_0 that the densest sample should reach for the jamming fraction to be separated from the amplitude; it decides
/// which measurement is proposed, not the value. Empirical.
pub const NEAR_JAMMING: f64 = 0.9;

/// Smallest part of its error that a datum keeps where its abscissa follows it; where ln η rises as fast as ln σ
/// nothing would be left, and the linear formula means nothing. Own rule.
pub const LEAST_MOVE: f64 = 0.2;

/// Scatter of ln η below which no measurement of a torque is taken to be known (common practice: 0.1 %).
pub const SMALLEST_SCATTER: f64 = 1e-3;

/// Relative change of the hydrodynamic part over the range of stress that its interval must stay within to be called
/// flat: as much as the smallest rise that counts as thickening, either way, and as much again for the method. Own
/// rule.
pub const FLAT: f64 = 0.2;

/// Akaike weight from which one candidate model is said to be preferred: odds of 20 to 1, as 95 % are elsewhere. Own rule.
pub const PREFERRED: f64 = 0.95;

/// Solid fraction of close packing of equal spheres, π/√18: what jams beyond it is no suspension of equal spheres.
pub const CLOSEST_PACKING: f64 = 0.740_480_489_693_061;

/// Solid fraction below which spheres with friction were never found to jam: random loose packing is 0.555 (Onoda &
/// Liniger 1990, from memory), fits and simulations of thickening give 0.54 to 0.61 (common practice). Own rule: well
/// below them.
pub const LOOSEST_PACKING: f64 = 0.5;

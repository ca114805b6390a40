//! Names of models and of their parameters as they are printed; the tables keep the plain names.

/// A model by the names of its authors.
pub fn name(model: &str) -> &str {
    match model {
        "stress-trend" => "trend with the stress",
        other => stages::physics::models::find(other).map_or(other, |m| m.title()),
    }
}

/// A parameter with its symbol.
pub fn parameter(parameter: &str) -> &str {
    match parameter {
        "phi_0" => "φ_0, frictionless jamming",
        "phi_m" => "φ_m, frictional jamming",
        "phi_max" => "φ_max, divergence",
        "phi_dst" => "φ_DST, onset of jumps",
        "sigma_dst" => "σ_DST, stress at φ_DST",
        "sigma_star" => "σ*, onset stress",
        "alpha" => "α, exponent",
        "beta" => "β, exponent of the stress",
        "amplitude" => "amplitude",
        "phi_beyond_dst" => "φ − φ_DST",
        "sigma_up" => "σ at the largest rate",
        "sigma_down" => "σ at the smallest rate beyond",
        "sigma_jam" => "σ at which it jams",
        "hydrodynamic_slope" => "d ln η_H/d ln σ",
        "contact_slope" => "dη_C/d ln σ over mean η",
        "yield_stress" => "σ_y, yield stress",
        "consistency" => "K, consistency",
        "flow_index" => "n, flow index",
        "viscosity_zero" => "η_0, at rest",
        "viscosity_infinite" => "η_∞, at high rate",
        "time" => "λ, time",
        "steepness" => "m, steepness",
        "intrinsic_viscosity" => "[η], intrinsic viscosity",
        other => other,
    }
}

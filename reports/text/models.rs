//! Names of models and of their parameters as they are printed; the tables keep the plain names.

/// A model by the names of its authors.
pub fn name(model: &str) -> &str {
    match model {
        "wyart-cates" => "Wyart–Cates",
        "maron-pierce" => "Maron–Pierce",
        "krieger-dougherty" => "Krieger–Dougherty",
        other => other,
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
        "intrinsic_viscosity" => "[η], intrinsic viscosity",
        other => other,
    }
}

//! Names of models and of their parameters as they are printed; the tables keep the plain names.

/// A model by the names of its authors.
pub fn name(model: &str) -> &str {
    match model {
        "stress-trend" => "trend with the stress",
        other => stages::physics::models::find(other).map_or(other, |m| m.title()),
    }
}

/// The formula of a model, in the symbols of [`parameter`]; `_` stands before an index, `^` before a power.
pub fn formula(model: &str) -> &'static str {
    match model {
        "wyart-cates" => {
            "η_r = A·(1 − φ/φ_J)^(−α) with φ_J = f·φ_m + (1 − f)·φ_0, f = exp[−(σ*/σ)^β] and the amplitude A"
        }
        "maron-pierce" => "η_r = (1 − φ/φ_max)^(−2)",
        "krieger-dougherty" => "η_r = (1 − φ/φ_max)^(−p) with p = [η]·φ_max",
        "eilers" => "η_r = [1 + 1.25·φ/(1 − φ/φ_max)]^2",
        "herschel-bulkley" => "σ = σ_y + K·γ\u{307}^n",
        "power-law" => "σ = K·γ\u{307}^n",
        "cross" => "η = η_∞ + (η_0 − η_∞)/[1 + (λ·γ\u{307})^m]",
        "carreau" => "η = η_∞ + (η_0 − η_∞)·[1 + (λ·γ\u{307})^2]^(½·(n − 1))",
        _ => "",
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_model_has_its_formula_and_every_parameter_its_symbol() {
        for model in stages::physics::models::ALL {
            assert!(!formula(model.name()).is_empty(), "{}", model.name());
            for known in model.parameters() {
                assert!(parameter(known.name) != known.name || known.name == "amplitude", "{}", known.name);
            }
        }
    }
}

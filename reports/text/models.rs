//! Names of models and of their parameters as they are printed, from what each model says of itself; the tables keep the
//! plain names.

use stages::fit::result::{CONTACT_SLOPE, HYDRODYNAMIC_SLOPE, STRESS_TREND};
use stages::physics::models::{Label, find, label};

/// A model by the names of its authors.
pub fn name(model: &str) -> &str {
    if model == STRESS_TREND { "trend with the stress" } else { find(model).map_or(model, |m| m.title()) }
}

/// What is fitted, by its name in tables; none where no model has it.
fn fitted(parameter: &str) -> Option<Label> {
    label(parameter).or_else(|| [HYDRODYNAMIC_SLOPE, CONTACT_SLOPE].into_iter().find(|l| l.name == parameter))
}

/// A parameter with its symbol and its meaning.
pub fn parameter(parameter: &str) -> String {
    fitted(parameter).map_or_else(
        || parameter.to_owned(),
        |l| if l.meaning.is_empty() { l.symbol.to_owned() } else { format!("{}, {}", l.symbol, l.meaning) },
    )
}

/// A parameter in words, for sentences.
pub fn meaning(parameter: &str) -> String {
    let words = fitted(parameter).map(|l| if l.meaning.is_empty() { l.symbol } else { l.meaning });
    words.unwrap_or(parameter).to_owned()
}

/// The unit of a parameter in print; empty where it has none.
pub fn unit(parameter: &str) -> String {
    fitted(parameter).map_or_else(String::new, |l| l.unit.replace('.', " ").replace("^n", "ⁿ"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parameters_and_trends_have_their_symbols() {
        assert_eq!(parameter("phi_max"), "φ_max, solid fraction of divergence");
        assert_eq!(parameter("sigma_jam"), "σ at which it jams");
        assert_eq!(parameter("contact_slope"), "dη_C/d ln σ over mean η");
        assert_eq!((unit("consistency").as_str(), unit("phi_0").as_str()), ("Pa sⁿ", ""));
        assert_eq!((name("power-law"), name("stress-trend")), ("power law", "trend with the stress"));
    }
}

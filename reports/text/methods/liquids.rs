//! What is said of liquids whose viscosity follows from their composition.

use super::sentence::Sentence;
use crate::text::numbers::concise;
use stages::physics::liquids::Composition;
use stages::physics::quantity::Quantity;

/// A sentence for each liquid with a composition, by name.
pub(super) fn sentences(liquids: &[(String, Composition)]) -> Vec<Sentence> {
    liquids.iter().map(|(name, composition)| sentence(name, composition)).collect()
}

fn sentence(name: &str, composition: &Composition) -> Sentence {
    let (what, cites) = match composition {
        Composition::Water { .. } => ("water".to_owned(), ["iapws-r12-08", "tanaka-2001"]),
        Composition::WaterGlycerol { glycerol, .. } => (
            format!("water with {} % of glycerol by mass", printed(*glycerol, 100.0, 0.0)),
            ["cheng-2008", "volk-2018"],
        ),
    };
    let (viscosity, temperature) = (composition.viscosity(), composition.temperature());
    Sentence {
        text: format!(
            "The viscosity of {name}, {} mPa s, is that of {what} at {} °C; its standard uncertainty holds those of \
             temperature and composition and the formula's own.",
            printed(viscosity, 1e3, 0.0),
            printed(temperature, 1.0, -273.15)
        ),
        from: vec![format!("liquids.{name}.composition")],
        cites: cites.to_vec(),
    }
}

fn printed(q: Quantity, factor: f64, offset: f64) -> String {
    concise(q.value * factor + offset, q.u * factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mixture_is_told_with_its_particulars() {
        let temperature = Quantity { value: 298.15, u: 0.1 };
        let glycerol = Quantity { value: 0.8, u: 0.001 };
        let told = sentences(&[("syrup".into(), Composition::WaterGlycerol { temperature, glycerol })]);
        let text = &told[0].text;
        assert!(text.contains("water with 80.00(10) % of glycerol by mass at 25.00(10) °C"), "{text}");
        assert!(text.contains("viscosity of syrup, 45.4(1.1) mPa s"), "{text}");
        assert_eq!(told[0].cites, ["cheng-2008", "volk-2018"]);
    }
}

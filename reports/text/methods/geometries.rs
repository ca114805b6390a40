//! What is said of the way from torque and speed to stress and rate, and from masses to the solid fraction; only of
//! what the study has.

use super::in_force::InForce;
use super::sentence::{Sentence, say};

/// A sentence for each kind of geometry in use, and one on exports and on masses where they tell.
pub(super) fn sentences(settings: &InForce) -> Vec<Sentence> {
    let cones = settings.cones.then(|| {
        let text = "In the gap of a cone and plate the stress is 3M/(2πR³), the rate Ω/tan α, and the first normal-stress \
                    difference 2F/(πR²), M being the torque, Ω the speed, F the axial force, R the radius and α the angle of \
                    the cone.";
        say(text, &["geometries"]).citing(&["macosko-1994"])
    });
    let plates = settings.plates.then(|| {
        let text = "Between parallel plates the rate is that at the rim, ΩR/h, R being the radius and h the gap, and the \
                    apparent stress 2M/(πR³).";
        say(text, &["geometries"]).citing(&["macosko-1994"])
    });
    let cylinders = settings.cylinders.then(|| {
        let text = "Between concentric cylinders stress and rate are the representative ones: (1 + δ²)/(2δ²) · M/(2πLR²c) \
                    and Ω(1 + δ²)/(δ² − 1), δ being the ratio of the radii, R the inner radius, L the length and c the \
                    end-effect factor.";
        say(text, &["geometries"]).citing(&["iso-3219-2"])
    });
    let exported = settings.stress_exported.then(|| {
        let text = "Where an export gives the stress, the torque is computed back from it in the same way, so that inertia can \
                    be taken off.";
        say(text, &["layouts"])
    });
    let weighed = settings.weighed.then(|| {
        let text = "Where masses are declared, the solid fraction is (m₁/ρ₁)/(m₁/ρ₁ + m₂/ρ₂), with masses m and densities ρ \
                    of the particles (1) and the liquid (2).";
        say(text, &["samples"])
    });
    [cones, plates, cylinders, exported, weighed].into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_in_use_is_told() {
        assert!(sentences(&InForce::default()).is_empty());
        let told = sentences(&InForce { cylinders: true, weighed: true, ..InForce::default() });
        assert_eq!(told.len(), 2);
        assert!(told[0].text.contains("cylinders") && told[1].text.contains("masses"));
    }
}

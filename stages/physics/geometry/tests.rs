//! Constants against worked figures from outside (`reference/worked_examples.json` names their sources).

use super::*;
use serde_json::Value;

fn example(id: &str) -> (Value, Value) {
    let file: Value = serde_json::from_str(include_str!("reference/worked_examples.json")).unwrap();
    let found = file["examples"].as_array().unwrap().iter().find(|e| e["id"] == id).unwrap().clone();
    (found["inputs"].clone(), found["outputs"].clone())
}

fn number(from: &Value, key: &str) -> f64 {
    from[key].as_f64().unwrap()
}

/// The figures are printed with all their digits, so only rounding of the last few bits may differ.
fn close(found: f64, expected: f64) {
    assert!((found / expected - 1.0).abs() < 1e-13, "{found} against {expected}");
}

fn geometry(shape: Shape) -> Geometry {
    Geometry { name: "tool".into(), shape, inertia: None }
}

fn exact(value: f64) -> Quantity {
    Quantity::exact(value)
}

fn cone(radius: f64, degrees: f64) -> Constants {
    let angle = exact(degrees.to_radians());
    geometry(Shape::ConePlate { radius: exact(radius), angle, truncation: None }).constants()
}

fn plates(radius: f64, gap: f64) -> Constants {
    geometry(Shape::ParallelPlates { radius: exact(radius), gap: exact(gap) }).constants()
}

#[test]
fn cones_of_one_and_four_degrees() {
    for id in ["cp1", "cp2"] {
        let (given, out) = example(id);
        let found = cone(number(&given, "R_m"), number(&given, "alpha_deg"));
        close(found.stress_per_torque * number(&given, "M_Nm"), number(&out, "sigma_Pa"));
        close(found.rate_per_speed * number(&given, "Omega_rad_s"), number(&out, "rate_tan_1_s"));
    }
}

#[test]
fn normal_stress_of_a_cone() {
    let (given, out) = example("cp3");
    let found = cone(number(&given, "R_m"), 1.0).normal_stress_per_force.unwrap();
    close(found * number(&given, "F_N"), number(&out, "N1_Pa"));
}

#[test]
fn plates_give_the_weissenberg_rabinowitsch_of_a_newtonian_liquid() {
    let (given, out) = example("pp1_n1.0");
    let found = plates(number(&given, "R_m"), number(&given, "H_m"));
    close(found.stress_per_torque * number(&given, "M_Nm"), number(&out, "sigma_R_Pa"));
    close(found.rate_per_speed * number(&given, "Omega_rad_s"), number(&out, "rate_R_1_s"));
}

#[test]
fn plates_give_the_apparent_stress_of_a_thickening_liquid() {
    let (given, out) = example("pp2");
    let found = plates(number(&given, "R_m"), 1e-3);
    for row in out["rows"].as_array().unwrap() {
        close(found.stress_per_torque * number(row, "M_Nm"), number(row, "sigma_app_Pa"));
    }
}

#[test]
fn cylinders_give_the_representative_values() {
    let (given, out) = example("cc1");
    let inner = number(&given, "Ri_m");
    let shape = Shape::ConcentricCylinders {
        inner_radius: exact(inner),
        outer_radius: exact(inner * number(&given, "delta")),
        length: exact(number(&given, "L_m")),
        end_effect: number(&given, "cL"),
    };
    let found = geometry(shape).constants();
    close(found.stress_per_torque * number(&given, "M_Nm"), number(&out, "sigma_rep_Pa"));
    // δ² − 1 cancels one digit.
    assert!((found.rate_per_speed * number(&given, "Omega_rad_s") / number(&out, "rate_rep_1_s") - 1.0).abs() < 1e-12);
}

/// ln of the viscosity that a fixed torque and speed stand for.
fn ln_viscosity(shape: Shape) -> f64 {
    let constants = geometry(shape).constants();
    crate::numerics::float::ln(constants.stress_per_torque / constants.rate_per_speed)
}

/// ln of the rate at a fixed speed.
fn ln_rate(shape: Shape) -> f64 {
    crate::numerics::float::ln(geometry(shape).constants().rate_per_speed)
}

/// Compares each sensitivity with a central difference over ±10⁻⁵, whose error is of the order 10⁻¹⁰.
fn check_terms(dimensions: &[f64], shape: impl Fn(&[Quantity]) -> Shape) {
    let quantities = |values: &[f64]| values.iter().map(|v| Quantity { value: *v, u: 0.01 * v }).collect::<Vec<_>>();
    let of = geometry(shape(&quantities(dimensions)));
    let quantities_of: [fn(Shape) -> f64; 2] = [ln_viscosity, ln_rate];
    for (ln, terms) in quantities_of.into_iter().zip([of.viscosity_terms(), of.rate_terms()]) {
        assert_eq!(terms.len(), dimensions.len());
        for (at, (name, sensitivity, u)) in terms.into_iter().enumerate() {
            let moved = |by: f64| {
                let mut values = dimensions.to_vec();
                values[at] *= 1.0 + by;
                ln(shape(&quantities(&values)))
            };
            let difference = (moved(1e-5) - moved(-1e-5)) / 2e-5;
            let allowed = 1e-8 * difference.abs().max(1.0);
            assert!((sensitivity - difference).abs() < allowed, "{name}: {sensitivity}, {difference}");
            assert!((u - 0.01).abs() < 1e-15, "{name}");
        }
    }
}

#[test]
fn sensitivities_are_the_derivatives_of_the_constants() {
    check_terms(&[0.02, 0.0349], |q| Shape::ConePlate { radius: q[0], angle: q[1], truncation: None });
    check_terms(&[0.02, 0.001], |q| Shape::ParallelPlates { radius: q[0], gap: q[1] });
    check_terms(&[0.01333, 0.01446, 0.04], |q| Shape::ConcentricCylinders {
        inner_radius: q[0],
        outer_radius: q[1],
        length: q[2],
        end_effect: 1.1,
    });
}

#[test]
fn gaps_and_the_remark_of_plates() {
    let angle = exact(1.0_f64.to_radians());
    let cone = geometry(Shape::ConePlate { radius: exact(0.02), angle, truncation: Some(exact(24e-6)) });
    // R tan α by hand: 20 mm × 0.0174551.
    assert!((cone.constants().widest_gap_m - 3.49101e-4).abs() < 1e-9);
    assert_eq!(cone.constants().narrowest_gap_m, Some(24e-6));
    assert_eq!(cone.cautions(), []);
    assert_eq!(geometry(Shape::ParallelPlates { radius: exact(0.02), gap: exact(1e-3) }).cautions().len(), 1);
}

#[test]
fn plates_give_the_weissenberg_rabinowitsch_of_a_thickening_liquid_by_its_slope() {
    let (given, out) = example("pp2");
    let shape = geometry(Shape::ParallelPlates { radius: exact(number(&given, "R_m")), gap: exact(1e-3) });
    for row in out["rows"].as_array().unwrap() {
        let apparent = shape.constants().stress_per_torque * number(row, "M_Nm");
        close(
            apparent * shape.weissenberg_rabinowitsch_factor(number(row, "dlnM_dlnrate")).unwrap(),
            number(row, "sigma_true_Pa"),
        );
    }
}

#[test]
fn inertia_of_the_sample_takes_force_off_a_cone() {
    let (given, out) = example("cp3");
    let found = cone(number(&given, "R_m"), 1.0);
    let speed = number(&given, "Omega_rad_s");
    let force = found.inertial_force.unwrap() * number(&given, "rho") * speed * speed;
    close(force, number(&out, "inertia_force_N"));
    let corrected = found.normal_stress_per_force.unwrap() * (number(&given, "F_N") + force);
    close(corrected, number(&out, "N1_corrected_Pa"));
}

fn cylinders(ratio: f64, length: f64) -> Vec<Caution> {
    let (inner_radius, outer_radius) = (exact(0.01), exact(0.01 * ratio));
    let length = exact(length);
    geometry(Shape::ConcentricCylinders { inner_radius, outer_radius, length, end_effect: 1.1 }).cautions()
}

#[test]
fn cylinders_beyond_the_standard_say_so() {
    // The standard's own: 1.0847² = 1.17657, so 18 %.
    let standard = cylinders(1.0847, 0.03);
    let [Caution::MeansOfWalls(difference)] = standard[..] else { panic!("{standard:?}") };
    assert!((difference - 0.17657).abs() < 1e-4, "{difference}");
    let beyond = |found: &[Caution], of: fn(Caution) -> Option<f64>, expected: f64| {
        found.iter().filter_map(|c| of(*c)).any(|x| (x - expected).abs() < 1e-9)
    };
    let wide = |c| if let Caution::WideGap(ratio) = c { Some(ratio) } else { None };
    let short = |c| if let Caution::ShortCylinder(length) = c { Some(length) } else { None };
    assert!(beyond(&cylinders(1.3, 0.03), wide, 1.3) && beyond(&cylinders(1.08, 0.02), short, 2.0));
}

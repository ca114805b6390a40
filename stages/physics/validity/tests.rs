//! Each number against a worked figure from outside (`reference/worked_examples.json` names their sources).

use super::*;
use crate::numerics::float;
use serde_json::Value;

/// Inputs and outputs of an example.
struct Example(Value);

impl Example {
    fn new(id: &str) -> Self {
        let file: Value = serde_json::from_str(include_str!("reference/worked_examples.json")).unwrap();
        Self(file["examples"].as_array().unwrap().iter().find(|e| e["id"] == id).unwrap().clone())
    }

    fn given(&self, key: &str) -> f64 {
        self.0["inputs"][key].as_f64().unwrap()
    }

    fn out(&self, key: &str) -> f64 {
        self.0["outputs"][key].as_f64().unwrap()
    }
}

/// The figures are printed with all their digits, so only rounding of the last few bits may differ.
fn close(found: f64, expected: f64) {
    assert!((found / expected - 1.0).abs() < 1e-12, "{found} against {expected}");
}

#[test]
fn a_secondary_flow_adds_one_per_cent_at_reynolds_four() {
    let e = Example::new("lim6");
    let gap = e.given("R_m") * float::tan(e.given("alpha_deg").to_radians());
    close(secondary_torque(4.0) - 1.0, e.out("torque_excess_at_Re_4"));
    close(reynolds(e.given("rho"), e.out("Omega_rad_s"), gap, e.out("eta_min_Pas")), 4.0);
}

#[test]
fn vortices_at_the_critical_speed() {
    let e = Example::new("lim7");
    let gap = e.given("Ri_m") * (e.given("delta") - 1.0);
    close(taylor(e.given("rho"), e.out("Omega_crit_rad_s"), e.given("Ri_m"), gap, e.given("eta_Pas")), 1700.0);
}

#[test]
fn momentum_and_heat_across_a_gap() {
    let e = Example::new("lim5");
    close(momentum_time(e.given("rho"), e.given("H_m"), e.given("eta_Pas")), e.out("t_v_s"));
    let e = Example::new("lim12");
    let (eta, rate, gap, k) = (e.given("eta_Pas"), e.given("rate_1_s"), e.given("H_m"), e.given("k_W_mK"));
    close(heating(eta, rate, gap, k), e.out("dT_both_K"));
    // The example's Nahme number is printed as 0.005: β·ηγ̇²h²/k = 0.06 · 10 · 10⁴ · 2.5·10⁻⁷/0.3.
    close(nahme(e.given("beta_1_K"), eta, rate, gap, k), e.out("Na"));
}

#[test]
fn dimensionless_numbers_of_three_sizes() {
    for id in ["num_a0.5um", "num_a2um", "num_a20um"] {
        let e = Example::new(id);
        let (a, rate, eta) = (e.given("a_m"), e.given("rate_1_s"), e.given("eta_f_Pas"));
        close(peclet(eta, rate, a, e.given("T_K")), e.out("Pe"));
        close(particle_inertia(e.given("rho_f"), rate, a, eta), e.out("Re_p"));
        close(particle_inertia(e.given("rho_p"), rate, a, eta), e.out("St"));
        close(settling_speed(a, e.given("rho_p") - e.given("rho_f"), eta), e.out("v_settle_m_s"));
    }
}

#[test]
fn half_of_the_room_leaves_a_twenty_fifth_of_the_speed() {
    // 0.5^4.65 = e^(−4.65 · 0.693147) = 0.0398, by hand.
    assert!((hindered(0.5) - 0.0398).abs() < 5e-5);
    // 1 Pa against 1000 kg/m³ · 9.80665 m/s² · 10 µm = 0.0980665 Pa.
    close(suspended(1.0, -1000.0, 1e-5), 1.0 / 0.098_066_5);
}

#[test]
fn the_free_edge() {
    let e = Example::new("lim8");
    close(edge_second_normal_stress(e.given("Gamma_N_m"), e.given("a_m")), e.out("N2_crit_Pa"));
    let e = Example::new("lim9");
    close(edge_stress(e.given("Gamma_N_m"), e.given("A"), e.given("H_m")), e.out("sigma_crit_Pa"));
    let e = Example::new("lim10");
    close(confinement(e.given("Gamma_N_m"), e.given("a_m")), e.out("sigma_max_Pa"));
}

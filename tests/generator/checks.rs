//! Tests of the generator: the repository holds what it makes, and what it makes is what it says.
#![allow(clippy::panic)] // A test stops with the reason.

use super::read;

#[test]
fn the_committed_files_are_what_the_generator_makes() {
    let folder = read::demo_project();
    let files = super::files(super::SEED);
    for (path, bytes) in &files {
        let committed = std::fs::read(folder.join(path)).unwrap_or_else(|e| panic!("{path}: {e}"));
        assert!(committed == *bytes, "{path} differs: run `cargo run -p shearback-dev -- make-demo`");
    }
    let made: u64 = files.iter().map(|(_, bytes)| bytes.len() as u64).sum();
    assert!(made < 6_000_000, "{made} bytes");
}

#[test]
fn another_seed_makes_other_readings_under_the_same_names() {
    let (ours, other) = (super::files(super::SEED), super::files(super::SEED + 1));
    assert!(ours.iter().zip(&other).all(|((a, _), (b, _))| a == b));
    assert!(ours.iter().zip(&other).all(|((_, a), (_, b))| a != b));
}

#[test]
fn every_reversal_has_a_truth_and_every_flaw_is_there() {
    let reversals = read::reversals();
    // 8 set-points × 2 in 15 runs, and 2 in the run below the torque floor.
    assert_eq!(reversals.len(), 15 * 16 + 2);
    for flaw in ["set aside", "below the torque floor", "aborted", "never steady", "hidden by the drive"] {
        assert!(reversals.iter().any(|reversal| reversal.flaw == flaw), "{flaw}");
    }
    assert_eq!(read::states().len(), 4 * 8);
}

#[test]
fn the_states_follow_the_law_and_the_parameters_that_the_truth_states() {
    // Wyart & Cates 2014 once more, from the written files alone; they hold five to seven significant digits.
    for state in read::states() {
        let beads = if state.unit == "Pa" { "coated beads" } else { "bare beads" };
        let parameter = |name: &str| read::world(beads, name);
        let f = libm::exp(-libm::pow(parameter("sigma_star_pa") / state.stress_pa, parameter("beta")));
        let jamming = f * parameter("phi_m") + (1.0 - f) * parameter("phi_0");
        let gap = 1.0 - state.volume_fraction / jamming;
        let liquid = read::world(&state.sample, "liquid_viscosity_pa_s");
        let expected = liquid * parameter("amplitude") / (gap * gap);
        assert!((state.viscosity_pa_s / expected - 1.0).abs() < 1e-3, "{state:?}: {expected}");
        let hydrodynamic = state.viscosity_pa_s * (1.0 - state.contact_share);
        assert!((state.hydrodynamic_viscosity_pa_s / hydrodynamic - 1.0).abs() < 1e-3, "{state:?}");
    }
}

#[test]
fn what_is_realised_scatters_about_what_the_samples_are() {
    let states = read::states();
    for reversal in read::reversals() {
        let state = states.iter().find(|s| s.sample == reversal.sample && s.set_point == reversal.set_point);
        let (Some(state), true) = (state, ["", "aborted"].contains(&reversal.flaw.as_str())) else { continue };
        // Loadings scatter by 2.5 % in viscosity and by 0.034 in −ln(1 − share); 4 standard deviations.
        let viscosity = (reversal.viscosity_before_pa_s / state.viscosity_pa_s).ln();
        let share = ((1.0 - state.contact_share) / (1.0 - reversal.contact_share)).ln();
        assert!(
            viscosity.abs() < 0.15 && share.abs() < 0.14,
            "{} {}: {viscosity} {share}",
            reversal.run,
            reversal.step
        );
    }
}

#[test]
fn a_reversal_loses_the_contact_share_and_comes_back() {
    let transient = super::material::Transient {
        share: 0.6,
        dip: 0.2,
        dip_strain: 0.2,
        delay: 0.03,
        spread: 0.36,
        exponent: 1.2,
        ..super::material::Transient::NONE
    };
    assert!((transient.ratio(0.0) - 0.4).abs() < 1e-12);
    assert!(transient.ratio(0.05) < 0.4);
    assert!((transient.ratio(5.0) - 1.0).abs() < 1e-3);
}

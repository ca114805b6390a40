//! The truth written down: what was realised in each reversal, what the samples are, and what the world is made of.

use super::campaign::{BARE, Bench, COATED, World};
use super::material::{Beads, Steady};
use std::fmt::Write as _;

/// One reversal as it truly was in its run.
pub(crate) struct ReversalTruth {
    pub(crate) run: String,
    pub(crate) step: usize,
    pub(crate) sample: &'static str,
    pub(crate) loading: u32,
    pub(crate) bench: Bench,
    pub(crate) set_point: f64,
    pub(crate) phi: f64,
    pub(crate) rate: f64,
    pub(crate) stress: f64,
    pub(crate) viscosity: f64,
    pub(crate) share: f64,
    pub(crate) flaw: &'static str,
}

/// One state of a sample, without the scatter of loadings.
pub(crate) struct StateTruth {
    pub(crate) sample: &'static str,
    pub(crate) phi: f64,
    pub(crate) bench: Bench,
    pub(crate) set_point: f64,
    pub(crate) steady: Steady,
}

/// All that is known.
#[derive(Default)]
pub(crate) struct Records {
    pub(crate) reversals: Vec<ReversalTruth>,
    pub(crate) states: Vec<StateTruth>,
}

/// The files below `truth/`.
pub(crate) fn write(records: &Records, world: &World) -> Vec<(String, Vec<u8>)> {
    [
        ("truth/truth.csv", reversals(&records.reversals)),
        ("truth/truth_states.csv", states(&records.states)),
        ("truth/truth_world.csv", made_of(world)),
    ]
    .map(|(path, text)| (path.to_owned(), text.into_bytes()))
    .to_vec()
}

fn unit(bench: Bench) -> &'static str {
    match bench {
        Bench::Hall => "1/s",
        Bench::Attic => "Pa",
    }
}

fn reversals(rows: &[ReversalTruth]) -> String {
    let mut text = String::from(
        "run,step,sample,loading,set_point,unit,volume_fraction,rate_per_s,stress_pa,viscosity_before_pa_s,\
         viscosity_after_pa_s,contact_share,flaw\n",
    );
    for row in rows {
        let after = row.viscosity * (1.0 - row.share);
        let _ = writeln!(
            text,
            "{},{},{},{},{},{},{:.5},{:.6},{:.5},{:.5},{after:.5},{:.5},{}",
            row.run,
            row.step,
            row.sample,
            row.loading,
            row.set_point,
            unit(row.bench),
            row.phi,
            row.rate,
            row.stress,
            row.viscosity,
            row.share,
            row.flaw
        );
    }
    text
}

fn states(rows: &[StateTruth]) -> String {
    let mut text = String::from(
        "sample,set_point,unit,volume_fraction,rate_per_s,stress_pa,viscosity_pa_s,hydrodynamic_viscosity_pa_s,\
         contact_share\n",
    );
    for row in rows {
        let Steady { stress, viscosity, share } = row.steady;
        let (rate, hydrodynamic) = (stress / viscosity, viscosity * (1.0 - share));
        let _ = writeln!(
            text,
            "{},{},{},{:.5},{rate:.6},{stress:.5},{viscosity:.5},{hydrodynamic:.5},{share:.5}",
            row.sample,
            row.set_point,
            unit(row.bench),
            row.phi
        );
    }
    text
}

/// Quantity, of what, value in SI.
fn made_of(world: &World) -> String {
    let mut text = String::from("of,quantity,value\n");
    let mut row = |of: &str, quantity: &str, value: f64| {
        let _ = writeln!(text, "{of},{quantity},{value:.8}");
    };
    for (of, beads) in [("bare beads", &BARE), ("coated beads", &COATED)] {
        beads_rows(beads, |quantity, value| row(of, quantity, value));
    }
    // The control oil was measured on both rheometers.
    for sample in world.samples.iter().filter(|sample| !(sample.is_control() && sample.bench == Bench::Attic)) {
        row(sample.name, "volume_fraction", sample.phi);
        row(sample.name, "liquid_viscosity_pa_s", sample.liquid);
    }
    for (of, bench) in [("hall", Bench::Hall), ("attic", Bench::Attic)] {
        let rheometer = world.rheometer(bench);
        row(of, "radius_m", rheometer.cone.radius);
        row(of, "angle_rad", rheometer.cone.angle);
        row(of, "inertia_n_m_s2", rheometer.inertia);
        row(of, "torque_reading_over_torque", rheometer.calibration);
    }
    text
}

fn beads_rows(beads: &Beads, mut row: impl FnMut(&str, f64)) {
    row("phi_0", beads.phi_0);
    row("phi_m", beads.phi_m);
    row("sigma_star_pa", beads.sigma_star);
    row("beta", beads.beta);
    row("amplitude", beads.amplitude);
    row("contact_share_at_low_stress", beads.share_at_low_stress);
    row("contact_share_of_rise", beads.share_of_rise);
}

//! Made-up reversals and states for the tests of several rooms, plain throughout: what a test is about it sets itself.

use crate::numerics::interval::z_of;
use crate::physics::materials::{Liquid, Sample};
use crate::physics::quantity::Quantity;
use crate::reversal::result::{
    Before, Controlled, DeadStrain, Estimate, Grade, Graded, GradedRun, Identity, ReversalRead,
};
use crate::states::result::{LoadingMean, State};
use std::collections::BTreeMap;

/// A value without uncertainty.
pub(crate) fn exact(value: f64) -> Estimate {
    Estimate { value, u: 0.0 }
}

/// Solid fraction 0.5 in a liquid of 2.0 Pa s.
pub(crate) fn sample(name: &str) -> Sample {
    let viscosity = Some(Quantity { value: 2.0, u: 0.03 });
    Sample {
        name: name.to_owned(),
        liquid: Liquid { name: "carrier".to_owned(), viscosity, density: None, composition: None },
        particles: None,
        volume_fraction: Some(Quantity { value: 0.5, u: 0.002 }),
        control: false,
    }
}

/// One run per loading.
pub(crate) fn identity(sample: &str, loading: &str) -> Identity {
    Identity {
        run: format!("raw/{sample}/{loading}.txt"),
        blake3: String::new(),
        sample: sample.to_owned(),
        control: false,
        volume_fraction: Some(0.5),
        u_volume_fraction: Some(0.002),
        geometry: "cone".to_owned(),
        instrument: "bench".to_owned(),
        loading: loading.to_owned(),
        repeat: None,
        started: None,
        rows: 100,
        preamble: BTreeMap::new(),
    }
}

/// Steady, and known without error.
pub(crate) fn before(rate: f64, viscosity: f64) -> Before {
    Before {
        stress_pa: exact(viscosity * rate),
        rate_per_s: exact(rate),
        viscosity_pa_s: exact(viscosity),
        window_strain: 2.0,
        readings: 50,
        record_strain: 10.0,
        drift: exact(0.0),
        recovery: None,
        steady: true,
        steady_not_shown: false,
        floors: None,
        torque_n_m: 1e-3,
        normal_stress_pa: None,
    }
}

/// A reversal of grade A under rate control, with nothing stored beside its contact share.
pub(crate) fn graded(row: u32, before: Option<Before>, share: Estimate) -> Graded {
    let read = ReversalRead {
        number: row,
        row,
        step: i64::from(row),
        time_s: 0.0,
        sense_before: 1,
        controlled: Controlled::Rate,
        controlled_found: false,
        set_point_in_export: None,
        before,
        noise: None,
        dead: DeadStrain { speed: 0.0, inertia: 0.0, momentum: 0.0, sampling: 0.0, control: 0.0 },
        strain_after: 5.0,
        speed_ratio: None,
        torque_after_n_m: None,
        after: None,
        later: Vec::new(),
        normal_stress_after_pa: None,
        sensitivity_coefficients: Vec::new(),
        sensitivity: Vec::new(),
        torque_residual: Vec::new(),
        set_aside: None,
        remarks: Vec::new(),
    };
    Graded {
        read,
        contact_share: Some(share),
        resolved: true,
        contact_share_low: None,
        contact_share_high: None,
        grade: Grade::A,
        remarks: Vec::new(),
    }
}

/// A run of these reversals.
pub(crate) fn run(sample: &str, loading: &str, reversals: Vec<Graded>) -> GradedRun {
    GradedRun {
        identity: identity(sample, loading),
        reversals,
        excluded: Default::default(),
        account: Default::default(),
        validity: Vec::new(),
        ingest_remarks: Vec::new(),
        clean_remarks: Vec::new(),
        remarks: Vec::new(),
    }
}

/// A loading of one reversal; of none that could be read where there is no share.
pub(crate) fn loading_mean(loading: &str, ln_viscosity: f64, share: Option<f64>) -> LoadingMean {
    LoadingMean {
        loading: loading.to_owned(),
        ln_viscosity,
        z: share.map(z_of),
        u_z: share.map(|_| 0.01),
        resolved: u32::from(share.is_some()),
        found: 1,
        viscosity_from: Vec::new(),
        share_from: Vec::new(),
    }
}

/// A state of these loadings without any value.
pub(crate) fn state(sample: &Sample, set_point: &str, loadings: Vec<LoadingMean>) -> State {
    let n = loadings.len() as u32;
    let controlled = if set_point.ends_with("Pa") { Controlled::Stress } else { Controlled::Rate };
    State {
        set_point_told: true,
        loadings: n,
        reversals: n,
        reversals_found: n,
        loading_means: loadings,
        ..State::unread(sample, set_point.to_owned(), controlled)
    }
}

//! A made-up study: the truth, judged runs as a reader gives them, and the same as a perfect reader would.

use super::Design;
use super::laboratory::{BEADS, Declared, STRESSES, True};
use super::pool::{PoolState, Read};
use crate::random::Stream;
use stages::reversal::result::{Controlled, Estimate, Graded, GradedRun};

/// Scatter as standard deviations: ln(viscosity) of a loading and of a state in it; −ln(1 − X) of a loading, of a state
/// in it, and of a reversal. Such as are found with granular suspensions (common experience).
const VISCOSITY: [f64; 2] = [0.025, 0.006];
const SHARE: [f64; 3] = [0.030, 0.010, 0.012];
/// A state takes its read errors from one of this many pool states with nearly its share.
const NEAR: usize = 10;

/// What is true of a state.
#[derive(Clone, Copy)]
pub(super) struct TrueState {
    pub(super) relative_viscosity: f64,
    pub(super) share: f64,
}

/// A study.
pub(super) struct Study {
    pub(super) declared: Declared,
    pub(super) truth: True,
    /// By sample, then by stress.
    pub(super) states: Vec<Vec<TrueState>>,
    /// What the reader gives.
    pub(super) runs: Vec<GradedRun>,
    /// What the perfect reader gives: realised values, no error.
    pub(super) realised: Vec<GradedRun>,
}

/// The study of this number.
pub(super) fn study(design: &Design, pool: &[PoolState], number: u64) -> Study {
    let declared = Declared::standard();
    let truth = declared.draw(number);
    let mut study = Study { declared, truth, states: Vec::new(), runs: Vec::new(), realised: Vec::new() };
    for sample in 0..truth.fractions.len() {
        let states: Vec<TrueState> = STRESSES.iter().map(|s| true_state(&study, sample, *s)).collect();
        let mut draw = Stream::named(number, &format!("sample {sample}"));
        let read: Vec<&PoolState> = states.iter().map(|s| near(pool, s.share, &mut draw)).collect();
        for loading in 0..design.repeats.len() {
            let (run, realised) = loaded(&study, sample, loading, &states, &read, &mut draw);
            study.runs.push(run);
            study.realised.push(realised);
        }
        study.states.push(states);
    }
    study
}

/// What is true at a stress that the operator typed.
fn true_state(study: &Study, sample: usize, stress: f64) -> TrueState {
    let held = study.truth.held_stress(stress, &study.declared);
    let steady = BEADS.at_stress(study.truth.fractions[sample], study.truth.liquid, held);
    TrueState { relative_viscosity: steady.viscosity / study.truth.liquid, share: steady.share }
}

fn near<'a>(pool: &'a [PoolState], share: f64, draw: &mut Stream) -> &'a PoolState {
    let above = pool.partition_point(|p| p.share < share);
    let most = NEAR.min(pool.len());
    let first = above.saturating_sub(most / 2).min(pool.len() - most);
    &pool[first + draw.below(most)]
}

/// One loading through all its states, as read and as realised.
fn loaded(
    study: &Study,
    sample: usize,
    loading: usize,
    states: &[TrueState],
    read: &[&PoolState],
    draw: &mut Stream,
) -> (GradedRun, GradedRun) {
    let filling = [draw.around(0.0, VISCOSITY[0]), draw.around(0.0, SHARE[0])];
    let shown = libm::log(study.truth.shown_viscosity(&study.declared));
    let mut run = empty(study, sample, loading, &read[0].loadings[loading].run);
    let mut realised = run.clone();
    for ((state, pool), stress) in states.iter().zip(read).zip(STRESSES) {
        let here = [draw.around(0.0, VISCOSITY[1]), draw.around(0.0, SHARE[1])];
        let ln_viscosity = libm::log(state.relative_viscosity * study.truth.liquid) + filling[0] + here[0];
        for read in &pool.loadings[loading].reversals {
            let z = -libm::log1p(-state.share) + filling[1] + here[1] + draw.around(0.0, SHARE[2]);
            let row = run.reversals.len() as u32 + 1;
            run.reversals.push(as_read(read, row, stress, ln_viscosity + shown, z, study));
            let held = study.truth.held_stress(stress, &study.declared);
            realised.reversals.push(as_realised(read, row, held, ln_viscosity, z));
        }
    }
    (run, realised)
}

/// A run without reversals, under the name of this loading of this sample.
fn empty(study: &Study, sample: usize, loading: usize, like: &GradedRun) -> GradedRun {
    let (declared, mut run) = (study.declared.sample(sample), like.clone());
    run.identity.run = format!("raw/S{sample}/L{loading}.csv");
    run.identity.sample = declared.name;
    run.identity.loading = format!("L{loading}");
    run.identity.volume_fraction = declared.volume_fraction.map(|q| q.value);
    run.identity.u_volume_fraction = declared.volume_fraction.map(|q| q.u);
    run
}

/// The pool's reading, moved to where this state is.
fn as_read(read: &Read, row: u32, stress: f64, ln_viscosity: f64, z: f64, study: &Study) -> Graded {
    let mut graded = placed(&read.graded, row, stress);
    set_viscosity(&mut graded, ln_viscosity + read.ln_viscosity, stress);
    if let (Some(share), Some(error)) = (graded.contact_share, read.z) {
        let off = study.truth.inertia_off;
        let inertia = graded.read.sensitivity_coefficients.iter().filter(|r| r.term.ends_with(".inertia"));
        let moved: f64 = inertia.map(|r| parabola(r.minus.1, r.plus.1, off)).sum();
        // As the share is read at this place, u(z) = u(X)/(1 − X) stays.
        let u_z = share.u / (1.0 - share.value);
        let z = z + error + moved / (1.0 - share.value);
        let value = -libm::expm1(-z);
        scale_responses(&mut graded, (1.0 - value) / (1.0 - share.value));
        graded.contact_share = Some(Estimate { value, u: u_z * (1.0 - value) });
    }
    graded
}

/// The perfect reader knows what was realised.
fn as_realised(read: &Read, row: u32, stress: f64, ln_viscosity: f64, z: f64) -> Graded {
    let mut graded = placed(&read.graded, row, stress);
    set_viscosity(&mut graded, ln_viscosity, stress);
    graded.read.sensitivity_coefficients.clear();
    graded.contact_share = graded.contact_share.map(|_| Estimate { value: -libm::expm1(-z), u: 0.0 });
    graded
}

/// The judged reversal at another place in its run, under a held stress.
fn placed(graded: &Graded, row: u32, stress: f64) -> Graded {
    let mut graded = graded.clone();
    graded.read.row = row;
    graded.read.number = row;
    graded.read.controlled = Controlled::Stress;
    graded.read.set_point_in_export = Some(stress);
    graded
}

fn set_viscosity(graded: &mut Graded, ln_viscosity: f64, stress: f64) {
    let Some(before) = &mut graded.read.before else { return };
    let relative = before.viscosity_pa_s.u / before.viscosity_pa_s.value;
    let of = |value: f64, relative: f64| Estimate { value, u: value * relative };
    let viscosity = libm::exp(ln_viscosity);
    before.viscosity_pa_s = of(viscosity, relative);
    before.stress_pa = of(stress, 0.001);
    before.rate_per_s = of(stress / viscosity, relative);
}

/// Through `minus` at −1, 0 at 0 and `plus` at +1.
fn parabola(minus: f64, plus: f64, at: f64) -> f64 {
    0.5 * at * ((plus - minus) + at * (plus + minus))
}

fn scale_responses(graded: &mut Graded, by: f64) {
    for response in &mut graded.read.sensitivity_coefficients {
        response.minus.1 *= by;
        response.plus.1 *= by;
    }
}

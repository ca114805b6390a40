//! The invented campaign of `demo-project/`: raw exports and their truth, made from a seed. Nothing here may use
//! `stages`, `reports` or `pipeline`: the physics is written a second time, so that the tool can be held to it.
//!
//! `random` draws, `material` says how the slurry answers, `instrument` what a rheometer makes of that,
//! `campaign` who measured what and what went wrong, `exports` and `truth` write it down.
//! All transcendental functions come from the `libm` crate: the same bytes on every processor.

mod campaign;
mod exports;
pub(crate) mod instrument;
pub(crate) mod material;
pub(crate) mod random;
mod run;
mod truth;

#[cfg(test)]
mod checks;
#[cfg(test)]
pub(crate) mod read;

/// Seed of the files that the repository holds.
pub(crate) const SEED: u64 = 20_261_012;

/// All files that the generator makes, as (path below `demo-project`, bytes), sorted by path.
pub(crate) fn files(seed: u64) -> Vec<(String, Vec<u8>)> {
    let world = campaign::World::draw(seed);
    let mut records = truth::Records::default();
    let mut files = Vec::new();
    for plan in campaign::plans() {
        let measured = run::measure(&world, &plan, seed);
        files.push((plan.path.clone(), exports::write(&plan, &measured.readings, seed)));
        records.reversals.extend(measured.reversals);
    }
    records.states = campaign::states(&world);
    files.extend(truth::write(&records, &world));
    files.sort();
    files
}

//! Which studies are made: cells that fill the space of contact share, arrival of the drive, noise and dip evenly,
//! and everything else drawn anew for each study. It makes no readings.

use super::instrument::{Drive, Protocol, U_INERTIA};
use super::transient::{Class, Origin, Transient};
use crate::random::Stream;

/// Contact shares of the selection.
pub(crate) const SHARES: [f64; 5] = [0.0, 0.05, 0.3, 0.6, 0.9];

/// Standard deviation of −ln(1 − X) between loadings.
const SCATTER: f64 = 0.01;

/// One study: a state of some loadings, the sample's transient, and how each loading is measured.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Study {
    /// Number, which also seeds its draws.
    pub(crate) number: u64,
    /// Where the transient comes from.
    pub(crate) origin: Origin,
    /// Depth of the dip.
    pub(crate) class: Class,
    /// Contact share of the sample.
    pub(crate) share: f64,
    /// Contact share of each loading.
    pub(crate) loadings: Vec<f64>,
    /// The transient.
    pub(crate) transient: Transient,
    /// How it is measured.
    pub(crate) protocol: Protocol,
}

/// Strains of arrival and noises that a design spans, both even in their logarithm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Span {
    /// Strain after the turning point at which the drive arrives.
    pub(crate) arrival: (f64, f64),
    /// White noise and wander of a reading together, relative.
    pub(crate) noise: (f64, f64),
    /// Loadings of a state.
    pub(crate) loadings: usize,
}

/// Study `number` of an origin.
pub(crate) fn study(number: u64, origin: Origin, span: &Span, seed: u64) -> Study {
    let mut draws = Stream::named(seed, &format!("{} {number}", origin.name()));
    let place = place(number);
    let share = SHARES[(place[0] * SHARES.len() as f64) as usize];
    let class = Class::ALL[(place[1] * Class::ALL.len() as f64) as usize];
    let transient = origin.draw(class, &mut draws);
    let arrival = geometric(span.arrival, place[2]);
    let protocol = protocol(arrival, geometric(span.noise, place[3]), &mut draws);
    let scatter = if share > 0.0 { SCATTER } else { 0.0 };
    let loadings = (0..span.loadings).map(|_| 1.0 - (1.0 - share) * libm::exp(-scatter * draws.normal())).collect();
    Study { number, origin, class, share, loadings, transient, protocol }
}

fn geometric((low, high): (f64, f64), part: f64) -> f64 {
    low * libm::pow(high / low, part)
}

/// Point `k` of a sequence that fills the unit cube of four dimensions evenly: multiples of powers of 1/ρ, ρ the
/// positive root of x⁵ = x + 1 (M. Roberts's generalisation of the golden ratio, from memory; the root
/// as public programs give it).
fn place(k: u64) -> [f64; 4] {
    const RHO: f64 = 1.167_303_978_261_418_7;
    std::array::from_fn(|d| {
        let x = 0.5 + (k + 1) as f64 / libm::pow(RHO, d as f64 + 1.0);
        x - x.floor()
    })
}

/// A measurement whose readings are 2 to 8 to the strain of arrival at first and 0.02 to 0.08 apart in the end.
fn protocol(arrival: f64, noise: f64, draws: &mut Stream) -> Protocol {
    let turn = draws.between(0.2, 1.2);
    let finest = (arrival / draws.between(2.0, 8.0)).clamp(0.0005, 0.01);
    Protocol {
        drive: if draws.uniform() < 0.5 { Drive::Ramp } else { Drive::Servo },
        arrival,
        rate: geometric((0.2, 5.0), draws.uniform()),
        stress: geometric((20.0, 200.0), draws.uniform()),
        inertia: draws.around(1.0, U_INERTIA),
        white: noise * libm::cos(turn),
        wander: (noise * libm::sin(turn), geometric((0.05, 0.25), draws.uniform())),
        sampling: (finest, draws.between(0.02, 0.08)),
        speed: draws.uniform() < 0.5,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sequence_meets_every_combination_of_share_and_class() {
        let mut count = [[0; 3]; 5];
        for k in 0..300 {
            let p = place(k);
            count[(p[0] * 5.0) as usize][(p[1] * 3.0) as usize] += 1;
        }
        // 20 each on average; random draws would scatter by 4.5.
        assert!(count.iter().flatten().all(|n| (15..=25).contains(n)), "{count:?}");
    }
}

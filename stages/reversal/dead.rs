//! First usable strain after a reversal, by cause: motor, inertia, momentum diffusion, sampling. The control's own
//! dead time is added where controls are known, in `grading.rs`.

use super::find::Turn;
use super::params::Dead;
use super::result::{Controlled, DeadStrain};
use super::rules::ARRIVED;
use super::trace::{Trace, median, robust_deviation};
use std::ops::Range;

/// Deviations of the speed's noise that are allowed on top of the band: one reading in 16,000 of normal noise
/// lies outside, and a few hundred readings stand below strain 0.3.
const ALLOWED: f64 = 4.0;

/// What momentum diffusion depends on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Diffusion {
    /// Density of the sample, kg/m³.
    pub(super) density: f64,
    /// Widest gap, m.
    pub(super) gap: f64,
}

/// First usable strain by cause from the readings `after` a turn.
pub(super) fn dead_strain(
    trace: &Trace,
    turn: &Turn,
    after: Range<usize>,
    controlled: Controlled,
    diffusion: Diffusion,
    settings: &Dead,
) -> DeadStrain {
    let early: Vec<usize> = after.clone().filter(|i| turn.strain(trace, *i) < ARRIVED.0).collect();
    let behind = |bad: &dyn Fn(usize) -> bool| {
        early.iter().rev().find(|i| bad(**i)).map_or(0.0, |i| strain_at(trace, turn, after.clone(), i + 1))
    };
    let speed = match controlled {
        // In stress control the speed is meant to move.
        Controlled::Stress => 0.0,
        Controlled::Rate => speed_band(trace, turn, after.clone(), &early, settings)
            .map_or(0.0, |(level, band)| behind(&|i| (trace.rate[i].abs() - level).abs() > band)),
    };
    let first_kept = after.clone().find(|i| trace.kept[*i] && turn.strain(trace, *i) > 0.0);
    DeadStrain {
        speed,
        inertia: behind(&|i| trace.drive[i]),
        momentum: momentum(trace, turn, after.clone(), diffusion, settings),
        sampling: first_kept.map_or(f64::INFINITY, |i| turn.strain(trace, i)).min(1e9),
        control: 0.0,
    }
}

/// Strain of a reading, or of the last one and a bit more where there is none.
fn strain_at(trace: &Trace, turn: &Turn, after: Range<usize>, i: usize) -> f64 {
    turn.strain(trace, i.min(after.end - 1))
}

/// The speed after the drive has arrived, and how far readings may be from it: the band, and the noise of a speed
/// that was derived from a position.
fn speed_band(trace: &Trace, turn: &Turn, after: Range<usize>, early: &[usize], settings: &Dead) -> Option<(f64, f64)> {
    let settled = after.clone().filter(|i| (ARRIVED.0..=ARRIVED.1).contains(&turn.strain(trace, *i)));
    let speeds: Vec<f64> = settled.map(|i| trace.rate[i].abs()).collect();
    let speeds = if speeds.len() < 3 { after.rev().take(5).map(|i| trace.rate[i].abs()).collect() } else { speeds };
    let level = median(speeds)?;
    // Differences over five readings: further than a local derivative reaches, nearer than the ramp is long. The
    // noise is read in the later half of the early readings, where the drive has arrived if it is to be used at all.
    let late = &early[early.len() / 2..];
    let differences: Vec<f64> =
        late.iter().zip(late.iter().skip(5)).map(|(a, b)| trace.rate[*b] - trace.rate[*a]).collect();
    let noise = robust_deviation(&differences).map_or(0.0, |d| d / 2.0_f64.sqrt());
    // Noise cannot excuse more than three times the band.
    Some((level, settings.speed_band * level + (ALLOWED * noise).min(3.0 * settings.speed_band * level)))
}

/// Strain at which momentum has crossed the gap: t > k·ρh²/η. The slowest mode decays as exp(−π²ηt/ρh²), below 1 %
/// from k = 0.5 on (R. B. Bird, W. E. Stewart & E. N. Lightfoot, *Transport Phenomena*, 2nd ed., §4.1).
fn momentum(trace: &Trace, turn: &Turn, after: Range<usize>, diffusion: Diffusion, settings: &Dead) -> f64 {
    let early = after.clone().filter(|i| (0.02..=ARRIVED.0).contains(&turn.strain(trace, *i)));
    let Some(viscosity) = median(early.map(|i| trace.viscosity(i)).collect()).filter(|v| *v > 0.0) else { return 0.0 };
    let lapse = settings.diffusion * diffusion.density * diffusion.gap * diffusion.gap / viscosity;
    let late = after.clone().find(|i| trace.time[*i] - turn.time > lapse);
    match late {
        Some(i) if i == after.start => 0.0,
        Some(i) => turn.strain(trace, i),
        None => strain_at(trace, turn, after.clone(), after.end),
    }
}

//! Restarts in the old sense: the sample stood still and was then sheared on as before. Contacts do not open there, so
//! no transient is allowed (F. Gadala-Maria & A. Acrivos, J. Rheol. 24 (1980) 799): a second control, on the sample
//! itself and within the run. It fits nothing and knows no other run.

use super::before::{self, Stretches};
use super::dead::{Diffusion, dead_strain};
use super::find::Turn;
use super::noise;
use super::params::Reading as Settings;
use super::remark::RunRemark;
use super::result::{Controlled, Estimate, Restart};
use super::rules::{DRIFTS, STRETCH};
use super::trace::{Trace, median};
use std::ops::RangeInclusive;

/// Strains after the leaving that are compared with the steady stretch before.
const COMPARED: RangeInclusive<f64> = STRETCH.0..=STRETCH.1;

/// A run in which restarts are looked at.
pub(super) struct Run<'a> {
    pub(super) trace: &'a Trace,
    pub(super) diffusion: Diffusion,
    pub(super) settings: &'a Settings,
    /// Line in the export of a reading.
    pub(super) row: &'a dyn Fn(usize) -> u32,
}

impl Run<'_> {
    /// The restarts among `stops`, which are told as turns whose strain counts from the leaving; `turns` are reversals.
    pub(super) fn restarts(&self, turns: &[Turn], stops: &[Turn]) -> Vec<Restart> {
        let mut all: Vec<(bool, &Turn)> = turns.iter().map(|t| (false, t)).collect();
        all.extend(stops.iter().map(|s| (true, s)));
        all.sort_by_key(|(_, t)| t.first_after);
        let in_order: Vec<Turn> = all.iter().map(|(_, t)| (*t).clone()).collect();
        let stops = all.iter().enumerate().filter(|(_, (stop, _))| *stop).map(|(k, _)| k);
        stops.filter_map(|k| self.restart(&in_order, k)).collect()
    }

    /// None where the motion went on under another command.
    fn restart(&self, all: &[Turn], k: usize) -> Option<Restart> {
        let turn = &all[k];
        let stretches = before::stretches(self.trace, all, k, &self.settings.find, &self.settings.before)?;
        if !self.same_command(turn, &stretches)? {
            return None;
        }
        let drop = self.drop(turn, &stretches);
        Some(Restart { row: (self.row)(turn.first_after), time_s: turn.time, drop })
    }

    /// What is compared, from the first usable strain on.
    fn compared(&self, turn: &Turn, stretches: &Stretches, first: f64) -> Vec<usize> {
        let inside = |i: &usize| {
            let strain = turn.strain(self.trace, *i);
            strain >= first && COMPARED.contains(&strain)
        };
        self.trace.kept_in(stretches.after.clone()).into_iter().filter(inside).collect()
    }

    /// Whether what was held is held again.
    fn same_command(&self, turn: &Turn, stretches: &Stretches) -> Option<bool> {
        let command = |i: &usize| match stretches.controlled {
            Controlled::Rate => self.trace.rate[*i].abs(),
            Controlled::Stress => self.trace.stress[*i].abs(),
        };
        let last = self.trace.kept_in(stretches.before.clone());
        let before = median(last.iter().rev().take(20).map(command).collect())?;
        let after = median(self.compared(turn, stretches, 0.0).iter().map(command).collect())?;
        Some((after / before - 1.0).abs() < self.settings.find.rate_change)
    }

    /// 1 − η(after)/η(before); none where either cannot be read.
    fn drop(&self, turn: &Turn, stretches: &Stretches) -> Option<Estimate> {
        let settings = &self.settings.before;
        let steady = before::window(self.trace, stretches.before.clone(), settings.window, settings)?;
        let windows = [&steady.window];
        let noise = noise::pooled(&windows, settings.noise_lag).or_else(|| noise::scatter(&windows))?;
        let (after, held) = (stretches.after.clone(), stretches.controlled);
        let dead = dead_strain(self.trace, turn, after, held, self.diffusion, &self.settings.dead);
        let late = before::steady(self.trace, self.compared(turn, stretches, dead.first_usable()))?;
        let ratio = late.viscosity() / steady.viscosity();
        let (u_before, u_after) = (steady.u_relative(&noise), late.u_relative(&noise));
        Some(Estimate { value: 1.0 - ratio, u: ratio * (u_before * u_before + u_after * u_after).sqrt() })
    }
}

/// Whether a restart shows what none may: a significant change above `limit`.
fn fails(drop: &Estimate, limit: f64) -> bool {
    drop.value.abs() > DRIFTS * drop.u && drop.value.abs() > limit
}

/// Whether one of the restarts fails.
pub(super) fn failed(restarts: &[Restart], limit: f64) -> bool {
    restarts.iter().filter_map(|r| r.drop.as_ref()).any(|d| fails(d, limit))
}

/// What is to be said of the restarts of a run; nothing where there are none.
pub(super) fn remark(restarts: &[Restart], limit: f64) -> Option<RunRemark> {
    let read: Vec<(u32, Estimate)> = restarts.iter().filter_map(|r| Some((r.row, r.drop?))).collect();
    let failed: Vec<(u32, Estimate)> = read.iter().filter(|(_, drop)| fails(drop, limit)).copied().collect();
    (!restarts.is_empty()).then(|| RunRemark::Restarts {
        all: restarts.len() as u32,
        read: read.len() as u32,
        failed: failed.len() as u32,
        largest: largest(&failed).or_else(|| largest(&read)),
    })
}

/// The largest change.
fn largest(drops: &[(u32, Estimate)]) -> Option<(u32, Estimate)> {
    drops.iter().copied().max_by(|a, b| a.1.value.abs().total_cmp(&b.1.value.abs()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn restart(value: f64, u: f64) -> Restart {
        Restart { row: 7, time_s: 1.0, drop: Some(Estimate { value, u }) }
    }

    #[test]
    fn what_is_said_follows_from_the_largest_change() {
        let largest = |all, read, failed, largest| Some(RunRemark::Restarts { all, read, failed, largest });
        assert_eq!(remark(&[], 0.03), None);
        let unread = Restart { drop: None, ..restart(0.0, 0.0) };
        assert_eq!(remark(&[unread], 0.03), largest(1, 0, 0, None));
        let small = restart(-0.004, 0.006);
        assert_eq!(remark(&[small], 0.03), largest(1, 1, 0, Some((7, Estimate { value: -0.004, u: 0.006 }))));
        let large = [small, restart(0.15, 0.01), restart(0.02, 0.001), restart(0.2, 0.1)];
        assert_eq!(remark(&large, 0.03), largest(4, 4, 1, Some((7, Estimate { value: 0.15, u: 0.01 }))));
        assert!(failed(&large, 0.03) && !failed(&large, 0.2) && !failed(&[small], 0.0));
    }
}

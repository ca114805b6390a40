//! What the control runs of one instrument and geometry say about the instrument: false drop, dead time, false
//! torque, offset. A Newtonian liquid has no transient, so all that is seen is the instrument's own.

use super::params::Control as Settings;
use super::remark::ControlRemark;
use super::result::{Control, Estimate, FalseTorque, ReversalRead, RunRead};
use super::rules::{AGREEING, TIME_BINS};

/// Bins of time after the turning point; the last edge is some 11 s.
const BINS: usize = 24;

/// Joins the control runs.
pub(super) fn control(runs: &[RunRead], settings: &Settings) -> Control {
    let all: Vec<&ReversalRead> = runs.iter().flat_map(|r| &r.reversals).collect();
    let traces: Vec<Vec<FalseTorque>> = all.iter().filter_map(|r| false_torque(r)).collect();
    let times: Vec<Option<f64>> = traces.iter().map(|t| dead_time(t, settings.back_within)).collect();
    let contact_share = mean_share(&all);
    let failed = contact_share.is_some_and(|x| x.value.abs() > 2.0 * x.u && x.value.abs() > settings.failed_share);
    let mut remarks = Vec::new();
    if failed {
        remarks.push(ControlRemark::Drop);
    }
    if all.is_empty() {
        remarks.push(ControlRemark::NoReversal);
    }
    let never = times.iter().filter(|t| t.is_none()).count();
    if never > 0 {
        remarks.push(ControlRemark::TorqueNotBack { reversals: never as u32, all: times.len() as u32 });
    }
    Control {
        runs: runs.iter().map(|r| r.run.clone()).collect(),
        reversals: all.len() as u32,
        contact_share,
        dead_time_s: times.into_iter().flatten().reduce(f64::max),
        torque_offset_n_m: offset(&all),
        false_torque: mean_trace(&traces),
        failed,
        remarks,
    }
}

/// Torque beyond the liquid's in bins of time, per change of rate; none without readings.
fn false_torque(reversal: &ReversalRead) -> Option<Vec<FalseTorque>> {
    let change = rate_change(reversal)?;
    let mut bins = vec![(0.0, 0.0, 0.0, 0.0); BINS];
    for (time, torque, u) in &reversal.torque_residual {
        if let Some(bin) = bins.get_mut(bin_of(*time)) {
            *bin = (bin.0 + time, bin.1 + torque, bin.2 + u * u, bin.3 + 1.0);
        }
    }
    let filled = bins.into_iter().filter(|b| b.3 > 0.0);
    // Readings of one bin wander together, so their mean is as uncertain as one of them.
    let trace: Vec<FalseTorque> = filled
        .map(|(t, m, v, n)| FalseTorque { time_s: t / n, torque_n_m_s: m / n / change, u: (v / n).sqrt() / change })
        .collect();
    (!trace.is_empty()).then_some(trace)
}

fn bin_of(time: f64) -> usize {
    let (mut edge, growth) = TIME_BINS;
    (0..BINS)
        .find(|_| {
            let inside = time < edge;
            edge *= growth;
            inside
        })
        .unwrap_or(BINS)
}

/// Change of rate across the reversal, 1/s.
fn rate_change(reversal: &ReversalRead) -> Option<f64> {
    let before = reversal.before.as_ref()?;
    Some(before.rate_per_s.value * (1.0 + reversal.speed_ratio.unwrap_or(1.0))).filter(|c| *c > 0.0)
}

/// First time from which several bins in a row are within their band; none where that is never seen.
fn dead_time(trace: &[FalseTorque], within: f64) -> Option<f64> {
    let back = |f: &FalseTorque| f.torque_n_m_s.abs() <= within * f.u;
    let first = (0..trace.len()).find(|k| {
        let next = &trace[*k..trace.len().min(k + AGREEING)];
        next.len() == AGREEING && next.iter().all(back)
    })?;
    // Back from the very first bin on: no dead time can be told.
    Some(if first == 0 { 0.0 } else { trace[first].time_s })
}

/// Mean over reversals bin by bin.
fn mean_trace(traces: &[Vec<FalseTorque>]) -> Vec<FalseTorque> {
    let in_bin = |k: usize| traces.iter().flatten().filter(move |f| bin_of(f.time_s) == k);
    let mean = |k: usize| {
        let n = in_bin(k).count() as f64;
        let variance: f64 = in_bin(k).map(|f| f.u * f.u).sum();
        (n > 0.0).then(|| FalseTorque {
            time_s: in_bin(k).map(|f| f.time_s).sum::<f64>() / n,
            torque_n_m_s: in_bin(k).map(|f| f.torque_n_m_s).sum::<f64>() / n,
            u: variance.sqrt() / n,
        })
    };
    (0..BINS).filter_map(mean).collect()
}

/// Unweighted mean with the larger of stated and observed error.
fn mean_share(all: &[&ReversalRead]) -> Option<Estimate> {
    let shares: Vec<Estimate> = all.iter().filter_map(|r| r.after.as_ref().map(|a| a.contact_share)).collect();
    mean(&shares)
}

fn mean(values: &[Estimate]) -> Option<Estimate> {
    let n = values.len() as f64;
    if values.is_empty() {
        return None;
    }
    let value = values.iter().map(|e| e.value).sum::<f64>() / n;
    let stated = values.iter().map(|e| e.u * e.u).sum::<f64>().sqrt() / n;
    let squares: f64 = values.iter().map(|e| (e.value - value) * (e.value - value)).sum();
    let seen = if n > 1.0 { (squares / (n * (n - 1.0))).sqrt() } else { 0.0 };
    Some(Estimate { value, u: stated.max(seen) })
}

/// Half the sum of the steady torques of neighbouring reversals of opposite sense at one rate: what does not turn
/// round with the motion.
fn offset(all: &[&ReversalRead]) -> Option<Estimate> {
    let pair = |w: &[&ReversalRead]| {
        let (a, b) = (w[0].before.as_ref()?, w[1].before.as_ref()?);
        let (p, q) = (f64::from(w[0].sense_before) * a.torque_n_m, f64::from(w[1].sense_before) * b.torque_n_m);
        let ratio = a.rate_per_s.value / b.rate_per_s.value;
        let comparable = w[0].sense_before != w[1].sense_before && (0.99..1.01).contains(&ratio);
        let u = |x: &super::result::Before| x.torque_n_m * x.viscosity_pa_s.u / x.viscosity_pa_s.value;
        comparable.then(|| Estimate { value: 0.5 * (p + q * ratio), u: 0.5 * (u(a) * u(a) + u(b) * u(b)).sqrt() })
    };
    // Pairs that share no reversal, so that their errors are independent.
    mean(&all.chunks_exact(2).filter_map(pair).collect::<Vec<_>>())
}

//! Wall time and peak memory of another process, for benchmarks.

use std::fs;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Wall time in seconds and peak of the resident memory in megabytes (0 where the system does not tell it); the
/// standard output, and whether the command succeeded.
pub fn measured(command: &mut Command) -> (f64, f64, bool) {
    let begin = Instant::now();
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let mut peak = 0.0_f64;
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        let status = fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
        let kilobytes =
            status.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().split(' ').next()?.parse::<f64>().ok());
        peak = peak.max(kilobytes.unwrap_or(0.0) / 1e3);
        std::thread::sleep(Duration::from_millis(2));
    };
    (begin.elapsed().as_secs_f64(), peak, status.success())
}

//! Stopping on request: the first signal asks running tasks to end, a second one ends the program at once.

use crate::command::{Exit, Failure};
use crate::diagnostic::Diagnostic;
use signal_hook::consts::{SIGINT, SIGTERM};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// A flag that SIGINT and SIGTERM set.
///
/// # Errors
/// If the system does not take the handlers.
pub fn on_signals() -> Result<Arc<AtomicBool>, Failure> {
    let flag = Arc::new(AtomicBool::new(false));
    for signal in [SIGINT, SIGTERM] {
        // In this order: the shutdown looks at the flag before this signal sets it.
        let shutdown =
            signal_hook::flag::register_conditional_shutdown(signal, Exit::Surroundings as i32, flag.clone());
        shutdown
            .and_then(|_| signal_hook::flag::register(signal, flag.clone()))
            .map_err(|e| Failure::surroundings(Diagnostic::new(format!("cannot listen for signal {signal}: {e}"))))?;
    }
    Ok(flag)
}

/// What is said after a stop.
pub fn stopped(done: usize, all: usize) -> Failure {
    let message = format!("stopped on request: {done} of {all} tasks are done and kept; results are as they were");
    Failure::surroundings(Diagnostic::new(message).help("run again to go on from here"))
}

//! How far a run is, on a terminal. Nothing is shown elsewhere; the summary at the end says it all.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;

/// A bar on stderr, or nothing.
pub struct Progress(Option<ProgressBar>);

impl Progress {
    /// Shows nothing.
    pub fn none() -> Self {
        Self(None)
    }

    /// A bar that counts tasks, if stderr is a terminal.
    pub fn on_terminal() -> Self {
        Self::counting("tasks")
    }

    /// A bar that counts things of this name, if stderr is a terminal.
    pub fn counting(things: &str) -> Self {
        if !std::io::stderr().is_terminal() {
            return Self::none();
        }
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr_with_hz(10));
        let style = ProgressStyle::with_template(&format!("{{bar:30}} {{pos}}/{{len}} {things}  {{wide_msg}}"));
        Self(Some(bar.with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))))
    }

    /// So many tasks there are.
    pub fn begin(&self, tasks: usize) {
        if let Some(bar) = &self.0 {
            bar.set_length(tasks as u64);
        }
    }

    /// This one is worked on.
    pub fn at(&self, task: &str) {
        if let Some(bar) = &self.0 {
            bar.set_message(task.to_string());
        }
    }

    /// One more is finished.
    pub fn step(&self) {
        if let Some(bar) = &self.0 {
            bar.inc(1);
        }
    }

    /// Takes the bar away.
    pub fn end(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}

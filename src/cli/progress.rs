//! Shows how far the work is, on a terminal only.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar on standard error, or nothing at all.
pub(crate) struct Progress {
    bar: ProgressBar,
}

impl Progress {
    /// A bar of some steps; hidden when quiet, and by itself where standard error is no terminal.
    pub(crate) fn new(quiet: bool, steps: u64) -> Self {
        let target = if quiet { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
        let bar = ProgressBar::with_draw_target(Some(steps), target);
        if let Ok(style) = ProgressStyle::with_template("{spinner} {bar:20} {msg} ({elapsed})") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(200));
        Self { bar }
    }

    /// The step before is done and this one begins.
    pub(crate) fn begin(&self, doing: &'static str) {
        self.bar.inc(1);
        self.bar.set_message(doing);
    }

    /// The bar counts things from here on.
    pub(crate) fn counting(&self, things: &'static str) {
        if let Ok(style) = ProgressStyle::with_template("{spinner} {bar:20} {pos} of {len} {msg} ({elapsed})")
        {
            self.bar.set_style(style);
        }
        self.bar.set_message(things);
    }

    /// Says something above the bar.
    pub(crate) fn above(&self, tell: impl FnOnce()) {
        self.bar.suspend(tell);
    }

    /// Takes the bar away.
    pub(crate) fn end(&self) {
        self.bar.finish_and_clear();
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        // A failure must not share its line with a bar.
        self.bar.finish_and_clear();
    }
}

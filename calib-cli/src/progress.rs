//! How far a long work is, for the person who waits.
//!
//! A bar on standard error: only on a terminal, only once a work has lasted beyond
//! a second, gone when it is done. The arithmetic knows nothing of it: the core
//! calls a hook, `&(dyn Fn(usize) + Sync)`, with how many steps more are done.
//! Print nothing while a bar stands; warnings come after the work.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::thread::JoinHandle;
use std::time::Duration;

/// Work shorter than this shows no bar.
const PATIENCE: Duration = Duration::from_secs(1);

/// How often the bar is drawn again though nothing moved, so that the time runs on.
const TICK: Duration = Duration::from_millis(200);

/// Drawn where the steps are counted.
const COUNTED: &str = "{msg} [{bar:24}] {percent} %, {eta} left ";

/// Drawn where nobody knows how many steps there are.
const UNCOUNTED: &str = "{msg} {spinner} {elapsed} ";

/// A work under way. Dropping it takes the bar away.
#[derive(Debug)]
pub struct Progress {
    bar: ProgressBar,
    /// Dropped to say that the work is done; `None` where nobody waits.
    working: Option<Sender<()>>,
    unveiling: Option<JoinHandle<()>>,
}

impl Progress {
    /// A work of `steps` steps; `what` says in a few words what is being done:
    /// `fitting 12 probes`.
    pub fn new(what: impl Into<String>, steps: usize) -> Self {
        Self::styled(what.into(), Some(steps as u64), COUNTED)
    }

    /// A work whose steps cannot be counted.
    pub fn uncounted(what: impl Into<String>) -> Self {
        Self::styled(what.into(), None, UNCOUNTED)
    }

    fn styled(what: String, steps: Option<u64>, template: &str) -> Self {
        let bar = ProgressBar::with_draw_target(steps, ProgressDrawTarget::hidden());
        let style =
            ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar());
        bar.set_style(style.progress_chars("#>-").tick_chars("|/-\\ "));
        bar.set_message(what);
        // Not a terminal, or one that cannot go back to the start of a line.
        if ProgressDrawTarget::stderr().is_hidden() {
            return Self {
                bar,
                working: None,
                unveiling: None,
            };
        }
        let (working, done) = mpsc::channel();
        let veiled = bar.clone();
        let unveiling = std::thread::spawn(move || {
            if done.recv_timeout(PATIENCE) == Err(RecvTimeoutError::Timeout) {
                veiled.set_draw_target(ProgressDrawTarget::stderr());
                veiled.enable_steady_tick(TICK);
            }
        });
        Self {
            bar,
            working: Some(working),
            unveiling: Some(unveiling),
        }
    }

    /// `steps` more are done. From any thread: hand `&|steps| progress.advance(steps)`
    /// to the core as its hook.
    pub fn advance(&self, steps: usize) {
        self.bar.inc(steps as u64);
    }

    /// The same results, each a step once it is there.
    pub fn along<I: Iterator>(&self, results: I) -> impl Iterator<Item = I::Item> {
        results.inspect(|_| self.advance(1))
    }

    /// How many steps are done.
    #[cfg(test)]
    fn done(&self) -> u64 {
        self.bar.position()
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        // The thread that shows the bar must be gone before the bar is taken away.
        self.working = None;
        if let Some(unveiling) = self.unveiling.take() {
            let _ = unveiling.join();
        }
        self.bar.finish_and_clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_add_up_from_any_thread() {
        let progress = Progress::new("testing", 400);
        let hook: &(dyn Fn(usize) + Sync) = &|steps| progress.advance(steps);
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| (0..100).for_each(|_| hook(1)));
            }
        });
        assert_eq!(progress.done(), 400);
    }

    #[test]
    fn both_drawings_can_be_read() {
        for template in [COUNTED, UNCOUNTED] {
            assert!(ProgressStyle::with_template(template).is_ok(), "{template}");
        }
    }
}

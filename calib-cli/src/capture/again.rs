//! Rows that stand in the file when a source is read from its beginning once more.

use crate::table::heard::{Heard, Listener};
use std::collections::HashMap;

/// Rows that stand there, each as often as it does: probe, time and count.
#[derive(Debug, Default)]
pub struct Standing(HashMap<(String, jiff::Timestamp, u32), u64>);

impl Standing {
    /// The rows of `text`, as far as they can be understood.
    pub fn of(text: &str, listener: &Listener) -> Self {
        let mut rows = HashMap::new();
        for (probe, count, time) in listener.rows(text) {
            if let Some(time) = time {
                *rows.entry((probe, time, count)).or_default() += 1;
            }
        }
        Self(rows)
    }

    /// Whether `reading` is one of them that was not named before.
    pub fn has(&mut self, reading: &Heard) -> bool {
        if self.0.is_empty() {
            return false;
        }
        let row = (reading.probe.clone(), reading.time, reading.count);
        match self.0.get_mut(&row) {
            Some(left @ 1..) => {
                *left -= 1;
                true
            }
            _ => false,
        }
    }
}

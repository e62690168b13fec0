//! How a wire does: what is logged of it, and what it counts.

use std::fmt;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crate::line::LineCounts;
use crate::modbus::Counts;

use super::pause::STABLE;

/// Counts of one wire, readable from anywhere.
#[derive(Debug)]
pub struct WireCounts {
    /// Its name: the path of its settings.
    pub name: Arc<str>,
    /// Times that it was opened.
    pub opened: AtomicU64,
    /// Times that it was lost, or did not open.
    pub failed: AtomicU64,
    /// Values handed on.
    pub values: AtomicU64,
    /// Values that could not be read, or stood for nothing.
    pub refused: AtomicU64,
    frames: Mutex<Frames>,
}

/// What is counted of the bytes themselves.
#[derive(Debug, Clone, Copy)]
pub enum Frames {
    /// By a master of Modbus slaves.
    Modbus(Counts),
    /// By a reader of lines.
    Lines(LineCounts),
}

impl WireCounts {
    pub(super) fn new(name: Arc<str>, frames: Frames) -> Arc<Self> {
        Arc::new(WireCounts {
            name,
            opened: AtomicU64::new(0),
            failed: AtomicU64::new(0),
            values: AtomicU64::new(0),
            refused: AtomicU64::new(0),
            frames: Mutex::new(frames),
        })
    }

    pub(super) fn add(counter: &AtomicU64) {
        counter.fetch_add(1, Ordering::Relaxed);
    }

    pub(super) fn set_frames(&self, frames: Frames) {
        *self.frames.lock().unwrap_or_else(PoisonError::into_inner) = frames;
    }

    /// What was counted of the bytes themselves.
    pub fn frames(&self) -> Frames {
        *self.frames.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The counts in words, for the log.
    pub fn summary(&self) -> String {
        let of = |counter: &AtomicU64| counter.load(Ordering::Relaxed);
        format!(
            "values {}, refused {}, opened {}, lost or not opened {}, {}",
            of(&self.values),
            of(&self.refused),
            of(&self.opened),
            of(&self.failed),
            self.frames(),
        )
    }
}

impl fmt::Display for Frames {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Frames::Modbus(counts) => write!(
                f,
                "requests {}, answers {}, exceptions {}, timeouts {}, bad answers {}, late answers dropped {}, bytes of noise {}",
                counts.requests,
                counts.answers,
                counts.exceptions,
                counts.timeouts,
                counts.faults,
                counts.late_answers,
                counts.noise_bytes,
            ),
            Frames::Lines(counts) => write!(
                f,
                "lines {}, not as settled {}, bad checks {}, too long {}, interrupted {}, begun before opening {}, heads {}",
                counts.lines,
                counts.refused,
                counts.bad_checks,
                counts.overlong,
                counts.interrupted,
                counts.partial,
                counts.headers,
            ),
        }
    }
}

/// What the log says of a wire: each change once.
#[derive(Debug)]
pub(super) struct State {
    counts: Arc<WireCounts>,
    health: Health,
}

#[derive(Debug)]
enum Health {
    /// Never opened yet, and nothing told.
    New,
    /// Told as open.
    Up,
    /// Told as down, with this reason.
    Down {
        why: String,
        /// It opens and is lost again at once; only bytes prove that it is up.
        flaps: bool,
    },
}

impl State {
    pub(super) fn new(counts: Arc<WireCounts>) -> Self {
        State {
            counts,
            health: Health::New,
        }
    }

    pub(super) fn counts(&self) -> &Arc<WireCounts> {
        &self.counts
    }

    /// It is open.
    pub(super) fn opened(&mut self) {
        WireCounts::add(&self.counts.opened);
        if !matches!(self.health, Health::Down { flaps: true, .. }) {
            self.up();
        }
    }

    /// Something came over it.
    pub(super) fn heard(&mut self) {
        self.up();
    }

    fn up(&mut self) {
        if !matches!(self.health, Health::Up) {
            tracing::info!(wire = %self.counts.name, "open");
            self.health = Health::Up;
        }
    }

    /// It did not open, or was lost after it had been open for so long.
    pub(super) fn failed(&mut self, why: &dyn fmt::Display, lasted: Duration) {
        WireCounts::add(&self.counts.failed);
        let why = why.to_string();
        let told = matches!(&self.health, Health::Down { why: before, .. } if *before == why);
        if !told {
            tracing::warn!(wire = %self.counts.name, "{why}; tried again until it is there");
        }
        let flaps = !lasted.is_zero() && lasted < STABLE;
        self.health = Health::Down { why, flaps };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_counts_are_told_in_words() {
        let lines = LineCounts {
            bad_checks: 3,
            ..LineCounts::default()
        };
        let counts = WireCounts::new("serial.x".into(), Frames::Lines(LineCounts::default()));
        WireCounts::add(&counts.values);
        counts.set_frames(Frames::Lines(lines));
        let told = counts.summary();
        assert!(
            told.contains("values 1,") && told.contains("bad checks 3"),
            "{told}"
        );
    }

    #[test]
    fn a_wire_that_flaps_is_told_once() {
        let counts = WireCounts::new("serial.x".into(), Frames::Lines(LineCounts::default()));
        let mut state = State::new(counts);
        state.opened();
        assert!(matches!(state.health, Health::Up));
        for _ in 0..3 {
            state.failed(&"gone", Duration::from_millis(1));
            state.opened();
            assert!(matches!(state.health, Health::Down { .. }));
        }
        state.heard();
        assert!(matches!(state.health, Health::Up));
        state.failed(&"gone", STABLE);
        state.failed(&"absent", Duration::ZERO);
        state.opened();
        assert!(matches!(state.health, Health::Up));
        assert_eq!(state.counts.failed.load(Ordering::Relaxed), 5);
    }
}

//! Several watches and the time they share.

use crate::units::{Span, Timestamp};

use super::event::{Effect, Event};
use super::watch::{GRID, SumpWatch};

/// A point of the grid is passed only this long after the clock, so that a
/// reading taken before it and still on the wire comes first.
pub const SETTLING: Span = Span::from_millis(100);

/// Several watches and the time they share.
#[derive(Debug, Clone, Default)]
pub struct Shard {
    watches: Vec<SumpWatch>,
    passed: Option<Timestamp>,
}

impl Shard {
    /// A shard of these watches, addressed by their place.
    pub fn new(watches: Vec<SumpWatch>) -> Self {
        Shard {
            watches,
            passed: None,
        }
    }

    /// The watches.
    pub fn watches(&self) -> &[SumpWatch] {
        &self.watches
    }

    /// The last point of the grid that has been passed: whatever happens from
    /// now on is not before it.
    pub fn passed(&self) -> Option<Timestamp> {
        self.passed
    }

    /// The clock stands at `clock`: what was due happens. Calls `each` with
    /// the place of a watch and its effects, for those that had any.
    pub fn advance(
        &mut self,
        clock: Timestamp,
        out: &mut Vec<Effect>,
        mut each: impl FnMut(usize, &mut Vec<Effect>),
    ) {
        let point = (clock - SETTLING).floor(GRID);
        if self.passed.is_some_and(|passed| point <= passed) {
            return;
        }
        self.passed = Some(point);
        for (ix, watch) in self.watches.iter_mut().enumerate() {
            if watch.next_due() <= point {
                watch.step(&Event::Tick(point), out);
                each(ix, out);
            }
        }
    }

    /// One event of the watch at place `ix`.
    #[inline]
    pub fn deliver(&mut self, ix: usize, event: &Event, out: &mut Vec<Effect>) {
        let watch = &mut self.watches[ix];
        if let Some(passed) = self.passed {
            watch.advance(passed, out);
        }
        watch.step(event, out);
    }
}

//! Instruments on a 4–20 mA loop: from the current to what it stands for.

use crate::signal::{LoopJudgement, LoopWatch};
use crate::units::{Current, Timestamp};

use super::event::{Form, Quality, Reading};
use super::watch::SumpWatch;

impl SumpWatch {
    /// The reading with what its current stands for in place of the current, as
    /// of `time`, and what the loop says of it. Of a reading that is not the
    /// channel's newest (`late`) only its own current is judged.
    #[inline]
    pub(super) fn off_the_loop(
        &mut self,
        mut reading: Reading,
        time: Timestamp,
        late: bool,
    ) -> (Reading, LoopJudgement) {
        let ix = usize::from(reading.channel);
        if self.setup.channels[ix].input.current_loop.is_none() || reading.form == Form::Settled {
            return (reading, LoopJudgement::Measured);
        }
        let mut watch = match late {
            true => LoopWatch::default(),
            false => self.channels[ix].current_loop,
        };
        let (value, judgement) = self.current_stands_for(ix, reading.value, time, &mut watch);
        if !late {
            self.channels[ix].current_loop = watch;
        }
        reading.value = value;
        (reading, judgement)
    }

    /// What a current stands for in a channel that is on a loop, and what it says
    /// of its instrument; of other channels the number itself.
    pub(super) fn current_stands_for(
        &self,
        channel: usize,
        reported: f64,
        time: Timestamp,
        watch: &mut LoopWatch,
    ) -> (f64, LoopJudgement) {
        let Some(range) = self.setup.channels[channel].input.current_loop else {
            return (reported, LoopJudgement::Measured);
        };
        let current = Current::from_milliamperes(reported);
        (range.value(current), watch.step(time, current))
    }
}

/// The mark that a judgement amounts to.
pub(super) fn mark(judgement: LoopJudgement) -> Quality {
    match judgement {
        LoopJudgement::Measured => Quality::GOOD,
        LoopJudgement::Held => Quality::UNSURE,
        LoopJudgement::Failed => Quality::FAULT,
    }
}

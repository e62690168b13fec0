//! A channel whose source is lost, and is there again.

use crate::units::Timestamp;

use super::event::Effect;
use super::watch::SumpWatch;

impl SumpWatch {
    /// The channel's source was lost, or is there again. What was not heard while
    /// it was gone says nothing: a channel that was not silent before has its
    /// whole time to report, and is not told silent the moment its source is
    /// back.
    pub(super) fn step_source(
        &mut self,
        ix: usize,
        (gone, time): (bool, Timestamp),
        out: &mut Vec<Effect>,
    ) {
        if self.channels[ix].source_gone == gone {
            return;
        }
        let silent = self.channels[ix].is_silent(&self.setup.channels[ix], self.now);
        let channel = &mut self.channels[ix];
        channel.source_gone = gone;
        if gone {
            channel.silent_before = silent;
            channel.unheard_since = true;
        } else if !channel.silent_before {
            channel.listen_from(time);
        }
        self.watch_silence(ix, out);
        self.review_suppression(out);
        self.find_next_due();
        self.show(out);
    }
}

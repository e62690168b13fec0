//! When a node may be asked for a birth again.

use crate::units::{Span, Timestamp};

/// Least pause between two requests for a birth of the same node. While they
/// do not help it doubles, up to [`REBIRTH_PAUSE_MOST`]. Choice: a birth comes
/// within a second or two, and of a large node it is a large message.
pub const REBIRTH_PAUSE: Span = Span::from_secs(5);
/// Longest such pause.
pub const REBIRTH_PAUSE_MOST: Span = Span::from_mins(16);

/// The requests made of one node.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Asking {
    latest: Option<(Timestamp, Span)>,
}

impl Asking {
    /// A birth is wanted; says whether it may be asked for now, which then
    /// counts as asked. A clock that was set back allows it at once.
    pub(super) fn want(&mut self, now: Timestamp) -> bool {
        let pause = match self.latest {
            None => REBIRTH_PAUSE,
            Some((at, pause)) => {
                let since = now - at;
                if (Span::ZERO..pause).contains(&since) {
                    return false;
                }
                let doubled = Span::from_millis(2 * pause.millis());
                // Wanted again as soon as it may be: the last one did not help.
                if (pause..doubled).contains(&since) {
                    doubled.min(REBIRTH_PAUSE_MOST)
                } else {
                    REBIRTH_PAUSE
                }
            }
        };
        self.latest = Some((now, pause));
        true
    }

    /// A birth is asked for now, whatever was asked before.
    pub(super) fn ask(&mut self, now: Timestamp) {
        self.latest = Some((now, REBIRTH_PAUSE));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(secs: i64) -> Timestamp {
        Timestamp::from_millis(1_772_431_800_000 + 1000 * secs)
    }

    /// The seconds at which a node is asked that is wanted each second.
    fn asked(asking: &mut Asking, secs: std::ops::Range<i64>) -> Vec<i64> {
        secs.filter(|&s| asking.want(at(s))).collect()
    }

    #[test]
    fn in_vain_the_pause_doubles_up_to_its_most() {
        let times = asked(&mut Asking::default(), 0..10_000);
        let pauses: Vec<i64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert_eq!(times[0], 0);
        assert_eq!(pauses[..9], [5, 10, 20, 40, 80, 160, 320, 640, 960]);
        assert!(pauses[9..].iter().all(|&pause| pause == 960));
    }

    #[test]
    fn after_a_quiet_time_it_begins_anew() {
        let mut asking = Asking::default();
        asked(&mut asking, 0..1000);
        assert_eq!(asked(&mut asking, 5000..5006), [5000, 5005]);
    }

    #[test]
    fn a_clock_set_back_silences_nobody() {
        let mut asking = Asking::default();
        assert!(asking.want(at(1000)));
        assert!(asking.want(at(0)));
        assert!(!asking.want(at(1)));
    }

    #[test]
    fn a_request_out_of_turn_counts() {
        let mut asking = Asking::default();
        asking.ask(at(0));
        assert_eq!(asked(&mut asking, 0..6), [5]);
    }
}

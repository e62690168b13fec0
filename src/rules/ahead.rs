//! A limit that will be reached before long.

use crate::alarm::Verdict;
use crate::units::Span;

/// It is no longer ahead once it most likely takes so many times longer than is
/// told. Choice.
const BACK_AT: f64 = 1.25;

/// How long it takes to a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Most likely.
    pub likely: Span,
    /// Not longer, in nineteen of twenty cases; none where that is beyond all
    /// that can be said.
    pub latest: Option<Span>,
}

/// Judges a limit ahead: told only when nineteen of twenty cases reach it within
/// the time, so that who goes there finds it so. `known` is whether its signal is
/// known at all.
pub fn judge_ahead(within: Span, reach: Option<Reach>, known: bool) -> Verdict {
    let Some(reach) = reach.filter(|_| known) else {
        return if known {
            Verdict::Inside
        } else {
            Verdict::Unknown
        };
    };
    if reach.latest.is_some_and(|latest| latest <= within) {
        return Verdict::Outside;
    }
    if reach.likely.secs_f64() <= BACK_AT * within.secs_f64() {
        Verdict::Band
    } else {
        Verdict::Inside
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_told_when_it_is_sure_and_over_when_it_is_far() {
        let hours = Span::from_hours;
        let judge = |likely, latest: Option<i64>| {
            let reach = Reach {
                likely: hours(likely),
                latest: latest.map(hours),
            };
            judge_ahead(hours(8), Some(reach), true)
        };
        assert_eq!(judge(6, Some(8)), Verdict::Outside);
        assert_eq!(judge(6, Some(9)), Verdict::Band);
        assert_eq!(judge(6, None), Verdict::Band);
        assert_eq!(judge(11, Some(30)), Verdict::Inside);
        assert_eq!(judge_ahead(hours(8), None, true), Verdict::Inside);
        assert_eq!(judge_ahead(hours(8), None, false), Verdict::Unknown);
    }
}

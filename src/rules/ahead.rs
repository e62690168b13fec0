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

/// How a signal stands to a limit that may lie ahead.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ahead {
    /// Nothing is known of the signal.
    Unknown,
    /// It is beyond the limit already: that is another alarm's.
    Beyond,
    /// It does not go there, as far as can be said.
    Away,
    /// It goes there.
    Going(Reach),
}

/// Judges a limit ahead: told only when nineteen of twenty cases reach it within
/// the time, so that who goes there finds it so. Once the limit is passed, what
/// was told stands.
pub fn judge_ahead(within: Span, ahead: Ahead) -> Verdict {
    match ahead {
        Ahead::Unknown => Verdict::Unknown,
        Ahead::Beyond => Verdict::Band,
        Ahead::Away => Verdict::Inside,
        Ahead::Going(Reach { latest, .. }) if latest.is_some_and(|latest| latest <= within) => {
            Verdict::Outside
        }
        Ahead::Going(Reach { likely, .. }) => {
            let near = likely.secs_f64() <= BACK_AT * within.secs_f64();
            if near { Verdict::Band } else { Verdict::Inside }
        }
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
            judge_ahead(hours(8), Ahead::Going(reach))
        };
        assert_eq!(judge(6, Some(8)), Verdict::Outside);
        assert_eq!(judge(6, Some(9)), Verdict::Band);
        assert_eq!(judge(6, None), Verdict::Band);
        assert_eq!(judge(11, Some(30)), Verdict::Inside);
        let otherwise = |ahead| judge_ahead(hours(8), ahead);
        assert_eq!(otherwise(Ahead::Away), Verdict::Inside);
        assert_eq!(otherwise(Ahead::Beyond), Verdict::Band);
        assert_eq!(otherwise(Ahead::Unknown), Verdict::Unknown);
    }
}

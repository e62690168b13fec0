//! The time that `--from` and `--to` give.

use jiff::tz::TimeZone;

use super::alarms::day_or_moment;
use super::entry::when::WhenError;
use crate::units::Timestamp;

/// Why there is no such time.
#[derive(Debug, thiserror::Error)]
pub(super) enum BetweenFault {
    #[error(transparent)]
    When(#[from] WhenError),
    #[error("--from {from} is not before --to {to}; give an earlier --from")]
    Backwards { from: Timestamp, to: Timestamp },
}

/// From a time on to before another; without bounds where none are given.
///
/// # Errors
/// When one is no time, or they stand the other way round.
pub(super) fn between(
    from: Option<&str>,
    to: Option<&str>,
) -> Result<(Option<Timestamp>, Option<Timestamp>), BetweenFault> {
    let (now, zone) = (jiff::Timestamp::now(), TimeZone::system());
    let read = |text: Option<&str>| text.map(|text| day_or_moment(text, now, &zone)).transpose();
    let (from, to) = (read(from)?, read(to)?);
    match from.zip(to) {
        Some((from, to)) if from >= to => Err(BetweenFault::Backwards { from, to }),
        _ => Ok((from, to)),
    }
}

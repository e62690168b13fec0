//! What is asked of `alarms`.

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::AlarmsFault;
use crate::alarm::performance::Period;
use crate::cli::entry::when::{WhenError, moment};
use crate::units::{Span, Timestamp};

/// The standard's figures want the data of thirty days.
const USUAL: Span = Span::from_hours(30 * 24);

/// What is asked.
#[derive(Debug, Clone)]
pub(in crate::cli) struct Asked {
    pub(in crate::cli) from: Option<String>,
    pub(in crate::cli) to: Option<String>,
    pub(in crate::cli) sumps_per_person: Option<f64>,
    pub(in crate::cli) repeats_within: Span,
    pub(in crate::cli) fleeting_within: Span,
    pub(in crate::cli) json: bool,
}

/// Reads how many sumps one person looks after.
pub(in crate::cli) fn sumps(text: &str) -> Result<f64, String> {
    let sumps: f64 = text.parse().map_err(|_| "a number is needed".to_owned())?;
    if (1.0..=1e6).contains(&sumps) {
        Ok(sumps)
    } else {
        Err("1 to 1000000 is allowed".to_owned())
    }
}

/// The time that is asked for; the last thirty days where nothing is said.
pub(super) fn period(asked: &Asked, now: jiff::Timestamp) -> Result<Period, AlarmsFault> {
    let zone = TimeZone::system();
    let to = match &asked.to {
        Some(text) => day_or_moment(text, now, &zone)?,
        None => Timestamp::from_millis(now.as_millisecond()),
    };
    let from = match &asked.from {
        Some(text) => day_or_moment(text, now, &zone)?,
        None => to - USUAL,
    };
    if from < to {
        Ok(Period::new(from, to))
    } else {
        Err(AlarmsFault::Backwards { from, to })
    }
}

/// A point in time; a date alone is where that day begins.
pub(in crate::cli) fn day_or_moment(
    text: &str,
    now: jiff::Timestamp,
    zone: &TimeZone,
) -> Result<Timestamp, WhenError> {
    let text = text.trim();
    let day = (!text.contains(':')).then(|| text.parse::<Date>().ok());
    let begins = day.flatten().and_then(|day| {
        let midnight = zone.to_ambiguous_timestamp(day.at(0, 0, 0, 0));
        midnight.compatible().ok()
    });
    match begins {
        Some(begins) => Ok(Timestamp::from_millis(begins.as_millisecond())),
        None => moment(text, now, zone),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::performance::Measures;

    fn asked(from: Option<&str>, to: Option<&str>) -> Result<Period, AlarmsFault> {
        let measures = Measures::default();
        let asked = Asked {
            from: from.map(str::to_owned),
            to: to.map(str::to_owned),
            sumps_per_person: None,
            repeats_within: measures.repeats_within,
            fleeting_within: measures.fleeting_within,
            json: false,
        };
        period(&asked, "2026-03-31T08:00:00Z".parse().unwrap())
    }

    #[test]
    fn thirty_days_are_usual_and_the_end_comes_after_the_beginning() {
        let at = |text: &str| Timestamp::parse(text).unwrap();
        let usual = asked(None, None).unwrap();
        assert_eq!(usual.from, at("2026-03-01T08:00:00Z"));
        assert_eq!(usual.to, at("2026-03-31T08:00:00Z"));
        let before = asked(None, Some("2026-02-01T00:00:00Z")).unwrap();
        assert_eq!(before.from, at("2026-01-02T00:00:00Z"));
        let backwards = asked(Some("2026-04-01T00:00:00Z"), None);
        assert!(matches!(backwards, Err(AlarmsFault::Backwards { .. })));
        assert!(matches!(
            asked(Some("soon"), None),
            Err(AlarmsFault::When(_))
        ));
    }

    #[test]
    fn a_date_alone_is_where_the_day_begins() {
        let now = "2026-03-31T08:00:00Z".parse().unwrap();
        let east = TimeZone::fixed(jiff::tz::offset(2));
        let begins = day_or_moment("2026-03-02", now, &east).unwrap();
        assert_eq!(begins.to_string(), "2026-03-01T22:00:00Z");
    }
}

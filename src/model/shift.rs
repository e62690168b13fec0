//! One line of a week's working hours, as `mon-fri 06:00-22:00`.

use std::fmt;

/// The days of a week as they are written, Monday first.
const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

/// Minutes of a day of 24 hours, which is what the clocks of a plant count.
const DAY_MIN: u16 = 24 * 60;

/// Hours that are worked on some days of the week, by the plant's clocks. A
/// shift belongs to the day on which it begins, and lasts 24 hours at most.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shift {
    /// One bit for each day, Monday the lowest.
    days: u8,
    /// When it begins, in minutes after midnight, below 1440.
    begin_min: u16,
    /// When it ends, likewise; above 1440 on the next day.
    end_min: u16,
}

/// Why a text is not a shift.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ShiftError {
    /// It has not two parts.
    #[error(
        "\"{0}\" is not a shift: write its days, a space and its hours, as \"mon-fri 06:00-22:00\""
    )]
    Shape(String),
    /// A day that there is not.
    #[error(
        "\"{0}\" is not a day: write mon, tue, wed, thu, fri, sat or sun, several as mon-fri or \
         mon,wed,fri"
    )]
    Day(String),
    /// A time that no clock shows.
    #[error("\"{0}\" is not a time of day: write it as 06:00; a shift may end at 24:00")]
    Time(String),
    /// Hours that could be none or a whole day.
    #[error("\"{0}\" begins and ends at the same time; a whole day is 00:00-24:00")]
    NoLength(String),
}

impl Shift {
    /// Reads `DAYS HH:MM-HH:MM`: days are one (`sat`), a range (`mon-fri`,
    /// `sat-mon`) or several of them with commas between; hours that end before
    /// they begin go on over midnight.
    ///
    /// # Errors
    /// When a part is missing, or is no day or time; when it has no length.
    pub fn parse(text: &str) -> Result<Self, ShiftError> {
        let shape = || ShiftError::Shape(shown(text));
        let (days, hours) = text
            .trim()
            .split_once(char::is_whitespace)
            .ok_or_else(shape)?;
        let (begin, end) = hours.split_once('-').ok_or_else(shape)?;
        let (begin_min, end_min) = (minute(begin)?, minute(end)?);
        if begin_min == DAY_MIN {
            return Err(ShiftError::Time(shown(begin)));
        }
        if begin_min == end_min {
            return Err(ShiftError::NoLength(shown(hours)));
        }
        let over_midnight = end_min < begin_min;
        Ok(Shift {
            days: days_of(days)?,
            begin_min,
            end_min: end_min + if over_midnight { DAY_MIN } else { 0 },
        })
    }

    /// Whether it begins on this day of the week, counted from Monday as 0.
    pub(super) fn begins_on(&self, day: usize) -> bool {
        day < DAYS.len() && self.days & (1 << day) != 0
    }

    /// Its begin and end in minutes after the midnight that its day begins
    /// with.
    pub(super) fn minutes(&self) -> (u16, u16) {
        (self.begin_min, self.end_min)
    }
}

/// As it is written, each day by itself.
impl fmt::Display for Shift {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let days = (0..DAYS.len()).filter(|day| self.begins_on(*day));
        let days: Vec<&str> = days.map(|day| DAYS[day]).collect();
        let (begin, end) = (self.begin_min, self.end_min);
        let end = if end > DAY_MIN { end - DAY_MIN } else { end };
        write!(f, "{} ", days.join(","))?;
        let clock = |minute: u16| format!("{:02}:{:02}", minute / 60, minute % 60);
        write!(f, "{}-{}", clock(begin), clock(end))
    }
}

fn days_of(text: &str) -> Result<u8, ShiftError> {
    text.split(',')
        .try_fold(0, |days, part| Ok(days | range_of(part)?))
}

/// The days from the first to the last, over Sunday where it comes between.
fn range_of(text: &str) -> Result<u8, ShiftError> {
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    let (first, last) = (day(first)?, day(last)?);
    let length = (last + DAYS.len() - first) % DAYS.len();
    let days = (0..=length).map(|step| (first + step) % DAYS.len());
    Ok(days.fold(0, |bits, day| bits | 1 << day))
}

fn day(text: &str) -> Result<usize, ShiftError> {
    DAYS.iter()
        .position(|day| day.eq_ignore_ascii_case(text.trim()))
        .ok_or_else(|| ShiftError::Day(shown(text)))
}

/// Minutes after midnight of `HH:MM`, 24:00 included.
fn minute(text: &str) -> Result<u16, ShiftError> {
    let bad = || ShiftError::Time(shown(text));
    let (hours, minutes) = text.trim().split_once(':').ok_or_else(bad)?;
    let number = |digits: &str| match digits.len() {
        1..=2 if digits.bytes().all(|byte| byte.is_ascii_digit()) => digits.parse::<u16>().ok(),
        _ => None,
    };
    match (number(hours), number(minutes)) {
        (Some(hours), Some(minutes)) if minutes < 60 && hours * 60 + minutes <= DAY_MIN => {
            Ok(hours * 60 + minutes)
        }
        _ => Err(bad()),
    }
}

/// The beginning of a text, for messages.
fn shown(text: &str) -> String {
    text.trim().chars().take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn days(shift: &str) -> Vec<usize> {
        let shift = Shift::parse(shift).unwrap();
        (0..7).filter(|day| shift.begins_on(*day)).collect()
    }

    #[test]
    fn reads_days_alone_in_ranges_and_in_lists() {
        assert_eq!(days("sat 06:00-14:00"), [5]);
        assert_eq!(days("mon-fri 06:00-22:00"), [0, 1, 2, 3, 4]);
        assert_eq!(days("Sat-Mon 6:00-14:00"), [0, 5, 6]);
        assert_eq!(days("mon,wed-thu,sun 06:00-14:00"), [0, 2, 3, 6]);
    }

    #[test]
    fn reads_hours_within_a_day_and_over_midnight() {
        let minutes = |text| Shift::parse(text).unwrap().minutes();
        assert_eq!(minutes("mon 06:00-22:30"), (360, 1350));
        assert_eq!(minutes("mon 22:00-06:00"), (1320, 1800));
        assert_eq!(minutes("mon 00:00-24:00"), (0, 1440));
        assert_eq!(minutes("mon 14:00 - 00:00"), (840, 1440));
    }

    #[test]
    fn tells_what_is_wrong_and_what_is_allowed() {
        for (text, told) in [
            ("", "\"\" is not a shift: write its days"),
            ("06:00-22:00", "\"06:00-22:00\" is not a shift: "),
            ("mon 06:00", "\"mon 06:00\" is not a shift: "),
            ("monday 06:00-14:00", "\"monday\" is not a day: write mon"),
            ("mon, 06:00-14:00", "\"\" is not a day: "),
            ("mon 06.00-14:00", "\"06.00\" is not a time of day: "),
            ("mon 06:00-24:01", "\"24:01\" is not a time of day: "),
            ("mon 24:00-06:00", "\"24:00\" is not a time of day: "),
            ("mon 06:60-14:00", "\"06:60\" is not a time of day: "),
            ("mon +6:00-14:00", "\"+6:00\" is not a time of day: "),
            (
                "mon 06:00-06:00",
                "\"06:00-06:00\" begins and ends at the same",
            ),
        ] {
            let error = Shift::parse(text).unwrap_err().to_string();
            assert!(error.starts_with(told), "{text}: {error}");
        }
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,60}", near in "[a-z,-]{0,9} [0-9:-]{0,12}") {
            let _ = Shift::parse(&text);
            let _ = Shift::parse(&near);
        }

        #[test]
        fn what_it_writes_it_reads(
            days in 1u8..128, begin in 0u16..1440, length in 1u16..1440,
        ) {
            let shift = Shift { days, begin_min: begin, end_min: begin + length };
            prop_assert_eq!(Shift::parse(&shift.to_string()), Ok(shift));
        }
    }
}

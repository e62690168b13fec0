//! Points in time and spans between them, in whole milliseconds.

use std::fmt;
use std::num::NonZeroU64;
use std::ops::{Add, Sub};

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A point in time: milliseconds since 1970-01-01T00:00:00Z, leap seconds not
/// counted. Written and read as RFC 3339. An optional one takes no more memory.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Timestamp(
    /// The milliseconds with their sign turned round, so that they keep their order;
    /// the first of all that could be counted is left to be no time.
    NonZeroU64,
);

/// The sign of an `i64`.
const SIGN: u64 = 1 << 63;

/// A length of time in milliseconds; may be negative.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Span(i64);

/// Why a text is not a point in time.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{text}\" is not a time: {reason}; write it after RFC 3339, as 2026-03-02T06:10:00Z or with an offset"
)]
pub struct TimeError {
    text: String,
    reason: String,
}

impl Timestamp {
    /// The first day of the year 0, the earliest that RFC 3339 can write; used
    /// as "never yet".
    pub const MIN: Timestamp = Timestamp::from_millis(-62_167_219_200_000);
    /// The last day but one of the year 9999, the latest that RFC 3339 can
    /// write at any offset; used as "not due".
    pub const MAX: Timestamp = Timestamp::from_millis(253_402_207_200_000);

    /// From milliseconds since 1970-01-01T00:00:00Z; `i64::MIN` is taken for the
    /// next one.
    #[inline]
    pub const fn from_millis(millis: i64) -> Self {
        match NonZeroU64::new(millis.cast_unsigned() ^ SIGN) {
            Some(turned) => Timestamp(turned),
            None => Timestamp(NonZeroU64::MIN),
        }
    }

    /// Milliseconds since 1970-01-01T00:00:00Z.
    #[inline]
    pub const fn millis(self) -> i64 {
        (self.0.get() ^ SIGN).cast_signed()
    }

    /// Reads RFC 3339, any offset; fractions finer than a millisecond are cut
    /// off.
    ///
    /// # Errors
    /// When the text is not RFC 3339.
    pub fn parse(text: &str) -> Result<Self, TimeError> {
        text.parse::<jiff::Timestamp>()
            .map(|t| Timestamp::from_millis(t.as_millisecond()))
            .map_err(|reason| TimeError {
                text: text.chars().take(40).collect(),
                reason: reason.to_string(),
            })
    }

    /// The last point on the grid of `step` (counted from 1970) that is not
    /// after this one.
    #[inline]
    pub fn floor(self, step: Span) -> Self {
        Timestamp::from_millis(self.millis().div_euclid(step.0) * step.0)
    }

    /// The first point on the grid of `step` that is not before this one.
    #[inline]
    pub fn ceil(self, step: Span) -> Self {
        let down = self.floor(step);
        if down == self { self } else { down + step }
    }
}

impl Span {
    /// No time at all.
    pub const ZERO: Span = Span(0);

    /// From milliseconds.
    pub const fn from_millis(millis: i64) -> Self {
        Span(millis)
    }
    /// From seconds.
    #[inline]
    pub const fn from_secs(secs: i64) -> Self {
        Span(secs * 1000)
    }
    /// From minutes.
    pub const fn from_mins(mins: i64) -> Self {
        Span(mins * 60_000)
    }
    /// From hours.
    pub const fn from_hours(hours: i64) -> Self {
        Span(hours * 3_600_000)
    }
    /// Milliseconds.
    #[inline]
    pub const fn millis(self) -> i64 {
        self.0
    }
    /// Seconds, with fraction.
    #[inline]
    pub fn secs_f64(self) -> f64 {
        self.0 as f64 / 1000.0
    }
}

impl Add<Span> for Timestamp {
    type Output = Timestamp;
    #[inline]
    fn add(self, span: Span) -> Timestamp {
        Timestamp::from_millis(self.millis().saturating_add(span.0))
    }
}

impl Sub<Span> for Timestamp {
    type Output = Timestamp;
    #[inline]
    fn sub(self, span: Span) -> Timestamp {
        Timestamp::from_millis(self.millis().saturating_sub(span.0))
    }
}

impl Sub for Timestamp {
    type Output = Span;
    #[inline]
    fn sub(self, earlier: Timestamp) -> Span {
        Span(self.millis().saturating_sub(earlier.millis()))
    }
}

impl fmt::Debug for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Timestamp").field(&self.millis()).finish()
    }
}

impl fmt::Display for Timestamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match jiff::Timestamp::from_millisecond(self.millis()) {
            Ok(t) => write!(f, "{t}"),
            Err(_) => write!(f, "{} ms", self.millis()),
        }
    }
}

/// As a person reads it: `50 ms`, `45 s`, `20 min`, `3 h 20 min`, `2 d 4 h`.
impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let secs = self.0.abs() / 1000;
        let sign = if self.0 < 0 { "-" } else { "" };
        let (d, h, m, s) = (secs / 86_400, secs / 3600 % 24, secs / 60 % 60, secs % 60);
        write!(f, "{sign}")?;
        match (d, h, m, s) {
            (0, 0, 0, 0) if self.0 != 0 => write!(f, "{} ms", self.0.abs()),
            (0, 0, 0, s) => write!(f, "{s} s"),
            (0, 0, m, 0) => write!(f, "{m} min"),
            (0, 0, m, s) => write!(f, "{m} min {s} s"),
            (0, h, 0, _) => write!(f, "{h} h"),
            (0, h, m, _) => write!(f, "{h} h {m} min"),
            (d, 0, _, _) => write!(f, "{d} d"),
            (d, h, _, _) => write!(f, "{d} d {h} h"),
        }
    }
}

impl Serialize for Timestamp {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Timestamp {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<str>::deserialize(from)?;
        Timestamp::parse(&text).map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn reads_offsets_and_fractions() {
        let t = Timestamp::parse("2026-03-02T07:10:00.25+01:00").unwrap();
        assert_eq!(t, Timestamp::parse("2026-03-02T06:10:00.250Z").unwrap());
        assert_eq!(t.to_string(), "2026-03-02T06:10:00.25Z");
    }

    #[test]
    fn refuses_what_is_not_rfc_3339() {
        for text in [
            "",
            "yesterday",
            "2026-03-02",
            "2026-03-02T25:00:00Z",
            "1700000000",
        ] {
            let told = Timestamp::parse(text).unwrap_err().to_string();
            assert!(told.contains("RFC 3339"), "{told}");
        }
    }

    #[test]
    fn spans_read_like_speech() {
        assert_eq!(Span::from_millis(50).to_string(), "50 ms");
        assert_eq!(Span::ZERO.to_string(), "0 s");
        assert_eq!(Span::from_secs(45).to_string(), "45 s");
        assert_eq!(Span::from_mins(200).to_string(), "3 h 20 min");
        assert_eq!(Span::from_hours(52).to_string(), "2 d 4 h");
        assert_eq!(Span::from_hours(48).to_string(), "2 d");
    }

    #[test]
    fn the_ends_of_what_can_be_counted_keep_their_order_and_none_is_free() {
        let ends = [i64::MIN + 1, -1, 0, 1, i64::MAX];
        let times = ends.map(Timestamp::from_millis);
        assert_eq!(times.map(Timestamp::millis), ends);
        assert!(times.is_sorted());
        assert_eq!(Timestamp::from_millis(i64::MIN), times[0]);
        assert_eq!(size_of::<Option<Timestamp>>(), size_of::<i64>());
    }

    proptest! {
        #[test]
        fn text_round_trip(millis in -60_000_000_000_000i64..250_000_000_000_000) {
            let t = Timestamp::from_millis(millis);
            prop_assert_eq!(Timestamp::parse(&t.to_string()).unwrap(), t);
        }

        #[test]
        fn grid_encloses(millis in -1_000_000i64..1_000_000, step in 1i64..5000) {
            let (t, step) = (Timestamp::from_millis(millis), Span::from_millis(step));
            prop_assert!(t.floor(step) <= t && t <= t.ceil(step));
            prop_assert!(t.ceil(step) - t.floor(step) <= step);
        }
    }
}

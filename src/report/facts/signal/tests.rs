use proptest::prelude::*;

use super::*;

const HOUR: i64 = 3_600_000;

fn at(hours: f64) -> Timestamp {
    Timestamp::from_millis((hours * HOUR as f64) as i64)
}

fn at_minute(minute: i64) -> Timestamp {
    Timestamp::from_millis(60_000 * minute)
}

fn gap(from: f64, to: f64, why: Unknown) -> Gap {
    Gap {
        period: Period::new(at(from), at(to)),
        why,
    }
}

fn signal(values: &[(f64, f64, Quality)]) -> Signal {
    let window = Window {
        low: Some(6.0),
        high: Some(10.0),
    };
    let mut signal = Signal::new(Period::new(at(0.0), at(10.0)), window, Span::from_hours(2));
    for (hours, value, quality) in values {
        signal.take(at(*hours), *value, *quality, true);
    }
    signal.end();
    signal
}

/// By hand: 7 % from −1 h counts to 1 h; 5 % from 1 to 3 h; a gap from 3 to
/// 4 h as 2 h are over; 11 % from 4 to 5 h; 8 % from 5 to 7 h, as the fault
/// at 6 h counts for nothing; then a gap, from 7 to 8 h with a value that is
/// not to be believed, from 8 to 10 h without any.
#[test]
fn time_is_weighed_and_gaps_are_nobodys() {
    let good = Quality::GOOD;
    let signal = signal(&[
        (-1.0, 7.0, good),
        (1.0, 5.0, good),
        (4.0, 11.0, good),
        (5.0, 8.0, good),
        (6.0, 20.0, Quality::FAULT),
    ]);
    assert_eq!(signal.known(), Span::from_hours(6));
    assert_eq!(signal.known_share(), Some(0.6));
    assert_eq!(signal.share(Side::Below), Some(2.0 / 6.0));
    assert_eq!(signal.share(Side::Inside), Some(3.0 / 6.0));
    assert_eq!(signal.share(Side::Above), Some(1.0 / 6.0));
    let mean = (7.0 + 2.0 * 5.0 + 11.0 + 2.0 * 8.0) / 6.0;
    assert!((signal.mean().unwrap() - mean).abs() < 1e-12);
    assert_eq!(signal.extremes(), Some((5.0, 11.0)));
    assert_eq!(signal.longest_outside(), Span::from_hours(2));
    let gaps = [
        gap(3.0, 4.0, Unknown::NoValue),
        gap(7.0, 8.0, Unknown::NotBelieved),
        gap(8.0, 10.0, Unknown::NoValue),
    ];
    assert_eq!(signal.gaps(), (&gaps[..], 3));
    assert_eq!(signal.unknown(Unknown::NoValue), Span::from_hours(3));
    assert_eq!(signal.unknown(Unknown::NotBelieved), Span::from_hours(1));
    let classes = signal.classes();
    assert_eq!((classes.good, classes.bad), (3, 1));
}

#[test]
fn a_signal_without_values_is_one_gap() {
    let signal = signal(&[]);
    assert_eq!((signal.known(), signal.mean()), (Span::ZERO, None));
    assert_eq!(signal.share(Side::Inside), None);
    assert_eq!(signal.gaps().0, [gap(0.0, 10.0, Unknown::NoValue)]);
}

/// What an instrument shows that nobody believes is neither inside nor
/// outside, however long that lasts, whether its values are marked or not.
#[test]
fn what_is_not_believed_is_not_known() {
    for quality in [Quality::UNSURE, Quality::GOOD] {
        let period = Period::new(at(0.0), at(10.0));
        let window = Window {
            low: Some(6.0),
            high: Some(10.0),
        };
        let mut signal = Signal::new(period, window, Span::from_mins(15));
        for minute in 0..600 {
            let film = (120..480).contains(&minute);
            let value = if film { 12.0 } else { 8.0 };
            let (quality, believed) = match film {
                true => (quality, quality != Quality::GOOD),
                false => (Quality::GOOD, true),
            };
            signal.take(at_minute(minute), value, quality, believed);
        }
        signal.end();
        assert_eq!(signal.spent(Side::Above), Span::ZERO);
        assert_eq!(signal.share(Side::Inside), Some(1.0));
        // The last good one before the film, at 119 min, holds for 15 min.
        let film = Gap {
            period: Period::new(at_minute(134), at_minute(480)),
            why: Unknown::NotBelieved,
        };
        assert_eq!(signal.gaps(), (&[film][..], 1));
        assert_eq!(signal.unknown(Unknown::NotBelieved), Span::from_mins(346));
        assert_eq!(signal.unknown(Unknown::NoValue), Span::ZERO);
    }
}

#[test]
fn an_alarm_of_the_instrument_says_why_there_is_no_value() {
    let period = Period::new(at(0.0), at(10.0));
    let alarms = vec![
        Period::new(at(1.0), at(4.0)),
        Period::new(at(3.0), at(5.0)),
        Period::new(at(9.0), at(12.0)),
    ];
    let signal = Signal::new(period, Window::default(), Span::from_hours(2));
    let mut signal = signal.with_alarms(alarms);
    signal.take(at(0.0), 7.0, Quality::GOOD, true);
    signal.take(at(7.0), 7.0, Quality::GOOD, true);
    signal.end();
    let gaps = [
        gap(2.0, 5.0, Unknown::NotBelieved),
        gap(5.0, 7.0, Unknown::NoValue),
        gap(9.0, 10.0, Unknown::NotBelieved),
    ];
    assert_eq!(signal.gaps(), (&gaps[..], 3));
    assert_eq!(signal.known(), Span::from_hours(4));
}

#[test]
fn hours_have_means_of_their_own() {
    let good = Quality::GOOD;
    let signal = signal(&[(0.1, 4.0, good), (0.2, 6.0, good), (1.5, 8.0, good)]);
    assert_eq!(signal.mean_between(at(0.0), at(1.0)), Some(5.0));
    assert_eq!(signal.mean_between(at(0.0), at(2.0)), Some(6.5));
    assert_eq!(signal.mean_between(at(4.0), at(9.0)), None);
}

proptest! {
    #[test]
    fn every_moment_is_known_or_in_a_gap(
        mut values in prop::collection::vec((-20i64..140, 0.0f64..20.0, any::<bool>()), 0..40),
    ) {
        values.sort_by_key(|(time, ..)| *time);
        let values: Vec<_> = values
            .into_iter()
            .map(|(time, value, good)| {
                (time as f64 / 10.0, value, if good { Quality::GOOD } else { Quality::FAULT })
            })
            .collect();
        let signal = signal(&values);
        let (gaps, all) = signal.gaps();
        prop_assert_eq!(gaps.len() as u64, all);
        let gaps: i64 = gaps.iter().map(|gap| gap.period.length().millis()).sum();
        prop_assert_eq!(signal.known().millis() + gaps, 10 * HOUR);
        let told = [Unknown::NoValue, Unknown::NotBelieved].map(|why| signal.unknown(why).millis());
        prop_assert_eq!(told.iter().sum::<i64>(), gaps);
        if signal.known() > Span::ZERO {
            let sum: f64 = [Side::Below, Side::Inside, Side::Above]
                .into_iter()
                .filter_map(|side| signal.share(side))
                .sum();
            prop_assert!((sum - 1.0).abs() < 1e-9);
            let (low, high) = signal.extremes().unwrap();
            let mean = signal.mean().unwrap();
            prop_assert!(low - 1e-9 <= mean && mean <= high + 1e-9);
        }
    }
}

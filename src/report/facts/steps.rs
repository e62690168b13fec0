//! Steps of a volume: what went in or out at once shows in its hourly means,
//! whether anybody told of it or not.

use crate::alarm::performance::Period;
use crate::units::Span;

use super::signal::Signal;

/// Of fewer changes from hour to hour it cannot be said what is usual.
const LEAST: usize = 12;
/// A change so many times the scatter of all stands out (choice).
const STANDS_OUT: f64 = 4.0;
/// What is usual of a change is the middle of those so many before and after it: by
/// day a sump loses more than by night.
const AROUND: usize = 3;
/// Standard deviations in a median absolute deviation of a normal distribution.
const OF_DEVIATION: f64 = 1.4826;

/// The sum of the steps up and down in a period, L: changes from one hour to the
/// next that stand out from how the volume runs. A step that spreads over hours, or
/// into a time that is not known, may not.
pub(super) fn net_steps(volume: &Signal, period: Period) -> f64 {
    let changes = changes(volume, period);
    if changes.len() < LEAST {
        return 0.0;
    }
    let usual = |at: usize| {
        let until = (at + AROUND + 1).min(changes.len());
        median(changes[at.saturating_sub(AROUND)..until].to_vec())
    };
    let aside = changes.iter().enumerate();
    let aside: Vec<f64> = aside.map(|(at, change)| change - usual(at)).collect();
    let scatter = OF_DEVIATION * median(aside.iter().map(|change| change.abs()).collect());
    let steps = aside.iter();
    steps
        .filter(|change| change.abs() > STANDS_OUT * scatter)
        .sum()
}

/// How much the mean of each hour is above that of the hour before, where both are
/// known.
fn changes(volume: &Signal, period: Period) -> Vec<f64> {
    let hour = Span::from_hours(1);
    let mut changes = Vec::new();
    let (mut from, mut before) = (period.from, None);
    while from + hour <= period.to {
        let mean = volume.mean_between(from, from + hour);
        changes.extend(
            before
                .zip(mean)
                .map(|(before, mean): (f64, f64)| mean - before),
        );
        (before, from) = (mean, from + hour);
    }
    changes
}

/// The middle one; there must be some.
fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

#[cfg(test)]
mod tests {
    use super::super::signal::Window;
    use super::*;
    use crate::engine::Quality;
    use crate::units::Timestamp;

    /// Two days of a volume that falls by 1 L an hour and by half of that in turn, with
    /// these steps.
    fn steps(steps: &[(i64, f64)]) -> f64 {
        let at = |minute: i64| Timestamp::from_millis(60_000 * minute);
        let minutes = 48 * 60;
        let period = Period::new(at(0), at(minutes));
        let mut volume = Signal::new(period, Window::default(), Span::from_mins(15));
        let mut litres = 500.0;
        for minute in 0..minutes {
            let rate = if minute / 60 % 2 == 0 { 1.0 } else { 0.5 };
            litres -= rate / 60.0;
            litres += (steps.iter().filter(|step| step.0 == minute))
                .map(|step| step.1)
                .sum::<f64>();
            volume.take(at(minute), litres, Quality::GOOD, true);
        }
        volume.end();
        net_steps(&volume, period)
    }

    #[test]
    fn a_week_end_at_rest_is_no_step() {
        let at = |minute: i64| Timestamp::from_millis(60_000 * minute);
        let minutes = 7 * 24 * 60;
        let period = Period::new(at(0), at(minutes));
        let mut volume = Signal::new(period, Window::default(), Span::from_mins(15));
        let mut litres = 1_000.0;
        for minute in 0..minutes {
            let rests = minute >= 5 * 24 * 60;
            litres -= if rests { 0.3 } else { 2.1 } / 60.0;
            // The scatter of an instrument, by its own course.
            let scatter = 0.05 * f64::from(i32::try_from(minute * 7 % 13).unwrap() - 6);
            volume.take(at(minute), litres + scatter, Quality::GOOD, true);
        }
        volume.end();
        let net = net_steps(&volume, period);
        assert!(net.abs() < 4.0, "{net}");
    }

    #[test]
    fn what_goes_in_or_out_at_once_is_seen() {
        // Less than what is lost in an hour is as good as none.
        assert!(steps(&[]).abs() < 1.0);
        let filled = steps(&[(600, 30.0), (1_500, 20.0)]);
        assert!((filled - 50.0).abs() < 1.0, "{filled}");
        let drained = steps(&[(600, -40.0), (1_500, 45.0)]);
        assert!((drained - 5.0).abs() < 1.0, "{drained}");
        // Out and in within the hour is no step.
        assert!(steps(&[(610, -40.0), (611, 40.0)]).abs() < 1.0);
    }
}

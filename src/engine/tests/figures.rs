//! Bare numbers say what the state says.

use super::*;

#[test]
fn figures_and_state_agree() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..120, 5.0, 900.0);
    let (figures, status) = (bench.watch.figures(), bench.watch.status());
    assert_eq!(figures.sump, status.sump);
    assert_eq!(figures.concentration_pct, status.concentration_pct);
    assert_eq!(figures.window_pct, status.window_pct);
    assert_eq!(figures.volume_l, status.volume_l);
    assert_eq!(figures.channels.len(), status.channels.len());
    for (bare, told) in figures.channels.iter().zip(&status.channels) {
        assert_eq!(
            (&bare.channel, bare.quantity, bare.value, bare.time),
            (&told.channel, told.quantity, told.value, told.time)
        );
        assert_eq!(
            (bare.class, bare.doubted, bare.spikes),
            (told.instrument.class, told.doubted, told.spikes)
        );
    }
    let count = |priority, state| figures.alarms.count(priority, state);
    let counted: u64 = figures.alarms.each().map(|(_, _, count)| count).sum();
    assert_eq!(counted as usize, status.alarms.len());
    for alarm in &status.alarms {
        assert!(count(alarm.priority, alarm.state) > 0, "{alarm:?}");
    }
    assert!(counted > 0);
}

#[test]
fn alarms_are_counted_by_priority_and_state() {
    let mut counts = AlarmCounts::of(
        [
            (Priority::High, AlarmState::Unacknowledged),
            (Priority::High, AlarmState::Normal),
            (Priority::Low, AlarmState::Shelved),
        ]
        .into_iter(),
    );
    counts.add(Priority::High, AlarmState::Unacknowledged, 2);
    assert_eq!(counts.count(Priority::High, AlarmState::Unacknowledged), 3);
    assert_eq!(counts.count(Priority::Low, AlarmState::Shelved), 1);
    assert_eq!(counts.count(Priority::Low, AlarmState::Normal), 0);
    assert_eq!(counts.each().count(), 2);
}

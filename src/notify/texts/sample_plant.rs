//! Samples of what alarms of the plant tell.

use crate::alarm::Priority;
use crate::alarm::Transition;
use crate::engine::{
    AlarmLine, DiskFull, ForwardStuck, ListedAlarm, SourceLost, StartUpList, StockLeft, StuckKind,
};
use crate::rules::Condition;
use crate::units::Span;

use super::sample::NOW;
use super::sample_alarms::alarm;

/// What an alarm about a source tells of it.
pub(super) fn source(condition: &Condition) -> Option<Box<SourceLost>> {
    matches!(condition, Condition::Source(_)).then(|| Box::new(lost("broker", 12)))
}

/// What an alarm about a stock tells of it.
pub(super) fn stock(condition: &Condition) -> Option<StockLeft> {
    matches!(condition, Condition::Stock(_)).then_some(StockLeft {
        counted_l: 400.0,
        left_l: 90.0,
        daily_use_l: Some(10.0),
        days: Some(9.0),
        unknown: 0,
    })
}

fn lost(kind: &'static str, channels: usize) -> SourceLost {
    SourceLost {
        kind,
        address: "192.168.2.5:1883".to_owned(),
        why: "connection refused".to_owned(),
        channels,
        sumps: channels.div_ceil(3),
    }
}

/// What an alarm about a server of series tells of it.
pub(super) fn forward(condition: &Condition) -> Option<Box<ForwardStuck>> {
    matches!(condition, Condition::Forward(_)).then(|| Box::new(stuck(StuckKind::Refused)))
}

fn stuck(kind: StuckKind) -> ForwardStuck {
    ForwardStuck {
        kind,
        address: "http://192.168.2.9:8086".to_owned(),
        why: "status 401: unauthorized access".to_owned(),
        waiting: 1842,
        waiting_or_more: false,
        dead_letters: 17,
    }
}

/// What an alarm about the disk tells of it.
pub(super) fn disk(condition: &Condition) -> Option<Box<DiskFull>> {
    (*condition == Condition::Disk).then(|| Box::new(full()))
}

fn full() -> DiskFull {
    DiskFull {
        used_mb: 12_400.0,
        most_mb: 16_000.0,
        free_mb: Some(812.0),
        least_free_mb: 1_000.0,
        values_deleted: 250_000,
        values_not_forwarded: 1_200,
        rollups_deleted: 4_000,
        gone_to: Some(NOW - Span::from_hours(300 * 24)),
    }
}

/// What an alarm about a start tells of it.
pub(super) fn start_up(condition: &Condition) -> Option<Box<StartUpList>> {
    (*condition == Condition::StartUp).then(|| Box::new(started(3)))
}

/// With so many sumps, in one of which nothing is measured.
fn started(sumps: usize) -> StartUpList {
    let alarms = (0..sumps).map(|place| {
        let measured = place != 1;
        let condition = if measured {
            "ph.low_low"
        } else {
            "souring.likely"
        };
        ListedAlarm {
            id: format!("mill-{place}/{condition}/{NOW}").into(),
            sump: format!("mill-{place}").into(),
            title: format!("Mill {place}").into(),
            condition: condition.into(),
            priority: Priority::High,
            value: measured.then_some(7.8),
            unit: measured.then(|| "pH".into()),
            limit: measured.then_some(8.0),
            since: NOW - Span::from_mins(40),
            listed: NOW - Span::from_mins(30),
        }
    });
    StartUpList {
        sumps,
        alarms: alarms.collect(),
        more: 0,
    }
}

/// Alarms of the plant in every way that they may be told.
pub(super) fn alarms() -> Vec<AlarmLine> {
    let mut lines = Vec::new();
    for (kind, channels) in [("broker", 0), ("modbus", 1), ("serial", 7)] {
        lines.push(AlarmLine {
            source: Some(Box::new(lost(kind, channels))),
            ..alarm(Condition::Source("hall-3".into()), Transition::Raised)
        });
    }
    for kind in [StuckKind::Refused, StuckKind::Away, StuckKind::DeadLetters] {
        lines.push(AlarmLine {
            forward: Some(Box::new(stuck(kind))),
            ..alarm(Condition::Forward("history".into()), Transition::Raised)
        });
    }
    lines.push(AlarmLine {
        disk: Some(Box::new(DiskFull {
            free_mb: None,
            values_deleted: 0,
            values_not_forwarded: 0,
            rollups_deleted: 0,
            gone_to: None,
            ..full()
        })),
        ..alarm(Condition::Disk, Transition::Raised)
    });
    for (sumps, transition) in [
        (1, Transition::Raised),
        (120, Transition::Raised),
        (120, Transition::RaisedAgain),
    ] {
        lines.push(AlarmLine {
            start_up: Some(Box::new(started(sumps))),
            ..alarm(Condition::StartUp, transition)
        });
    }
    lines
}

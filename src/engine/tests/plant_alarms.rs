//! Alarms that are the plant's: sources that go and come, stock that runs out.

use super::*;
use crate::engine::plant_states::Lost;

const TWO: Span = Span::from_mins(2);

fn setup() -> Arc<PlantSetup> {
    let source = |name: &str, channels| SourceSetup {
        name: name.into(),
        kind: "modbus",
        address: "192.168.2.5:502".to_owned(),
        channels,
        priority: Priority::Medium,
        manner: AlarmManner {
            on: TWO,
            off: TWO,
            ..AlarmManner::default()
        },
    };
    let sources = vec![
        source("hall-3", vec![(0, 0), (0, 1), (4, 0)]),
        source("hall-4", Vec::new()),
    ];
    let stocks = vec![StockSetup {
        fluid: "soluble-a".into(),
        least: Span::from_hours(14 * 24),
        priority: Priority::Low,
        manner: AlarmManner::default(),
    }];
    let forwards = vec![ForwardSetup {
        name: "history".into(),
        away_after: Span::from_hours(1),
        priority: Priority::Low,
        manner: AlarmManner {
            on: TWO,
            off: TWO,
            ..AlarmManner::default()
        },
    }];
    let disk = Some(DiskSetup {
        priority: Priority::Medium,
        manner: AlarmManner {
            on: Span::from_secs(10),
            off: Span::from_hours(1),
            ..AlarmManner::default()
        },
    });
    Arc::new(PlantSetup {
        sources,
        stocks,
        forwards,
        disk,
        start_up: None,
    })
}

fn at(seconds: i64) -> Timestamp {
    minute(0) + Span::from_secs(seconds)
}

struct Plant {
    watch: PlantWatch,
    effects: Vec<Effect>,
}

impl Plant {
    fn new() -> Self {
        let admission = AdmissionSetup {
            future_skew: Span::from_mins(1),
            oldest: Span::from_hours(24),
            late_after: Span::from_mins(1),
        };
        Plant {
            watch: PlantWatch::new(setup(), admission, at(0)),
            effects: Vec::new(),
        }
    }

    fn step(&mut self, event: PlantEvent) {
        self.watch.step(&event, &mut self.effects);
    }

    fn source(&mut self, seconds: i64, lost: Option<(i64, &str)>) {
        let lost = lost.map(|(since, why)| Lost {
            since: at(since),
            why: why.to_owned(),
        });
        self.step(PlantEvent::Source {
            name: "hall-3".into(),
            time: at(seconds),
            lost,
        });
    }

    fn stock(&mut self, seconds: i64, left_l: f64, days: Option<f64>, unknown: usize) {
        let left = StockLeft {
            counted_l: 400.0,
            left_l,
            daily_use_l: days.map(|days| left_l / days),
            days,
            unknown,
        };
        self.step(PlantEvent::Stock {
            fluid: "soluble-a".into(),
            time: at(seconds),
            left,
        });
    }

    fn forward(&mut self, seconds: i64, stuck: Option<(StuckKind, &str)>) {
        let stuck = stuck.map(|(kind, why)| ForwardStuck {
            kind,
            address: "http://192.168.2.9:8086".to_owned(),
            why: why.to_owned(),
            waiting: 7,
            waiting_or_more: false,
            dead_letters: 1,
        });
        self.step(PlantEvent::Forward {
            name: "history".into(),
            time: at(seconds),
            stuck,
        });
    }

    fn disk(&mut self, seconds: i64, deleted: Option<u64>) {
        let full = deleted.map(|values_deleted| DiskFull {
            used_mb: 120.0,
            most_mb: 100.0,
            free_mb: Some(5_000.0),
            least_free_mb: 1_000.0,
            values_deleted,
            values_not_forwarded: 0,
            rollups_deleted: 0,
            gone_to: Some(at(-86_400)),
        });
        self.step(PlantEvent::Disk {
            time: at(seconds),
            full,
        });
    }

    fn tick(&mut self, seconds: i64) {
        self.step(PlantEvent::Tick(at(seconds)));
    }

    fn entry(&mut self, id: &str, seconds: i64, kind: EntryKind, supersedes: Option<&str>) {
        let entry = Entry {
            id: id.to_owned(),
            time: at(seconds),
            sump: PLANT.to_owned(),
            by: Some("anna".to_owned()),
            supersedes: supersedes.map(str::to_owned),
            kind,
        };
        self.step(PlantEvent::Entry(Box::new(entry), at(seconds)));
    }

    /// Through a snapshot as the store keeps it, going on at `seconds`.
    fn restart(&mut self, seconds: i64) {
        let kept = serde_json::to_string(&self.watch.snapshot()).unwrap();
        let kept = serde_json::from_str(&kept).unwrap();
        let admission = self.watch.admission;
        self.watch = PlantWatch::restore(setup(), admission, kept);
        self.watch.listen_from(at(seconds));
    }

    fn lines(&self) -> Vec<&AlarmLine> {
        let lines = self.effects.iter().filter_map(|effect| match effect {
            Effect::Journal(record) => {
                assert_eq!(&*record.sump, "plant");
                match &record.body {
                    JournalBody::Alarm(line) => Some(line),
                    _ => None,
                }
            }
            _ => None,
        });
        lines.collect()
    }

    fn steps(&self) -> Vec<Transition> {
        self.lines().iter().map(|line| line.transition).collect()
    }
}

#[test]
fn a_source_that_is_gone_for_longer_than_its_delay_is_one_alarm() {
    let mut plant = Plant::new();
    plant.source(10, Some((9, "closed by the far end")));
    plant.source(20, Some((9, "connection refused")));
    plant.tick(9 + 119);
    assert!(plant.lines().is_empty());
    plant.tick(600);
    let raised = plant.lines()[0].clone();
    assert_eq!(raised.condition.to_string(), "source.hall-3");
    assert_eq!(raised.since, at(9));
    let source = raised.source.unwrap();
    assert_eq!((source.channels, source.sumps), (3, 2));
    assert_eq!(source.why, "connection refused");
    assert!(!raised.advice.unwrap().look_at.is_empty());
    plant.source(700, None);
    plant.tick(700 + 119);
    assert_eq!(plant.steps(), [Transition::Raised]);
    plant.tick(700 + 120);
    assert_eq!(plant.steps(), [Transition::Raised, Transition::Returned]);
}

#[test]
fn a_source_that_is_back_within_its_delay_is_nothing() {
    let mut plant = Plant::new();
    for again in 0..20 {
        plant.source(200 * again, Some((200 * again, "closed")));
        plant.source(200 * again + 110, None);
    }
    plant.tick(10_000);
    assert!(plant.lines().is_empty());
}

#[test]
fn a_restart_while_it_is_gone_tells_nothing_anew_and_keeps_since_when() {
    let mut plant = Plant::new();
    plant.source(10, Some((9, "closed")));
    plant.tick(300);
    plant.restart(900);
    plant.source(901, Some((900, "no route")));
    plant.tick(3_000);
    assert_eq!(plant.steps(), [Transition::Raised]);
    plant.source(3_600, None);
    plant.tick(4_000);
    assert_eq!(plant.steps(), [Transition::Raised, Transition::Returned]);
    assert_eq!(plant.lines()[1].since, at(9));
    assert_eq!(plant.lines()[0].id, plant.lines()[1].id);
}

#[test]
fn nobody_counts_the_time_of_a_long_stop_to_the_delay() {
    let mut plant = Plant::new();
    plant.source(10, Some((9, "closed")));
    plant.restart(900);
    plant.source(901, Some((900, "closed")));
    plant.tick(901 + 119);
    assert!(plant.lines().is_empty());
    plant.tick(901 + 121);
    assert_eq!(plant.steps(), [Transition::Raised]);
}

#[test]
fn after_a_long_stop_a_delay_goes_on_with_the_time_that_it_had() {
    let mut plant = Plant::new();
    plant.source(10, Some((9, "closed")));
    plant.tick(100);
    plant.restart(900);
    plant.tick(905);
    assert!(plant.lines().is_empty(), "nobody knows whether it is gone");
    plant.source(910, Some((909, "closed")));
    plant.tick(910 + 29);
    assert!(plant.lines().is_empty());
    plant.tick(910 + 31);
    assert_eq!(plant.steps(), [Transition::Raised]);
    let mut plant = Plant::new();
    plant.source(10, Some((9, "closed")));
    plant.tick(100);
    plant.restart(900);
    plant.source(901, None);
    plant.source(902, Some((902, "closed")));
    plant.tick(902 + 119);
    assert!(plant.lines().is_empty(), "it was there in between");
}

#[test]
fn people_take_it_on_shelve_it_and_take_it_out_of_service() {
    let mut plant = Plant::new();
    plant.source(0, Some((0, "closed")));
    plant.tick(200);
    let id = plant.lines()[0].id.clone();
    let acknowledge = EntryKind::Acknowledge { alarm: id };
    plant.entry("a", 210, acknowledge, None);
    plant.entry("b", 220, EntryKind::Withdrawn { text: None }, Some("a"));
    let shelve = EntryKind::Shelve {
        alarm: "source.hall-3".to_owned(),
        hours: 1.0,
        reason: "switch is being replaced".to_owned(),
    };
    plant.entry("c", 230, shelve, None);
    plant.tick(230 + 3_599);
    let steps = [
        Transition::Raised,
        Transition::Acknowledged,
        Transition::Unacknowledged,
        Transition::Shelved,
    ];
    assert_eq!(plant.steps(), steps);
    plant.tick(230 + 3_600);
    assert_eq!(plant.steps()[4..], [Transition::Unshelved]);
    let out = EntryKind::OutOfService {
        alarm: "source.hall-3".to_owned(),
        reason: "hall is empty".to_owned(),
    };
    plant.entry("d", 4_000, out.clone(), None);
    plant.entry("d", 4_001, out, None);
    plant.source(4_100, None);
    plant.tick(9_000);
    assert_eq!(plant.steps()[5..], [Transition::TakenOutOfService]);
}

#[test]
fn an_entry_about_an_alarm_that_the_plant_has_not_is_answered_with_those_it_has() {
    let plant = Plant::new();
    let entry = Entry {
        id: "a".to_owned(),
        time: at(0),
        sump: PLANT.to_owned(),
        by: None,
        supersedes: None,
        kind: EntryKind::Unshelve {
            alarm: "source.hall-9".to_owned(),
        },
    };
    let said = plant.watch.names_in_vain(&entry).unwrap();
    assert!(said.contains("source.hall-3, source.hall-4"), "{said}");
}

#[test]
fn a_channel_has_its_whole_time_to_report_once_its_source_is_back() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let source = |bench: &mut Bench, time, gone| {
        for channel in [BRIX, LEVEL] {
            let kind = TroubleKind::SourceGone(gone);
            let trouble = Event::Trouble(Trouble {
                channel,
                time,
                kind,
            });
            bench.watch.step(&Event::Tick(time), &mut bench.effects);
            bench.watch.step(&trouble, &mut bench.effects);
        }
    };
    source(&mut bench, minute(60), true);
    source(&mut bench, minute(300), false);
    bench.run(301..360, 8.0, 900.0);
    let steps = bench.alarms().into_iter();
    let raised: Vec<_> = steps.filter(|(_, by)| *by == Transition::Raised).collect();
    assert!(raised.is_empty(), "{raised:?}");
    // Back, and yet nothing comes: that is told, of both together.
    source(&mut bench, minute(360), true);
    source(&mut bench, minute(400), false);
    let tick = Event::Tick(minute(500));
    bench.watch.step(&tick, &mut bench.effects);
    let raised = bench.alarms().into_iter();
    let raised = raised.filter(|(_, by)| *by == Transition::Raised).count();
    assert_eq!(raised, 1);
}

#[test]
fn a_stock_that_lasts_too_short_is_told_once_until_there_is_enough_again() {
    let mut plant = Plant::new();
    plant.stock(0, 160.0, Some(16.0), 0);
    assert!(plant.lines().is_empty());
    for day in 1..5 {
        plant.stock(day * 86_400, 139.0, Some(13.9), 0);
    }
    assert_eq!(plant.steps(), [Transition::Raised]);
    let raised = plant.lines()[0].clone();
    assert_eq!(raised.condition.to_string(), "stock.soluble-a");
    assert_eq!((raised.value, raised.limit), (Some(13.9), Some(14.0)));
    assert_eq!(raised.stock.unwrap().left_l, 139.0);
    plant.restart(5 * 86_400);
    // Just above, and where the use of a sump is not known, it stands.
    plant.stock(5 * 86_400, 150.0, Some(15.0), 0);
    plant.stock(6 * 86_400, 400.0, Some(40.0), 1);
    plant.stock(7 * 86_400, 400.0, None, 2);
    assert_eq!(plant.steps(), [Transition::Raised]);
    plant.stock(8 * 86_400, 400.0, Some(40.0), 0);
    assert_eq!(plant.steps(), [Transition::Raised, Transition::Returned]);
}

#[test]
fn an_empty_stock_is_told_whatever_is_used() {
    let mut plant = Plant::new();
    plant.stock(0, 10.0, None, 2);
    assert!(plant.lines().is_empty());
    plant.stock(60, 0.0, None, 2);
    assert_eq!(plant.steps(), [Transition::Raised]);
}

#[test]
fn a_server_that_refuses_everything_is_told_with_its_words() {
    let mut plant = Plant::new();
    plant.forward(0, Some((StuckKind::Refused, "status 401: who are you")));
    plant.tick(119);
    assert!(plant.lines().is_empty());
    plant.tick(120);
    let raised = plant.lines()[0].clone();
    assert_eq!(raised.condition.to_string(), "forward.history");
    assert_eq!(
        (raised.transition, raised.since),
        (Transition::Raised, at(0))
    );
    let forward = raised.forward.unwrap();
    assert_eq!(forward.why, "status 401: who are you");
    assert_eq!(raised.advice.unwrap().look_at.len(), 4);
    plant.restart(150);
    plant.forward(160, None);
    plant.tick(160 + 120);
    assert_eq!(plant.steps(), [Transition::Raised, Transition::Returned]);
}

#[test]
fn a_server_may_be_away_for_its_time_and_no_longer() {
    let mut plant = Plant::new();
    plant.forward(0, Some((StuckKind::Away, "no connection")));
    plant.forward(3_590, None);
    plant.forward(4_000, Some((StuckKind::Away, "no connection")));
    plant.restart(4_030);
    plant.forward(5_000, Some((StuckKind::Away, "status 503")));
    plant.tick(4_000 + 3_599);
    assert!(plant.lines().is_empty());
    plant.tick(4_000 + 3_600);
    assert_eq!(plant.steps(), [Transition::Raised]);
    let raised = plant.lines()[0].clone();
    assert_eq!(raised.since, at(4_000));
    assert_eq!(raised.forward.unwrap().why, "status 503");
}

#[test]
fn one_that_was_away_and_then_refuses_is_told_at_once() {
    let mut plant = Plant::new();
    plant.forward(0, Some((StuckKind::Away, "no connection")));
    plant.forward(600, Some((StuckKind::Refused, "status 404")));
    assert_eq!(plant.steps(), [Transition::Raised]);
}

#[test]
fn refused_lines_are_one_alarm_until_an_hour_without() {
    let mut plant = Plant::new();
    for minute in 0..50 {
        let bad = Some((StuckKind::DeadLetters, "status 400: bad field"));
        plant.forward(minute * 60, bad);
        plant.forward(minute * 60 + 1, None);
    }
    plant.tick(49 * 60 + 3_600);
    assert_eq!(plant.steps(), [Transition::Raised]);
    plant.tick(49 * 60 + 3_601);
    assert_eq!(plant.steps(), [Transition::Raised, Transition::Returned]);
}

#[test]
fn a_disk_that_is_too_full_is_one_alarm_until_an_hour_with_room() {
    let mut plant = Plant::new();
    plant.disk(0, None);
    plant.disk(100, Some(0));
    plant.disk(105, Some(4_000));
    plant.tick(110);
    let raised = plant.lines()[0].clone();
    assert_eq!(raised.condition.to_string(), "disk");
    assert_eq!((raised.priority, raised.since), (Priority::Medium, at(100)));
    assert_eq!(raised.disk.unwrap().values_deleted, 4_000);
    assert_eq!(raised.advice.unwrap().look_at.len(), 3);
    plant.disk(200, None);
    plant.disk(3_000, Some(5_000));
    plant.disk(3_100, None);
    plant.restart(3_120);
    plant.tick(3_100 + 3_599);
    assert_eq!(plant.steps(), [Transition::Raised]);
    plant.tick(3_100 + 3_600);
    assert_eq!(plant.steps(), [Transition::Raised, Transition::Returned]);
    assert_eq!(
        plant.lines()[1].disk.as_ref().unwrap().values_deleted,
        5_000
    );
}

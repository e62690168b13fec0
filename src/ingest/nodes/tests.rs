//! Messages of an edge node, and what its channels are told.

use std::time::Instant;

use super::*;
use crate::engine::{AdmissionSetup, Quality, TroubleKind};
use crate::ingest::sparkplug::REBIRTH;
use crate::units::Quantity;

/// Payloads in the encoding of Protocol Buffers, written out by hand.
mod write {
    fn field(number: u8, bytes: &[u8]) -> Vec<u8> {
        let len = u8::try_from(bytes.len()).unwrap();
        assert!(len < 0x80);
        [&[number << 3 | 2, len], bytes].concat()
    }

    fn varint(number: u8, mut value: u64) -> Vec<u8> {
        let mut bytes = vec![number << 3];
        while value >= 0x80 {
            bytes.push(value as u8 | 0x80);
            value >>= 7;
        }
        bytes.push(value as u8);
        bytes
    }

    /// A metric of datatype Double with its time in milliseconds.
    pub(super) fn metric(name: &str, millis: u64, value: f64) -> Vec<u8> {
        let double = [&[13 << 3 | 1][..], &value.to_le_bytes()].concat();
        [
            field(1, name.as_bytes()),
            varint(3, millis),
            varint(4, 10),
            double,
        ]
        .concat()
    }

    pub(super) fn historical(metric: Vec<u8>) -> Vec<u8> {
        [metric, varint(5, 1)].concat()
    }

    pub(super) fn bad(metric: Vec<u8>) -> Vec<u8> {
        let value = [varint(1, 3), varint(3, 0)].concat();
        let set = [field(1, b"Quality"), field(2, &value)].concat();
        [metric, field(9, &set)].concat()
    }

    pub(super) fn bd_seq(number: u64) -> Vec<u8> {
        [field(1, b"bdSeq"), varint(11, number)].concat()
    }

    pub(super) fn payload(millis: u64, seq: Option<u64>, metrics: &[Vec<u8>]) -> Vec<u8> {
        let metrics = metrics.iter().flat_map(|metric| field(2, metric));
        let seq = seq.map_or(Vec::new(), |seq| varint(3, seq));
        varint(1, millis)
            .into_iter()
            .chain(metrics)
            .chain(seq)
            .collect()
    }
}

const T0: u64 = 1_772_431_800_000;
const PLANT: &str = r#"
[plant]
name = "north"
[store]
folder = "./data"
[broker.main]
host = "127.0.0.1"
ASK
[sump.a]
fluid = "x"
target = "8 %"
working_volume = "820 L"
vessel = { shape = "rectangular", length = "1.6 m", width = "0.9 m", height = "0.65 m" }
[sump.a.channel.conductivity]
quantity = "conductivity"
payload = "sparkplug"
node = "hall/gateway"
metric = "Cond"
unit = "mS/cm"
[sump.b]
fluid = "x"
target = "8 %"
working_volume = "820 L"
vessel = { shape = "rectangular", length = "1.6 m", width = "0.9 m", height = "0.65 m" }
[sump.b.channel.pump]
quantity = "state"
payload = "sparkplug"
node = "hall/gateway"
device = "cell"
metric = "Pump"
"#;

struct Desk {
    nodes: Nodes,
    counters: IngestCounters,
    now: u64,
    delivery: Delivery,
    retained: bool,
}

impl Desk {
    fn new() -> Self {
        Self::with("")
    }

    fn with(broker: &str) -> Self {
        let plant = PLANT.replace("ASK", broker);
        let files = [("plant.toml", &*plant), ("fluids/x.toml", "factor = 1\n")];
        let settings = Settings::from_texts(&files, std::iter::empty()).unwrap();
        assert_eq!(
            settings.sumps[0].channels[0].quantity,
            Quantity::Conductivity
        );
        Desk {
            nodes: Nodes::new(&settings, 0),
            counters: IngestCounters::default(),
            now: T0,
            delivery: Delivery::First,
            retained: false,
        }
    }

    fn time(&self) -> Timestamp {
        Timestamp::from_millis(self.now as i64)
    }

    fn say(&mut self, topic: &str, payload: &[u8]) -> (Vec<(u32, Content)>, Option<String>) {
        let mut contents = Vec::new();
        let came = Came {
            arrival: self.time(),
            instant: Instant::now(),
            delivery: self.delivery,
            retained: self.retained,
            admission: &AdmissionSetup {
                future_skew: Span::from_secs(60),
                oldest: Span::from_hours(7 * 24),
                late_after: Span::from_mins(2),
            },
            counters: &self.counters,
        };
        let read = self.nodes.read(topic, payload, &came, &mut contents);
        (contents, read.err().map(|why| why.to_string()))
    }

    fn data(&mut self, metric: Vec<u8>) -> (Vec<(u32, Content)>, Option<String>) {
        let payload = write::payload(self.now, Some(1), &[metric]);
        self.say("spBv1.0/hall/NDATA/gateway", &payload)
    }

    fn born(&mut self) {
        let metrics = [write::bd_seq(7), write::metric("Cond", T0, 2.5)];
        let birth = write::payload(T0, Some(0), &metrics);
        let (contents, why) = self.say("spBv1.0/hall/NBIRTH/gateway", &birth);
        assert_eq!(contents, [reading(2500.0, T0, Quality::GOOD)]);
        assert_eq!(why, None);
    }

    fn miss(&mut self, minutes: u64) -> Vec<(u32, Content)> {
        self.now += minutes * 60_000;
        let mut contents = Vec::new();
        let now = self.time();
        self.nodes.miss(now, &mut contents);
        contents
    }
}

fn reading(value: f64, millis: u64, quality: Quality) -> (u32, Content) {
    let claimed = Some(Timestamp::from_millis(millis as i64));
    (
        0,
        Content::Reading {
            channel: 0,
            claimed,
            value,
            quality,
        },
    )
}

fn gone(sump: u32, millis: Option<u64>) -> (u32, Content) {
    let time = millis.map(|millis| Timestamp::from_millis(millis as i64));
    (
        sump,
        Content::Trouble {
            channel: 0,
            time,
            kind: TroubleKind::Gone,
        },
    )
}

#[test]
fn readings_are_in_the_channels_unit_and_deaths_are_told() {
    let mut desk = Desk::new();
    desk.born();
    let (contents, _) = desk.data(write::metric("Cond", T0 + 10, 2.4));
    assert_eq!(contents, [reading(2400.0, T0 + 10, Quality::GOOD)]);
    desk.now += 1000;
    let death = write::payload(T0, None, &[write::bd_seq(7)]);
    let (contents, why) = desk.say("spBv1.0/hall/NDEATH/gateway", &death);
    assert_eq!(
        contents,
        [gone(0, Some(T0 + 1000)), gone(1, Some(T0 + 1000))]
    );
    assert_eq!(why, None);
}

#[test]
fn what_the_node_calls_bad_is_kept_as_a_fault_and_gone() {
    let mut desk = Desk::new();
    desk.born();
    let (contents, _) = desk.data(write::bad(write::metric("Cond", T0 + 10, 2.4)));
    let faulty = reading(2400.0, T0 + 10, Quality::FAULT);
    assert_eq!(contents, [faulty, gone(0, Some(T0 + 10))]);
}

#[test]
fn a_value_of_the_past_is_late_and_has_its_own_time_or_none() {
    let mut desk = Desk::new();
    desk.born();
    desk.now += 5000;
    let past = write::historical(write::metric("Cond", T0 + 10, 2.4));
    let (contents, why) = desk.data(past);
    assert_eq!(contents, [reading(2400.0, T0 + 10, Quality::LATE)]);
    assert_eq!(why, None);
    let long_ago = write::historical(write::metric("Cond", 1000, 2.4));
    let (contents, why) = desk.data(long_ago);
    let [(0, Content::Trouble { kind, .. })] = &contents[..] else {
        panic!("{contents:?}")
    };
    assert!(matches!(kind, TroubleKind::Unreadable { count: 1, .. }));
    assert!(why.unwrap().contains("[admission] oldest"));
}

#[test]
fn a_gap_is_counted_and_a_birth_asked_for() {
    let mut desk = Desk::new();
    desk.born();
    let gap = write::payload(T0, Some(9), &[write::metric("Cond", T0 + 5, 2.4)]);
    let (contents, _) = desk.say("spBv1.0/hall/NDATA/gateway", &gap);
    assert_eq!(
        contents,
        [reading(2400.0, T0 + 5, Quality::GOOD)],
        "by its name"
    );
    assert_eq!(
        desk.counters
            .gaps
            .load(std::sync::atomic::Ordering::Relaxed),
        1
    );
    let now = desk.time();
    let [(topic, payload)] = &desk.nodes.requests(now).collect::<Vec<_>>()[..] else {
        panic!("one request")
    };
    assert_eq!(topic, "spBv1.0/hall/NCMD/gateway");
    let name = REBIRTH.as_bytes();
    assert!(payload.windows(name.len()).any(|part| part == name));
    assert_eq!(desk.nodes.requests(now).count(), 0, "once");
}

#[test]
fn nobody_is_asked_where_that_is_not_wanted() {
    let mut desk = Desk::with("ask_rebirth = false");
    let now = desk.time();
    desk.nodes.linked(now);
    desk.data(write::metric("Cond", T0, 2.4));
    assert_eq!(desk.nodes.requests(now).count(), 0);
    let mut desk = Desk::new();
    desk.nodes.linked(now);
    assert_eq!(desk.nodes.requests(now).count(), 1);
}

#[test]
fn a_redelivery_without_news_waits_behind_what_came_before() {
    let mut desk = Desk::new();
    desk.born();
    let death = write::payload(T0, None, &[write::bd_seq(7)]);
    desk.say("spBv1.0/hall/NDEATH/gateway", &death);
    desk.delivery = Delivery::Again;
    let (contents, _) = desk.say("spBv1.0/hall/NDEATH/gateway", &death);
    assert_eq!(contents, [(0, Content::Known), (1, Content::Known)]);
    let untimed = write::metric("Cond", 0, 2.4);
    let (contents, _) = desk.data(untimed);
    assert_eq!(contents, [reading(2400.0, 0, Quality::REPEATED)]);
}

#[test]
fn what_is_retained_or_wrong_is_refused_and_told() {
    let mut desk = Desk::new();
    desk.retained = true;
    let (contents, why) = desk.data(write::metric("Cond", T0, 2.4));
    assert!(contents.is_empty() && why.unwrap().contains("retain"));
    desk.retained = false;
    let number = write::payload(T0, Some(0), &[write::metric("Pump", T0, 0.5)]);
    let (contents, why) = desk.say("spBv1.0/hall/DDATA/gateway/cell", &number);
    assert_eq!(
        contents[0],
        gone(1, Some(T0)),
        "whatever it was, it is no more"
    );
    assert!(matches!(contents[1].1, Content::Trouble { .. }));
    assert!(
        why.unwrap()
            .contains("metric \"Pump\": \"0.5\" stands for neither")
    );
}

#[test]
fn a_node_that_does_not_show_itself_is_missed_once() {
    let mut desk = Desk::new();
    assert_eq!(desk.miss(0), []);
    assert_eq!(desk.miss(4), []);
    assert_eq!(desk.miss(1), [gone(0, None), gone(1, None)]);
    assert_eq!(desk.miss(60), []);
    desk.now = T0;
    desk.born();
    assert_eq!(desk.miss(60), []);
    desk.nodes.link_lost();
    assert_eq!(desk.miss(1), []);
    desk.data(write::metric("Cond", T0, 2.4));
    assert_eq!(desk.miss(6), [], "it was heard of");
}

#[test]
fn a_device_that_is_not_born_with_its_node_is_missed() {
    let mut desk = Desk::new();
    desk.born();
    assert_eq!(desk.miss(0), []);
    assert_eq!(desk.miss(5), [gone(1, None)]);
}

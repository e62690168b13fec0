//! The host as a whole, message by message.

mod any_order;
mod births;
mod golden;
mod order;
mod say;
mod values;

use crate::settings::SparkplugMetric;
use crate::units::Timestamp;

use super::*;
use say::{Said, bd_seq, payload};

/// 2026-03-02T06:10:00Z.
const T0: u64 = 1_772_431_800_000;
const NODE: &str = "gateway-1";

/// A host that wants `Load` of the node and `Fluid/Brix`, `Fluid/pH` of its
/// device `tank`, at the places 0, 1, 2; and the clock at which messages come.
struct Desk {
    host: Host,
    out: Outcome,
    now: u64,
    delivery: Delivery,
}

const LOAD: usize = 0;
const BRIX: usize = 1;
const PH: usize = 2;

impl Desk {
    fn new() -> Self {
        let mut host = Host::default();
        for (place, (device, metric)) in [
            (None, "Load"),
            (Some("tank"), "Fluid/Brix"),
            (Some("tank"), "Fluid/pH"),
        ]
        .into_iter()
        .enumerate()
        {
            let metric = SparkplugMetric {
                group: "Hall 3".to_owned(),
                node: NODE.to_owned(),
                device: device.map(str::to_owned),
                name: metric.to_owned(),
            };
            assert_eq!(host.want(&metric), place);
            assert_eq!(host.want(&metric), place, "the same again");
        }
        Desk {
            host,
            out: Outcome::default(),
            now: T0,
            delivery: Delivery::First,
        }
    }

    /// A host that has seen the births of node and device, seq 0 and 1.
    fn born() -> Self {
        let mut desk = Desk::new();
        desk.nbirth(7);
        desk.dbirth(1, &brix_and_ph());
        assert_eq!(desk.host.counters(), Counters::default());
        desk
    }

    fn now(&self) -> Timestamp {
        Timestamp::from_millis(self.now as i64)
    }

    fn say(&mut self, kind: &str, device: Option<&str>, bytes: &[u8]) -> Vec<Finding> {
        let device = device.map_or(String::new(), |device| format!("/{device}"));
        let topic = format!("spBv1.0/Hall 3/{kind}/{NODE}{device}");
        let now = self.now();
        self.host
            .handle(&topic, bytes, now, self.delivery, &mut self.out)
            .unwrap();
        self.out.findings.clone()
    }

    fn nbirth(&mut self, number: u64) -> Vec<Finding> {
        let load = say::named("Load", 0.5).alias(1).at(self.now);
        let bytes = payload(Some(self.now), Some(0), &[bd_seq(number), load.bytes()]);
        self.say("NBIRTH", None, &bytes)
    }

    fn ndeath(&mut self, number: u64) -> Vec<Finding> {
        // Written when the connection was made, as wills are.
        let bytes = payload(Some(T0 - 1000), None, &[bd_seq(number)]);
        self.say("NDEATH", None, &bytes)
    }

    fn dbirth(&mut self, seq: u64, metrics: &[Said]) -> Vec<Finding> {
        self.of_device("DBIRTH", seq, metrics)
    }

    /// Data of the device, a millisecond after whatever came before.
    fn ddata(&mut self, seq: u64, metrics: &[Said]) -> Vec<Finding> {
        self.tick();
        self.of_device("DDATA", seq, metrics)
    }

    fn tick(&mut self) {
        self.now += u64::from(self.delivery == Delivery::First);
    }

    fn ddeath(&mut self, seq: u64) -> Vec<Finding> {
        self.of_device("DDEATH", seq, &[])
    }

    fn of_device(&mut self, kind: &str, seq: u64, metrics: &[Said]) -> Vec<Finding> {
        let metrics: Vec<_> = metrics.iter().map(Said::bytes).collect();
        let bytes = payload(Some(self.now), Some(seq), &metrics);
        self.say(kind, Some("tank"), &bytes)
    }

    fn ndata(&mut self, seq: u64, metrics: &[Said]) -> Vec<Finding> {
        self.tick();
        let metrics: Vec<_> = metrics.iter().map(Said::bytes).collect();
        let bytes = payload(Some(self.now), Some(seq), &metrics);
        self.say("NDATA", None, &bytes)
    }

    fn asks(&self) -> bool {
        self.out.rebirth.is_some()
    }

    fn troubles(&self) -> String {
        let troubles = self.out.troubles.iter().map(|told| told.why.to_string());
        troubles.collect::<Vec<_>>().join("; ")
    }
}

fn brix_and_ph() -> [Said; 2] {
    [
        say::named("Fluid/Brix", 8.5).alias(2),
        say::named("Fluid/pH", 9.2).alias(3),
    ]
}

fn reading(metric: usize, value: f64, millis: u64) -> Finding {
    Finding {
        metric,
        news: News::Reading {
            value: Value::Number(value),
            time: Some(Timestamp::from_millis(millis as i64)),
            quality: MetricQuality::Good,
            footing: Footing::Certain,
            historical: false,
        },
    }
}

fn after_gap(mut finding: Finding) -> Finding {
    if let News::Reading { footing, .. } = &mut finding.news {
        *footing = Footing::AfterGap;
    }
    finding
}

fn gone(metric: usize, millis: u64) -> Finding {
    let time = Timestamp::from_millis(millis as i64);
    let news = News::Gone { time };
    Finding { metric, news }
}

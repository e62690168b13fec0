//! What sumps have used, told from the store beside the daemon.

use std::fs::OpenOptions;
use std::io::Write;
use std::process::{Command, Output};
use std::sync::Arc;

use serde_json::Value;
use sumpward::engine::{Event, Form, Quality, Reading, SumpWatch};
use sumpward::settings::Settings;
use sumpward::store::{Batch, Limits, SnapshotRow, Store, Writer};
use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted, now};

/// A meter of concentrate at the first sump, prices, and a stock.
const MORE: &str = r#"
[prices]
currency = "EUR"
[fluid.invented]
price = "5 EUR/L"
[stock.invented]
litres = "400 L"
counted = "2020-01-01"
[sump.s0.channel.feed]
quantity = "metered"
broker = "main"
topic = "in/s0/feed"
payload = "number"
of = "concentrate"
unit = "L"
"#;

fn consumption(plant: &Plant, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["consumption", "--config"])
        .arg(plant.config())
        .args(arguments)
        .current_dir(plant.folder())
        .output()
        .unwrap()
}

fn plant(broker: &Mosquitto) -> Plant {
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 2,
        on_delay: "10 min",
        broker: "",
    });
    let file = plant.config().join("plant.toml");
    let mut file = OpenOptions::new().append(true).open(file).unwrap();
    file.write_all(MORE.as_bytes()).unwrap();
    plant
}

/// The watch over the first sump after four days in which a litre of
/// concentrate ran in each hour.
fn fed(settings: &Settings, end: Timestamp) -> SumpWatch {
    let setup = Arc::clone(&settings.sumps[0]);
    let place = |name: &str| {
        let mut channels = setup.channels.iter();
        channels.position(|one| &*one.name == name).unwrap() as u16
    };
    let (brix, feed) = (place("brix"), place("feed"));
    let start = end - Span::from_hours(4 * 24);
    let mut watch = SumpWatch::new(setup, settings.admission, start);
    for tick in 0..4 * 24 * 6 {
        let time = start + Span::from_mins(10 * tick);
        for (channel, value) in [(feed, 50.0 + tick as f64 / 6.0), (brix, 4.0)] {
            let reading = Reading {
                channel,
                claimed: Some(time),
                arrival: time,
                value,
                form: Form::Settled,
                quality: Quality::GOOD,
            };
            watch.step(&Event::Reading(reading), &mut Vec::new());
        }
    }
    watch
}

/// Keeps it as the daemon does.
fn keep(plant: &Plant, watch: &SumpWatch) {
    let mut store = Store::open(&plant.store()).unwrap();
    let series = store.register(&[]).unwrap();
    let after = Box::new(|_| ());
    let writer: Writer<()> = Writer::start(store, series, Limits::default(), after).unwrap();
    let snapshot = SnapshotRow {
        sump: Arc::clone(&watch.setup().name),
        time: watch.now(),
        body: serde_json::to_vec(&watch.snapshot()).unwrap(),
    };
    let batch = Batch {
        snapshots: vec![snapshot],
        ..Batch::default()
    };
    writer.handle().submit(batch).unwrap();
    writer.stop().unwrap();
}

#[test]
fn it_is_told_from_the_store_beside_the_daemon() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let none = consumption(&plant, &[]);
    assert_eq!(none.status.code(), Some(2));
    let told = String::from_utf8_lossy(&none.stderr).into_owned();
    assert!(told.contains("there is no store in"), "{told}");

    let settings = Settings::load(&plant.config(), std::iter::empty()).unwrap();
    keep(&plant, &fed(&settings, now()));
    let _daemon = Daemon::start(&plant);
    let done = consumption(&plant, &["--json"]);
    assert!(done.status.success(), "{done:?}");
    let told: Value = serde_json::from_slice(&done.stdout).unwrap();
    let used = &told["sumps"][0]["last_7_days"];
    // Four days of 24 L, less the last point that is not full.
    let litres = used["concentrate_l"].as_f64().unwrap();
    assert!((95.0..=96.0).contains(&litres), "{told}");
    let cost = used["cost"]["total"].as_f64().unwrap();
    assert!((cost - 5.0 * litres).abs() < 1e-6, "{told}");
    assert_eq!(told["sumps"][1]["fluid"], "Invented");
    let stock = &told["stock"][0];
    assert_eq!(stock["sumps"][0], "s0");
    let daily = stock["daily_use_l"]["value"].as_f64().unwrap();
    assert!((10.0..=24.1).contains(&daily), "{told}");
    assert!(stock["known_from"].is_string(), "{told}");

    let text = String::from_utf8(consumption(&plant, &["s0"]).stdout).unwrap();
    assert!(text.contains("unpriced: water, disposal"), "{text}");
    assert!(!text.contains("(s1)"), "{text}");
    let unknown = consumption(&plant, &["s9"]);
    assert_eq!(unknown.status.code(), Some(2));
}

//! How fast readings travel the whole road, and what the daemon takes for it:
//! `cargo bench --bench road`. Needs Linux and an installed mosquitto; takes
//! about five minutes. `-- engine`, `-- qos0`, `-- qos1`, `-- alarms` and
//! `-- steady` measure one part each, `-- --messages N` sets the size of the
//! floods.
//!
//! | part | measures |
//! | --- | --- |
//! | `engine` | readings a second through the engine alone, on one core |
//! | `qos0`, `qos1` | a flood through a real broker: the daemon against a subscriber that throws the messages away |
//! | `alarms` | from the publish of a reading to the alarm on the wire, under load |
//! | `steady` | what the daemon takes for a plant that reports at its usual rate |
//!
//! All parts use one invented plant of 1,000 sumps with 6 channels each, all
//! filters and all limits at their defaults. Everything printed was measured in
//! this run, but for the budgets, which stand beside it in words. Nothing
//! passes or fails: a machine that is busy with something else shows it in the
//! numbers, so that only ratios taken in one run should be compared.

#![allow(clippy::disallowed_methods)] // it measures real time
#![allow(unreachable_pub)] // modules of one program, each the other's neighbour

mod alarms;
mod end_to_end;
mod engine;
mod figures;
mod peers;
mod plant;
mod process;
mod publisher;
mod steady;
mod subscriber;

use clap::{Parser, ValueEnum};
use rumqttc::v5::mqttbytes::QoS;

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Part {
    Engine,
    Qos0,
    Qos1,
    Alarms,
    Steady,
}

#[derive(Debug, Parser)]
struct Arguments {
    /// What to measure; everything if not given.
    parts: Vec<Part>,
    /// Messages in each flood.
    #[arg(long, default_value_t = 300_000, value_parser = clap::value_parser!(u32).range(1..))]
    messages: u32,
    /// Cargo says so to every bench.
    #[arg(long, hide = true)]
    bench: bool,
    /// Be the subscriber of a flood instead: port, QoS and number of messages.
    #[arg(long, hide = true, num_args = 3, value_names = ["PORT", "QOS", "N"])]
    subscriber: Vec<u64>,
}

fn main() {
    let arguments = Arguments::parse();
    if let [port, qos, messages] = arguments.subscriber[..] {
        let port = u16::try_from(port).expect("the bench gives the port that it chose");
        return subscriber::run(port, plant::qos(qos), messages as usize);
    }
    let cores = std::thread::available_parallelism().map_or(0, usize::from);
    println!("{cores} cores, {} build", profile());
    let wanted = |part| arguments.parts.is_empty() || arguments.parts.contains(&part);
    let messages = arguments.messages as usize;
    if wanted(Part::Engine) {
        engine::measure();
    }
    if wanted(Part::Qos0) {
        end_to_end::measure(QoS::AtMostOnce, messages);
    }
    if wanted(Part::Qos1) {
        end_to_end::measure(QoS::AtLeastOnce, messages);
    }
    if wanted(Part::Alarms) {
        alarms::measure();
    }
    if wanted(Part::Steady) {
        steady::measure(QoS::AtMostOnce);
        steady::measure(QoS::AtLeastOnce);
    }
}

fn profile() -> &'static str {
    if cfg!(debug_assertions) {
        "unoptimised"
    } else {
        "optimised"
    }
}

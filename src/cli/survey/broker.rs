//! What is published on a broker.

use std::sync::Arc;
use std::time::{Duration, Instant};

use anyhow::{Context, bail};

use super::BrokerArgs;
use crate::cli::progress::Progress;
use crate::cli::run;
use crate::daemon::Clock;
use crate::mqtt::{self, Client, Event, Introduction, SessionWish};
use crate::settings::{BrokerSettings, Protocol, Secret, TlsSettings};
use crate::survey::{Topics, counted};
use crate::units::Span;

/// Ports without and with encryption. IANA service name registry: mqtt,
/// secure-mqtt.
const PORTS: (u16, u16) = (1883, 8883);
/// Messages of a broker that are on their way at once.
const RECEIVE_MAXIMUM: u16 = 1000;
/// Larger messages are not looked at.
const LARGEST: u32 = 1 << 20;
/// The progress is drawn again after so long.
const DRAW_EVERY: Duration = Duration::from_millis(200);

pub(super) fn survey(args: &BrokerArgs) -> anyhow::Result<bool> {
    let broker = broker(args)?;
    let (topics, took) = super::runtime()?.block_on(listen(&broker, args))?;
    let heading = format!(
        "{}:{}, {} for {:.0} s: {}, {}",
        broker.host,
        broker.port,
        args.topics.join(" "),
        took.as_secs_f64(),
        sources(&topics),
        counted(topics.messages, "message")
    );
    let report = topics.report();
    super::print(&heading, &report, args.json);
    Ok(topics.messages > 0)
}

/// How many there are to hear, in words.
fn sources(topics: &Topics) -> String {
    let told = counted(topics.iter().count() as u64, "topic");
    match topics.nodes_and_devices() {
        (0, 0) => told,
        (nodes, devices) => format!(
            "{told}, {} and {} of Sparkplug B",
            counted(nodes as u64, "node"),
            counted(devices as u64, "device")
        ),
    }
}

async fn listen(broker: &BrokerSettings, args: &BrokerArgs) -> anyhow::Result<(Topics, Duration)> {
    let introduction = Introduction {
        client_id: broker.client_id.clone(),
        session: SessionWish::Fresh,
        will: None,
    };
    let (client, mut events) = mqtt::connect(broker, &introduction)?;
    let mut topics = Topics::default();
    let mut progress = Progress::new("listening", args.listen.as_secs());
    let begun = Instant::now();
    let mut draw = tokio::time::interval(DRAW_EVERY);
    let end = tokio::time::sleep(args.listen);
    tokio::pin!(end);
    loop {
        let next = events.next();
        tokio::pin!(next);
        let event = loop {
            tokio::select! {
                event = &mut next => break event,
                _ = draw.tick() => progress.at(begun.elapsed().as_secs()),
                () = &mut end => { progress.done(); return Ok((topics, begun.elapsed())) }
                _ = tokio::signal::ctrl_c() => return Ok((topics, begun.elapsed())),
            }
        };
        let event = event.with_context(|| format!("{}:{}", broker.host, broker.port))?;
        take(event, &client, args, &mut topics)?;
    }
}

fn take(
    event: Event,
    client: &Client,
    args: &BrokerArgs,
    topics: &mut Topics,
) -> anyhow::Result<()> {
    match event {
        Event::Connected { .. } => client.subscribe(&args.topics)?,
        Event::Subscribed { refusals, .. } => {
            let refused = args.topics.iter().zip(refusals);
            for (topic, refusal) in refused {
                if let Some(why) = refusal {
                    bail!("the broker refuses {topic}: {why}");
                }
            }
        }
        Event::Message(message) | Event::Oversized(message) => {
            let topic = String::from_utf8_lossy(&message.topic);
            let arrival = Clock::System.now();
            topics.hear(&topic, &message.payload, message.retained, arrival);
            if let Some(packet) = message.packet {
                client.acknowledge(packet)?;
            }
        }
        _ => {}
    }
    Ok(())
}

/// The broker as the settings or the command line say, under a client id of
/// its own, so that a running daemon is not disturbed.
fn broker(args: &BrokerArgs) -> anyhow::Result<BrokerSettings> {
    let mut broker = match (&args.config, &args.address) {
        (Some(folder), _) => of_settings(folder, args.broker.as_deref())?,
        (None, Some(address)) => of_address(address, args)?,
        (None, None) => bail!("name a broker, or the folder of its settings with --config"),
    };
    broker.client_id = format!("sumpward-survey-{}", std::process::id());
    Ok(broker)
}

fn of_settings(folder: &std::path::Path, name: Option<&str>) -> anyhow::Result<BrokerSettings> {
    let settings = run::load(folder)?;
    let Some(name) = name else {
        return Ok(settings.brokers[settings.messages_broker].clone());
    };
    let found = settings.brokers.iter().find(|broker| *broker.name == *name);
    found.cloned().with_context(|| {
        let known: Vec<&str> = settings.brokers.iter().map(|b| &*b.name).collect();
        format!(
            "there is no broker {name}; the settings have {}",
            known.join(", ")
        )
    })
}

fn of_address(address: &str, args: &BrokerArgs) -> anyhow::Result<BrokerSettings> {
    let tls = args.ca_file.as_ref().map(|file| TlsSettings {
        ca_file: Some(file.clone()),
        identity: None,
    });
    let usual_port = if tls.is_some() { PORTS.1 } else { PORTS.0 };
    let (host, port) = match address.rsplit_once(':') {
        Some((host, port)) if !host.contains(':') => {
            let port = port.parse().ok().filter(|port| *port > 0);
            (
                host,
                port.with_context(|| format!("{address}: the port is 1 to 65535"))?,
            )
        }
        _ => (address, usual_port),
    };
    let password = match &args.password_file {
        None => None,
        Some(file) => {
            let text = std::fs::read_to_string(file)
                .with_context(|| format!("{} cannot be read", file.display()))?;
            Some(Secret::new(text.trim_end_matches(['\r', '\n'])))
        }
    };
    let protocol = if args.mqtt == "3.1.1" {
        Protocol::V311
    } else {
        Protocol::V5 {
            receive_maximum: RECEIVE_MAXIMUM,
            session_expiry: Span::ZERO,
        }
    };
    Ok(BrokerSettings {
        name: Arc::from("survey"),
        host: host.to_owned(),
        port,
        client_id: String::new(),
        user: args.user.clone(),
        password,
        tls,
        keep_alive: Span::from_secs(30),
        max_packet: LARGEST,
        protocol,
        template: None,
        ask_rebirth: false,
    })
}

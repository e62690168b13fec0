//! What of the plant itself is watched: its sources, its stock, the servers that get
//! what is stored, the store's disk, and the start after a stand-still.

use std::sync::Arc;

use crate::engine::{
    DiskSetup, ForwardSetup, PlantSetup, Priority, SourceSetup, StartUpSetup, StockSetup,
};
use crate::units::{Parse, Span};

use super::key_path::KeyPath;
use super::plant::{BrokerSettings, Origin, Route, StockSettings};
use super::raw_rules::{RawForwardRule, RawPlantRules, RawRule};
use super::review::Review;
use super::rules::{Behaviour, Standard, behaviour};
use super::targets::TargetSettings;
use super::wires::{ModbusSettings, ModbusWay, SerialSettings};
use super::written::Switch;

/// A broker that is restarted, and a cable that is plugged over, are back by
/// then. (choice)
const SOURCE_ON: Span = Span::from_mins(2);
/// A source that comes and goes within this is one alarm. (choice)
const SOURCE_OFF: Span = Span::from_mins(2);

/// A server that is restarted answers as it should by then. (choice)
const FORWARD_ON: Span = Span::from_mins(2);
/// Taking turns within this is one alarm. (choice)
const FORWARD_OFF: Span = Span::from_mins(2);
/// Nothing is lost while a server is away: an update of it is over by then, and
/// people have not missed its drawings for a shift yet. (choice)
const FORWARD_AWAY: Span = Span::from_hours(1);
/// The store has deleted what it could by then, so that the alarm can say how
/// much that was. (choice)
const DISK_ON: Span = Span::from_secs(10);
/// As long as something goes before its time now and then, it is one alarm.
/// (choice)
const DISK_OFF: Span = Span::from_hours(1);

/// What is wrong at the start after a stand-still is raised within half an hour of
/// it: one alarm has all of it. (choice)
const START_UP_ON: Span = Span::from_mins(30);

/// How the alarms of the plant behave; nothing of those that are off.
#[derive(Debug)]
pub(super) struct PlantRules {
    source: Option<Behaviour>,
    stock: Option<Behaviour>,
    /// With how long a server may be away.
    forward: Option<(Behaviour, Span)>,
    disk: Option<Behaviour>,
    start_up: Option<Behaviour>,
}

impl PlantRules {
    /// Whether what is wrong with the sumps at the start after a stand-still is told
    /// as one alarm of the plant.
    pub(super) fn tell_start_up(&self) -> bool {
        self.start_up.is_some()
    }
}

/// Reads `[plant.rules]`.
pub(super) fn plant_rules(review: &mut Review, raw: &RawPlantRules) -> Option<PlantRules> {
    let at = KeyPath::root().key("plant").key("rules");
    let standard = Standard {
        priority: Priority::Medium,
        on: SOURCE_ON,
        off: SOURCE_OFF,
    };
    let source = behaviour(review, &at.key("source"), raw.source.as_ref(), &standard)?;
    let standard = Standard {
        priority: Priority::Low,
        on: Span::ZERO,
        off: Span::ZERO,
    };
    let stock = behaviour(review, &at.key("stock"), raw.stock.as_ref(), &standard)?;
    let forward = forward(review, &at.key("forward"), raw.forward.as_ref())?;
    let standard = Standard {
        priority: Priority::Medium,
        on: DISK_ON,
        off: DISK_OFF,
    };
    let disk = behaviour(review, &at.key("disk"), raw.disk.as_ref(), &standard)?;
    let standard = Standard {
        priority: Priority::High,
        on: START_UP_ON,
        off: Span::ZERO,
    };
    let start_up = behaviour(
        review,
        &at.key("start_up"),
        raw.start_up.as_ref(),
        &standard,
    )?;
    Some(PlantRules {
        source,
        stock,
        forward,
        disk,
        start_up,
    })
}

fn forward(
    review: &mut Review,
    at: &KeyPath,
    raw: Option<&Switch<RawForwardRule>>,
) -> Option<Option<(Behaviour, Span)>> {
    let standard = Standard {
        priority: Priority::Low,
        on: FORWARD_ON,
        off: FORWARD_OFF,
    };
    let written = match raw {
        Some(Switch::On(raw)) => raw.away_after.as_ref(),
        _ => None,
    };
    let path = at.key("away_after");
    let away_after = review.or_default(&path, written, Span::parse, FORWARD_AWAY);
    let away_after = away_after.and_then(|span| {
        let range = (Span::from_secs(1), Span::from_hours(31 * 24));
        review.within(&path, span, range, |span| span.to_string())
    });
    let raw = raw.map(|raw| match raw {
        Switch::Off => Switch::Off,
        Switch::On(raw) => Switch::On(RawRule::from(raw)),
    });
    let behaviour = behaviour(review, at, raw.as_ref(), &standard)?;
    Some(behaviour.zip(Some(away_after?)))
}

/// The sources of a plant, what comes from them, and what is in stock.
pub(super) struct Watchable<'a> {
    pub(super) brokers: &'a [BrokerSettings],
    pub(super) modbus: &'a [ModbusSettings],
    pub(super) serial: &'a [SerialSettings],
    pub(super) routes: &'a [Route],
    pub(super) stocks: &'a [StockSettings],
    pub(super) targets: &'a [TargetSettings],
}

impl Watchable<'_> {
    /// What is watched of them.
    pub(super) fn setup(&self, rules: &PlantRules) -> PlantSetup {
        let sources = rules.source.map(|behaviour| self.sources(behaviour));
        let stocks = rules.stock.map(|behaviour| self.stocks(behaviour));
        PlantSetup {
            sources: sources.unwrap_or_default(),
            stocks: stocks.unwrap_or_default(),
            forwards: rules
                .forward
                .map(|(behaviour, away_after)| self.forwards(behaviour, away_after))
                .unwrap_or_default(),
            disk: rules.disk.map(|behaviour| DiskSetup {
                priority: behaviour.priority,
                manner: behaviour.manner,
            }),
            start_up: rules.start_up.map(|behaviour| StartUpSetup {
                priority: behaviour.priority,
                manner: behaviour.manner,
            }),
        }
    }

    fn forwards(&self, behaviour: Behaviour, away_after: Span) -> Vec<ForwardSetup> {
        let targets = self.targets.iter().map(|target| ForwardSetup {
            name: Arc::clone(&target.name),
            away_after,
            priority: behaviour.priority,
            manner: behaviour.manner,
        });
        targets.collect()
    }

    fn stocks(&self, behaviour: Behaviour) -> Vec<StockSetup> {
        let stocks = self.stocks.iter().map(|stock| StockSetup {
            fluid: Arc::clone(&stock.fluid),
            least: stock.least,
            priority: behaviour.priority,
            manner: behaviour.manner,
        });
        stocks.collect()
    }

    fn sources(&self, behaviour: Behaviour) -> Vec<SourceSetup> {
        let brokers = self.brokers.iter().enumerate().map(|(place, broker)| {
            let address = format!("{}:{}", broker.host, broker.port);
            let from = |origin: &Origin| matches!(origin, Origin::Topic { broker, .. } | Origin::Metric { broker, .. } if *broker == place);
            ("broker", &broker.name, address, self.channels(from))
        });
        let modbus = self.modbus.iter().enumerate().map(|(place, line)| {
            let address = match &line.way {
                ModbusWay::Serial(port) => port.device.display().to_string(),
                ModbusWay::Tcp { host, port } => format!("{host}:{port}"),
            };
            let from = |origin: &Origin| matches!(origin, Origin::Register { source, .. } if *source == place);
            ("modbus", &line.name, address, self.channels(from))
        });
        let serial = self.serial.iter().enumerate().map(|(place, port)| {
            let address = port.port.device.display().to_string();
            let from =
                |origin: &Origin| matches!(origin, Origin::Line { source, .. } if *source == place);
            ("serial", &port.name, address, self.channels(from))
        });
        let all = brokers.chain(modbus).chain(serial);
        let setup = all.map(|(kind, name, address, channels)| SourceSetup {
            name: name.clone(),
            kind,
            address,
            channels,
            priority: behaviour.priority,
            manner: behaviour.manner,
        });
        setup.collect()
    }

    fn channels(&self, is_from: impl Fn(&Origin) -> bool) -> Vec<(usize, u16)> {
        let from = self.routes.iter().filter(|route| is_from(&route.origin));
        from.map(|route| (route.sump, route.channel)).collect()
    }
}

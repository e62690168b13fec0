//! What of the plant itself is watched: its sources and its stock.

use std::sync::Arc;

use crate::engine::{PlantSetup, Priority, SourceSetup, StockSetup};
use crate::units::Span;

use super::key_path::KeyPath;
use super::plant::{BrokerSettings, Origin, Route, StockSettings};
use super::raw_rules::RawPlantRules;
use super::review::Review;
use super::rules::{Behaviour, Standard, behaviour};
use super::wires::{ModbusSettings, ModbusWay, SerialSettings};

/// A broker that is restarted, and a cable that is plugged over, are back by
/// then. (choice)
const SOURCE_ON: Span = Span::from_mins(2);
/// A source that comes and goes within this is one alarm. (choice)
const SOURCE_OFF: Span = Span::from_mins(2);

/// How the alarms of the plant behave; nothing of those that are off.
#[derive(Debug)]
pub(super) struct PlantRules {
    source: Option<Behaviour>,
    stock: Option<Behaviour>,
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
    Some(PlantRules { source, stock })
}

/// The sources of a plant, what comes from them, and what is in stock.
pub(super) struct Watchable<'a> {
    pub(super) brokers: &'a [BrokerSettings],
    pub(super) modbus: &'a [ModbusSettings],
    pub(super) serial: &'a [SerialSettings],
    pub(super) routes: &'a [Route],
    pub(super) stocks: &'a [StockSettings],
}

impl Watchable<'_> {
    /// What is watched of them.
    pub(super) fn setup(&self, rules: &PlantRules) -> PlantSetup {
        let sources = rules.source.map(|behaviour| self.sources(behaviour));
        let stocks = rules.stock.map(|behaviour| self.stocks(behaviour));
        PlantSetup {
            sources: sources.unwrap_or_default(),
            stocks: stocks.unwrap_or_default(),
        }
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

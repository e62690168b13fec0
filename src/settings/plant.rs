//! The settings of a whole plant, valid: nothing left to parse or to check.

use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::engine::{AdmissionSetup, PlantSetup, SumpSetup};
use crate::units::{Linear, Quantity, Span, Volume};
use crate::{line, modbus};

use super::json_pointer::JsonPointer;
use super::message::{GoodStatus, Reports};
use super::message_texts::MessageTexts;
use super::own_rules::OwnRuleSetup;
use super::remark::Remark;
use super::roads::{Contact, MessageSettings};
use super::secret::Secret;
use super::senml_name::SenmlName;
use super::targets::TargetSettings;
use super::tls::TlsSettings;
use super::web::WebSettings;
use super::wires::{ModbusSettings, SerialSettings};

/// Everything that a plant has settled.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// The plant itself.
    pub plant: PlantSettings,
    /// Where data is kept.
    pub store: StoreSettings,
    /// The brokers, by name; at least one.
    pub brokers: Vec<BrokerSettings>,
    /// The lines of Modbus slaves, by name.
    pub modbus: Vec<ModbusSettings>,
    /// The serial ports with lines of text, by name.
    pub serial: Vec<SerialSettings>,
    /// Place in `brokers` of the one that messages go out to.
    pub messages_broker: usize,
    /// Topic on that broker on which entries come in.
    pub entry_topic: String,
    /// The sumps, by name; at least one.
    pub sumps: Arc<[Arc<SumpSetup>]>,
    /// Where the readings of each channel come from.
    pub routes: Vec<Route>,
    /// In which words they are told.
    pub texts: MessageTexts,
    /// What all messages to people have in common.
    pub messages: MessageSettings,
    /// Who is told, by name.
    pub contacts: Vec<Contact>,
    /// The pages that are served, where any are.
    pub web: Option<WebSettings>,
    /// The servers that get what is stored, by name.
    pub forward: Vec<TargetSettings>,
    /// The plant's own rules, by name.
    pub own_rules: Vec<OwnRuleSetup>,
    /// The concentrate in stock, by fluid.
    pub stocks: Vec<StockSettings>,
    /// What of the plant itself is watched.
    pub watched: PlantSetup,
    /// Every series; `SeriesIx` is a place in this list. For each sump its
    /// channels come first, each meter's total behind it, then the estimates
    /// `concentration` and `volume`.
    pub series: Vec<SeriesSetup>,
    /// Which times of readings are believed.
    pub admission: AdmissionSetup,
    /// Threads that the sumps are spread over, 1 to 256.
    pub engine_threads: usize,
    /// What is no mistake and a person should look to.
    pub remarks: Vec<Remark>,
}

/// The plant itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlantSettings {
    /// Its name in topics.
    pub name: Arc<str>,
    /// The first level or levels of every topic that is published to.
    pub base_topic: String,
    /// The zone of its clocks, with the rules that are built in.
    pub time_zone: TimeZone,
}

/// The concentrate of one fluid in stock.
#[derive(Debug, Clone, PartialEq)]
pub struct StockSettings {
    /// Name of the fluid.
    pub fluid: Arc<str>,
    /// How much there was.
    pub litres: Volume,
    /// The day on which it was counted.
    pub counted: Date,
    /// It is told of when it lasts shorter than this, 1 d to 1 year.
    pub least: Span,
}

/// Where data is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoreSettings {
    /// The folder, relative to the working directory or absolute.
    pub folder: PathBuf,
    /// A reading is on the disk, and acknowledged, after so long at the
    /// latest, 1 ms to 1 s; what comes with an alarm never waits.
    pub commit_after: Span,
    /// Most messages that wait for a broker.
    pub outbox_max_rows: u32,
    /// Age at which readings are packed, 10 min to 7 d.
    pub pack_after: Span,
    /// How long what is kept.
    pub keep: KeepSettings,
    /// Bytes that the store may use.
    pub most_bytes: u64,
    /// Bytes that are to stay free on its disk.
    pub least_free_bytes: u64,
}

/// How long each kind of what is stored is kept, a day at least; nothing is for
/// ever.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeepSettings {
    /// Readings as they came.
    pub readings: Option<Span>,
    /// What the engine made of them.
    pub estimates: Option<Span>,
    /// Readings and estimates rolled up by the minute.
    pub minutes: Option<Span>,
    /// The same by the hour.
    pub hours: Option<Span>,
    /// The same by the day.
    pub days: Option<Span>,
    /// The journal.
    pub journal: Option<Span>,
}

/// One broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BrokerSettings {
    /// Its name in settings.
    pub name: Arc<str>,
    /// Name or address of its machine.
    pub host: String,
    /// TCP port, 1 to 65535.
    pub port: u16,
    /// Client id, the same at every start, so that the broker knows the
    /// session again.
    pub client_id: String,
    /// User name, where the broker wants one.
    pub user: Option<String>,
    /// Password, where the broker wants one.
    pub password: Option<Secret>,
    /// Filter that takes the topics of all channels that have none of their
    /// own, where the broker has a template for them.
    pub template: Option<String>,
    /// Encryption, where it is on.
    pub tls: Option<TlsSettings>,
    /// Longest silence before a ping, 5 s to 18 h.
    pub keep_alive: Span,
    /// Largest packet that is taken from the broker, in bytes, 1 KiB to
    /// 256 MiB.
    pub max_packet: u32,
    /// The version that is spoken.
    pub protocol: Protocol,
    /// Whether edge nodes are asked for a new birth where one was missed.
    pub ask_rebirth: bool,
}

/// A version of MQTT, with what can be settled in that version only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Protocol {
    /// MQTT 5.0.
    V5 {
        /// Most messages that the broker may send without an acknowledgement.
        receive_maximum: u16,
        /// How long the broker keeps the session while we are away, 1 min to
        /// 1 year.
        session_expiry: Span,
    },
    /// MQTT 3.1.1, for brokers that have nothing newer. How much is under way
    /// at once, and how long the session is kept, the broker settles alone.
    V311,
}

impl Protocol {
    /// Most messages that may be under way to us without an acknowledgement:
    /// all that have a packet identifier where we have no say in it.
    pub fn receive_maximum(self) -> u16 {
        match self {
            Protocol::V5 {
                receive_maximum, ..
            } => receive_maximum,
            Protocol::V311 => u16::MAX,
        }
    }
}

/// Where the readings of one channel come from.
#[derive(Debug, Clone, PartialEq)]
pub struct Route {
    /// Place of the sump in [`Settings::sumps`].
    pub sump: usize,
    /// Place of the channel in [`SumpSetup::channels`].
    pub channel: u16,
    /// Where they come from.
    pub origin: Origin,
    /// What their values stand for.
    pub scale: Scale,
}

/// Where the readings of a channel come from.
#[derive(Debug, Clone, PartialEq)]
pub enum Origin {
    /// Messages of an MQTT broker.
    Topic {
        /// Place of the broker in [`Settings::brokers`].
        broker: usize,
        /// Topics, or filters with `+` and `#`; at least one.
        topics: Vec<String>,
        /// How the value stands in the message.
        format: PayloadFormat,
    },
    /// A metric of an edge node, sent after Sparkplug B.
    Metric {
        /// Place of the broker in [`Settings::brokers`].
        broker: usize,
        /// Where it is.
        metric: SparkplugMetric,
    },
    /// Registers of a Modbus slave.
    Register {
        /// Place of the line in [`Settings::modbus`].
        source: usize,
        /// The slave, 1 to 247; over TCP the unit, 0 to 255.
        slave: u8,
        /// Which of its tables.
        table: modbus::Table,
        /// Address of the first register, as it goes over the wire.
        first: u16,
        /// How the number stands there.
        encoding: modbus::Encoding,
    },
    /// Lines that an instrument sends over a serial port.
    Line {
        /// Place of the port in [`Settings::serial`].
        source: usize,
        /// Where in a line the value stands.
        place: line::Place,
    },
}

/// Where a metric of Sparkplug B is.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct SparkplugMetric {
    /// Group of the edge node.
    pub group: String,
    /// Name of the edge node.
    pub node: String,
    /// The device, where the metric is not the node's own.
    pub device: Option<String>,
    /// Full name of the metric.
    pub name: String,
}

impl fmt::Display for SparkplugMetric {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.group, self.node)?;
        if let Some(device) = &self.device {
            write!(f, "/{device}")?;
        }
        write!(f, " {}", self.name)
    }
}

/// What a value stands for that a source hands over.
#[derive(Debug, Clone, PartialEq)]
pub enum Scale {
    /// A number, on this line to the unit that the channel's instrument
    /// reports in.
    Line(Linear),
    /// On or off.
    Words(SwitchWords),
}

/// How on and off are written, without regard to upper and lower case.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SwitchWords {
    /// Words for on.
    pub on: Vec<String>,
    /// Words for off.
    pub off: Vec<String>,
}

/// Format of a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PayloadFormat {
    /// The message is the value, as text.
    Number,
    /// The message is a JSON document.
    Json {
        /// Where the value stands.
        value: JsonPointer,
        /// Where its time stands, and how it is written.
        time: Option<(JsonPointer, TimeFormat)>,
        /// Where the message names the unit of the value, and what the value
        /// measures.
        unit: Option<(JsonPointer, Quantity)>,
        /// Where the instrument says how it is, and when that is well.
        status: Option<(JsonPointer, GoodStatus)>,
    },
    /// The message is a pack of SenML (RFC 8428), as JSON or CBOR.
    Senml {
        /// Name of the records, base name and name together.
        name: SenmlName,
        /// What their numbers are, for the units that they have.
        reports: Reports,
    },
}

/// How a time is written in a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeFormat {
    /// Text after RFC 3339.
    Rfc3339,
    /// Seconds since 1970-01-01T00:00:00Z, fractions allowed.
    UnixSeconds,
    /// Milliseconds since 1970-01-01T00:00:00Z.
    UnixMillis,
}

/// One series of values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeriesSetup {
    /// Name of the sump.
    pub sump: Arc<str>,
    /// Name of the channel, or of the estimate.
    pub channel: Arc<str>,
    /// What the values are.
    pub quantity: Quantity,
    /// Where they come from.
    pub kind: SeriesKind,
}

/// Where the values of a series come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SeriesKind {
    /// An instrument.
    Reading,
    /// Worked out from readings.
    Estimate,
}

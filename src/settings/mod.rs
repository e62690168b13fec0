//! What a plant writes down: reading it, checking it, telling where it is
//! wrong.
//!
//! ```text
//! files ─ toml_edit ─▶ tree and places ─ config ─▶ one tree ─▶ raw tables ─ review ─▶ Settings
//! environment ────────────────────────────▲
//! ```
//!
//! Promises: a [`Settings`] holds nothing that is left to parse or to check;
//! all mistakes are told at once, each with file, line and column, with what
//! is allowed and with the nearest right name; the same files give the same
//! settings, in the same order. Refuses: keys that do not exist, numbers
//! without their unit, passwords in settings files, anything it would have to
//! guess.
//!
//! Every default stands in `defaults.rs` with its origin, and again, in the
//! words of a plant, in the example under config/.

mod brokers;
mod build_chart;
mod build_vessel;
mod calibration;
mod channel_kind;
mod channels;
mod check_plan;
mod choice;
mod cleaners;
mod contacts;
mod current_loop;
mod defaults;
mod dose;
mod edge_node;
mod fluid_class;
mod fluids;
mod instrument;
mod json_pointer;
mod key_path;
mod layers;
mod limits;
mod line_ports;
mod mail;
mod masters;
mod measure;
mod message;
mod message_texts;
mod mistake;
mod mixers;
mod names;
mod origin;
mod own_rules;
mod payload;
mod places;
mod plan_rules;
mod plant;
mod plant_rules;
mod ports;
mod prices;
mod problem;
mod pump;
mod raw;
mod raw_limits;
mod raw_rules;
mod recharge;
mod registers;
mod remark;
mod review;
mod roads;
mod rules;
mod rules_ahead;
mod rules_channels;
mod rules_charts;
mod rules_rates;
mod scale;
mod secret;
mod secret_file;
mod senml_name;
mod shifts;
mod signs;
mod sources;
mod stocks;
mod store;
mod strict;
mod sumps;
mod targets;
mod template;
#[cfg(test)]
mod tests;
mod tls;
mod topic;
mod topics;
mod volumes;
mod waters;
mod web;
mod webhooks;
mod whole;
mod window;
mod wired_origin;
mod wires;
mod written;

pub use crate::units::nearest;
pub use fluid_class::FluidClass;
pub use json_pointer::{JsonPointer, PointerError};
pub use message::{GoodStatus, Reports};
pub use message_texts::{MessageTexts, REPORT_WORDS, TextFile};
pub use mistake::{Mistake, Place, SettingsError};
pub use own_rules::OwnRuleSetup;
pub use plant::{
    BrokerSettings, KeepSettings, Origin, PayloadFormat, PlantSettings, Protocol, Route, Scale,
    SeriesKind, SeriesSetup, Settings, SparkplugMetric, StockSettings, StoreSettings, SwitchWords,
    TimeFormat,
};
pub use prices::PriceError;
pub use problem::{CalibrationProblem, Problem};
pub use remark::{Remark, Remarked};
pub use roads::{
    Contact, Escalation, Login, MailSecurity, MailSettings, MessageSettings, WebhookSettings,
};
pub use secret::Secret;
pub use senml_name::{SenmlName, SenmlNameError};
pub use targets::{Forwarded, History, TargetSettings};
pub use template::TemplateError;
pub use tls::{IdentityFiles, TlsError, TlsFault, TlsSettings};
pub use topic::{TopicError, check_filter};
pub use web::WebSettings;
pub use wires::{
    DataBits, ModbusSettings, ModbusWay, Parity, PortSettings, SerialSettings, StopBits,
};

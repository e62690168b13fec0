//! What of the plant itself is watched, by the settings.

use std::sync::Arc;

use crate::alarm::{AlarmManner, Priority};
use crate::units::Span;

/// Stands in the place of a sump's name in what is the plant's.
pub const PLANT: &str = "plant";

/// What of the plant itself is watched.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlantSetup {
    /// The sources whose loss is told, by name.
    pub sources: Vec<SourceSetup>,
    /// The stocks whose end is told, by fluid.
    pub stocks: Vec<StockSetup>,
    /// The servers of series that are told of when they do not get what is stored,
    /// by name.
    pub forwards: Vec<ForwardSetup>,
    /// Whether a disk that is too full for the store is told.
    pub disk: Option<DiskSetup>,
    /// Whether what is wrong at the start after a stand-still is told as one.
    pub start_up: Option<StartUpSetup>,
}

/// A source of readings whose loss is told.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceSetup {
    /// Its name in the settings.
    pub name: Arc<str>,
    /// `broker`, `modbus` or `serial`.
    pub kind: &'static str,
    /// Where it is: host and port, or a device.
    pub address: String,
    /// The channels that it brings: place of the sump, place of the channel.
    pub channels: Vec<(usize, u16)>,
    /// How much hurry.
    pub priority: Priority,
    /// How the alarm behaves.
    pub manner: AlarmManner,
}

/// A server of series that is told of when it does not get what is stored.
#[derive(Debug, Clone, PartialEq)]
pub struct ForwardSetup {
    /// Its name in the settings.
    pub name: Arc<str>,
    /// How long it may be away.
    pub away_after: Span,
    /// How much hurry.
    pub priority: Priority,
    /// How the alarm behaves; one that is away may be so for `away_after` instead
    /// of the on-delay.
    pub manner: AlarmManner,
}

/// A disk that is told of when it is too full for the store.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DiskSetup {
    /// How much hurry.
    pub priority: Priority,
    /// How the alarm behaves.
    pub manner: AlarmManner,
}

/// The start after a stand-still, as one alarm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StartUpSetup {
    /// How much hurry.
    pub priority: Priority,
    /// How the alarm behaves.
    pub manner: AlarmManner,
}

/// The concentrate of one fluid in stock, whose end is told.
#[derive(Debug, Clone, PartialEq)]
pub struct StockSetup {
    /// Name of the fluid.
    pub fluid: Arc<str>,
    /// It is told of below so many days.
    pub least: Span,
    /// How much hurry.
    pub priority: Priority,
    /// How the alarm behaves.
    pub manner: AlarmManner,
}

impl StockSetup {
    /// The least, in days.
    pub fn least_days(&self) -> f64 {
        self.least.secs_f64() / 86_400.0
    }
}

impl SourceSetup {
    /// How many sumps it brings channels of.
    pub fn sumps(&self) -> usize {
        let mut sumps: Vec<usize> = self.channels.iter().map(|(sump, _)| *sump).collect();
        sumps.sort_unstable();
        sumps.dedup();
        sumps.len()
    }
}

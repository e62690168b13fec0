//! The instruments: what is true at a sump, as it reads.

use std::sync::Arc;

use crate::simulate::random::Random;
use crate::units::Timestamp;

/// The instruments of a sump.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Channel {
    /// Inline refractometer, °Bx.
    Brix,
    /// pH electrode.
    Ph,
    /// Conductivity cell, µS/cm at 25 °C.
    Conductivity,
    /// Thermometer, °C.
    Temperature,
    /// Level probe, mm above the lowest inside point of the tank.
    Level,
}

impl Channel {
    /// Every channel, in the order in which a sump reports.
    pub const ALL: [Channel; 5] = [
        Channel::Brix,
        Channel::Ph,
        Channel::Conductivity,
        Channel::Temperature,
        Channel::Level,
    ];

    /// Name in topics and messages.
    pub const fn name(self) -> &'static str {
        match self {
            Channel::Brix => "brix",
            Channel::Ph => "ph",
            Channel::Conductivity => "conductivity",
            Channel::Temperature => "temperature",
            Channel::Level => "level",
        }
    }

    /// The channel of that name.
    pub fn named(name: &str) -> Option<Channel> {
        Channel::ALL.into_iter().find(|c| c.name() == name)
    }

    /// Standard deviation of a reading, in the channel's unit.
    const fn noise(self) -> f64 {
        match self {
            Channel::Brix => 0.04,
            Channel::Ph => 0.015,
            Channel::Conductivity => 8.0,
            Channel::Temperature => 0.08,
            Channel::Level => 1.5,
        }
    }

    /// Decimals that the instrument sends.
    const fn decimals(self) -> i32 {
        match self {
            Channel::Brix | Channel::Ph | Channel::Temperature => 2,
            Channel::Conductivity | Channel::Level => 1,
        }
    }

    /// What the instrument sends when `truth` stands before it.
    pub(super) fn read(self, truth: f64, chance: &mut Random) -> f64 {
        round_to(truth + self.noise() * chance.normal(), self.decimals())
    }
}

pub(super) fn round_to(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    (value * scale).round() / scale
}

/// One reading as an instrument sends it.
#[derive(Debug, Clone, PartialEq)]
pub struct SimReading {
    /// The sump.
    pub sump: Arc<str>,
    /// The instrument.
    pub channel: Channel,
    /// When it was taken.
    pub time: Timestamp,
    /// The value in the channel's unit.
    pub value: f64,
}

impl SimReading {
    /// The topic under which it is published.
    pub fn topic(&self) -> String {
        format!("instruments/{}/{}", self.sump, self.channel.name())
    }

    /// What is published: a JSON object with `value` and `time`.
    pub fn payload(&self) -> Vec<u8> {
        format!(r#"{{"value":{},"time":"{}"}}"#, self.value, self.time).into_bytes()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_go_out_as_json_with_their_own_time() {
        let reading = SimReading {
            sump: "mill-2".into(),
            channel: Channel::Brix,
            time: Timestamp::parse("2026-03-02T06:10:00Z").unwrap(),
            value: 3.52,
        };
        assert_eq!(reading.topic(), "instruments/mill-2/brix");
        assert_eq!(
            reading.payload(),
            br#"{"value":3.52,"time":"2026-03-02T06:10:00Z"}"#
        );
    }

    #[test]
    fn instruments_scatter_about_the_truth() {
        let mut chance = Random::for_part(3, "level");
        let read: Vec<f64> = (0..5000)
            .map(|_| Channel::Level.read(400.0, &mut chance) - 400.0)
            .collect();
        let mean = read.iter().sum::<f64>() / 5000.0;
        let deviation = (read.iter().map(|x| x * x).sum::<f64>() / 5000.0).sqrt();
        assert!(mean.abs() < 0.1, "{mean}");
        assert!((deviation - 1.5).abs() < 0.1, "{deviation}");
    }
}

//! The invented plant: six sumps, their losses and make-up, their instruments,
//! and what goes wrong with them.
//!
//! Promises: the same seed, timetable and actions give the same readings; what
//! goes in and out is kept as amounts, so that nothing is made and nothing
//! lost; [`Plant::truth`] tells what no instrument can. Refuses: a clock (time
//! is an argument), and any physics borrowed from the rooms that are held
//! against it.

mod fault;
mod instrument;
mod layout;
mod mix;
mod shift;
mod sump;
mod tank;

pub use fault::{Fault, Planned, timetable};
pub use instrument::{Channel, SimReading};
pub use layout::{FluidSpec, SUMPS, SumpSpec, TopUp};
pub use mix::Mix;
pub use sump::Flows;
pub use tank::{Heads, Tank};

use crate::units::{Brix, Span, Temperature, Timestamp};

use sump::Sump;

/// When the demo begins: 2026-03-02T06:00:00Z, a Monday, with the first shift.
pub const START: Timestamp = Timestamp::from_millis(1_772_431_200_000);

/// Time from one reading of an instrument to its next.
pub const READING_INTERVAL: Span = Span::from_mins(2);

/// Why something cannot be done in the plant.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlantError {
    /// There is no such sump.
    #[error("the plant has no sump \"{name}\"; it has {}", names())]
    UnknownSump {
        /// The name that was given.
        name: String,
    },
    /// An amount that cannot be.
    #[error("{sump}: {value} is no {what}; give a finite number from 0 up")]
    BadAmount {
        /// The sump.
        sump: String,
        /// What the amount was meant for.
        what: &'static str,
        /// The amount that was given.
        value: f64,
    },
    /// More is to be drained than there is.
    #[error("{sump}: {litres} L cannot be drained, there are {there:.1} L; drain less")]
    TooMuch {
        /// The sump.
        sump: String,
        /// The amount that was given, L.
        litres: f64,
        /// What there is, L.
        there: f64,
    },
}

fn names() -> String {
    SUMPS.map(|spec| spec.name).join(", ")
}

/// What is true of a sump, whatever its instruments say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Truth {
    /// Its fluid.
    pub mix: Mix,
    /// What went in and out since the start.
    pub flows: Flows,
    /// The fluid's temperature.
    pub temperature: Temperature,
}

/// The plant.
#[derive(Debug, Clone)]
pub struct Plant {
    now: Timestamp,
    sumps: Vec<Sump>,
}

impl Plant {
    /// The plant as it stands at `start`, with these faults ahead.
    pub fn new(seed: u64, start: Timestamp, plan: &[Planned]) -> Plant {
        Plant {
            now: start,
            sumps: SUMPS
                .iter()
                .map(|spec| Sump::new(spec, seed, start, plan))
                .collect(),
        }
    }

    /// The time that the plant has reached.
    pub fn now(&self) -> Timestamp {
        self.now
    }

    /// Lets time pass, and gives the readings taken up to and including
    /// `until`, in the order of their times. Readings lie
    /// [`READING_INTERVAL`] apart, counted from the start; the plant stops at
    /// the last of them, so that a call with an earlier or nearer time gives
    /// nothing and changes nothing.
    pub fn step(&mut self, until: Timestamp) -> Vec<SimReading> {
        let mut readings = Vec::new();
        while self.now + READING_INTERVAL <= until {
            self.now = self.now + READING_INTERVAL;
            for sump in &mut self.sumps {
                sump.advance(READING_INTERVAL, self.now);
                sump.report(self.now, &mut readings);
            }
        }
        readings
    }

    /// Pours in so many litres of premix; strength 0 is water, 100 concentrate
    /// as delivered. What does not fit runs over.
    ///
    /// # Errors
    /// When there is no such sump, or no such amount.
    pub fn add(&mut self, sump: &str, litres: f64, strength_pct: f64) -> Result<(), PlantError> {
        amount(sump, "volume in litres", litres)?;
        amount(sump, "strength in per cent", strength_pct)?;
        amount(sump, "strength of at most 100 %", 100.0 - strength_pct)?;
        let found = self.find(sump)?;
        found.put_in(litres, strength_pct);
        found.top_up_shut = false;
        Ok(())
    }

    /// Lets out so many litres of mix; the automatic top-up stays shut until
    /// something is added.
    ///
    /// # Errors
    /// When there is no such sump, or not so much in it.
    pub fn drain(&mut self, sump: &str, litres: f64) -> Result<(), PlantError> {
        amount(sump, "volume in litres", litres)?;
        let found = self.find(sump)?;
        let there = found.mix.volume_l();
        if litres > there {
            return Err(PlantError::TooMuch {
                sump: sump.to_owned(),
                litres,
                there,
            });
        }
        found.let_out(litres);
        found.top_up_shut = true;
        Ok(())
    }

    /// Wipes an instrument; `true` if that mended something.
    ///
    /// # Errors
    /// When there is no such sump.
    pub fn clean_probe(&mut self, sump: &str, channel: Channel) -> Result<bool, PlantError> {
        let found = self.find(sump)?;
        Ok(channel == Channel::Brix && found.faults.mend(Fault::FoulingProbe))
    }

    /// Mends a fault; `false` if it was not there.
    ///
    /// # Errors
    /// When there is no such sump.
    pub fn fix(&mut self, sump: &str, fault: Fault) -> Result<bool, PlantError> {
        Ok(self.find(sump)?.faults.mend(fault))
    }

    /// A reading with a hand refractometer, in steps of 0.1 °Bx and true to
    /// 0.1 °Bx. It was zeroed with pure water, so that the make-up water's own
    /// reading is in it as in the inline instrument's.
    ///
    /// # Errors
    /// When there is no such sump.
    pub fn hand_brix(&mut self, sump: &str) -> Result<Brix, PlantError> {
        Ok(Brix::from_degrees(self.find(sump)?.hand_brix()))
    }

    /// What is true of a sump.
    ///
    /// # Errors
    /// When there is no such sump.
    pub fn truth(&self, sump: &str) -> Result<Truth, PlantError> {
        let found = self.sumps.iter().find(|s| s.spec.name == sump);
        let found = found.ok_or_else(|| unknown(sump))?;
        Ok(Truth {
            mix: found.mix,
            flows: found.flows,
            temperature: Temperature::from_celsius(found.temperature_c()),
        })
    }

    fn find(&mut self, sump: &str) -> Result<&mut Sump, PlantError> {
        self.sumps
            .iter_mut()
            .find(|s| s.spec.name == sump)
            .ok_or_else(|| unknown(sump))
    }
}

fn unknown(sump: &str) -> PlantError {
    PlantError::UnknownSump {
        name: sump.to_owned(),
    }
}

fn amount(sump: &str, what: &'static str, value: f64) -> Result<(), PlantError> {
    match value.is_finite() && value >= 0.0 {
        true => Ok(()),
        false => Err(PlantError::BadAmount {
            sump: sump.to_owned(),
            what,
            value,
        }),
    }
}

#[cfg(test)]
mod settings_tests;
#[cfg(test)]
mod tests;

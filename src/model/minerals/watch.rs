//! The minerals of one sump from the first fill on.

use serde::{Deserialize, Serialize};

use super::content::Content;
use super::excess::{BaseLine, ConductivityExcess};
use super::setup::{Mineral, MineralSetup, Water};
use crate::units::{Concentration, Conductivity, Measured, Timestamp, Volume};

/// A fresh charge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charge<'a> {
    /// When it was filled.
    pub time: Timestamp,
    /// Volume of the sump.
    pub volume: Volume,
    /// Its strength.
    pub strength: Concentration,
    /// Its water; without one that of the settings.
    pub water: Option<&'a Water>,
}

/// Something that went into a sump or out of it, at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Movement<'a> {
    /// When.
    pub time: Timestamp,
    /// How much, L; below 0 it went out.
    pub litres: f64,
    /// Strength of what went in: 0 for water, 100 % for concentrate.
    pub strength: Concentration,
    /// The water in it; without one that of the settings.
    pub water: Option<&'a Water>,
}

/// The minerals of one sump: fixed memory, to be written and read again.
///
/// Call order: [`MineralWatch::carry_to`] brings it up to a time, and before
/// each movement and reading it must have been brought up to theirs; what is of
/// an earlier time counts as of then.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct MineralWatch {
    hardness: Content,
    chloride: Content,
    /// Content of the charge when it was filled, mg/L.
    first_hardness: Option<Measured>,
    first_chloride: Option<Measured>,
    base_line: BaseLine,
    /// Up to when losses are counted.
    carried_to: Option<Timestamp>,
}

impl MineralWatch {
    /// The sump was emptied and filled anew.
    pub fn begin(&mut self, setup: &MineralSetup, charge: &Charge<'_>) {
        let water = charge.water.or(setup.first_fill.as_deref());
        let of = |mineral| {
            let content = water.and_then(|water| water.content(mineral));
            Content::of_charge(charge.volume, charge.strength, content)
        };
        let (hardness, chloride) = (of(Mineral::Hardness), of(Mineral::Chloride));
        let conductivity = water.and_then(|water| water.conductivity);
        *self = MineralWatch {
            hardness,
            chloride,
            first_hardness: hardness.mg_l(charge.volume),
            first_chloride: chloride.mg_l(charge.volume),
            base_line: BaseLine::of_charge(charge.time, &setup.sheet, conductivity),
            carried_to: Some(charge.time),
        };
    }

    /// Counts the carry-off up to `time`; `volume` is that of the sump
    /// meanwhile.
    pub fn carry_to(&mut self, time: Timestamp, carry_off_l_d: Measured, volume: Volume) {
        let from = *self.carried_to.get_or_insert(time);
        if time > from {
            for mineral in Mineral::ALL {
                self.content_mut(mineral)
                    .carry_off(time - from, carry_off_l_d, volume);
            }
            self.carried_to = Some(time);
        }
    }

    /// Counts what went in or out; `volume` is that of the sump just before.
    pub fn move_in_or_out(
        &mut self,
        setup: &MineralSetup,
        movement: &Movement<'_>,
        volume: Volume,
    ) {
        let water = movement.water.or(setup.top_up.as_deref());
        let of_water = movement.litres * (1.0 - movement.strength.fraction());
        for mineral in Mineral::ALL {
            let brings = water.and_then(|water| water.content(mineral));
            let content = self.content_mut(mineral);
            if movement.litres < 0.0 {
                content.let_out(-movement.litres, volume);
            } else {
                content.put_in(movement.time, of_water, brings);
            }
        }
    }

    /// Takes back what was counted as gone in or out, once another account of it
    /// counts; `volume` is that of the sump just before. What came of water of
    /// unknown content stays unknown until the next reading.
    pub fn take_back(&mut self, setup: &MineralSetup, movement: &Movement<'_>, volume: Volume) {
        let water = movement.water.or(setup.top_up.as_deref());
        let of_water = movement.litres * (1.0 - movement.strength.fraction());
        for mineral in Mineral::ALL {
            let brought = water.and_then(|water| water.content(mineral));
            let content = self.content_mut(mineral);
            if movement.litres < 0.0 {
                content.back_in(-movement.litres, volume);
            } else if let Some(brought) = brought {
                content.back_out(of_water, brought);
            }
        }
    }

    /// Takes in a reading of the mix by hand or from a laboratory, mg/L.
    pub fn read(&mut self, mineral: Mineral, time: Timestamp, reading: Measured, volume: Volume) {
        self.content_mut(mineral).correct(time, reading, volume);
    }

    /// Takes in what conducts now, for the base line of the charge.
    pub fn sense(&mut self, time: Timestamp, seen: Conductivity, at: Concentration) {
        self.base_line.step(time, seen, at);
    }

    /// Conductivity against its base line, where that is known.
    pub fn excess(
        &self,
        setup: &MineralSetup,
        seen: Conductivity,
        at: Concentration,
    ) -> Option<ConductivityExcess> {
        self.base_line.excess(&setup.sheet, setup.excess, seen, at)
    }

    /// Content of the mix, mg/L, where it is followed.
    pub fn content(&self, mineral: Mineral, volume: Volume) -> Option<Measured> {
        self.tracer(mineral).mg_l(volume)
    }

    /// Whether the content was followed and is not known any more.
    pub fn is_lost(&self, mineral: Mineral) -> bool {
        matches!(self.tracer(mineral), Content::Lost { .. })
    }

    pub(super) fn tracer(&self, mineral: Mineral) -> &Content {
        match mineral {
            Mineral::Hardness => &self.hardness,
            Mineral::Chloride => &self.chloride,
        }
    }

    /// Content of the charge when it was filled, mg/L.
    pub(super) fn at_first_fill(&self, mineral: Mineral) -> Option<Measured> {
        match mineral {
            Mineral::Hardness => self.first_hardness,
            Mineral::Chloride => self.first_chloride,
        }
    }

    fn content_mut(&mut self, mineral: Mineral) -> &mut Content {
        match mineral {
            Mineral::Hardness => &mut self.hardness,
            Mineral::Chloride => &mut self.chloride,
        }
    }
}

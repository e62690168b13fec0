//! From the number that an instrument reports to a value in its channel's unit.

use std::ops::RangeInclusive;

use crate::chemistry::{ConductivityProbe, Electrode, Refractometer, ShownBrix};
use crate::signal::LoopRange;
use crate::units::{Brix, Conductivity, Ph, Potential, Temperature};

use super::event::{Form, Quality, Reading};
use super::watch::SumpWatch;

/// No instrument reports a larger number. Choice: far beyond all, and products
/// of such numbers are still finite.
const LARGEST: f64 = 1e15;

/// Where conductivity is taken to be as long as no temperature is known, so that
/// it is left as it is.
const CONDUCTIVITY_REFERENCE: Temperature = Temperature::from_celsius(25.0);

/// What lies between the instrument's number and the channel's unit. It is
/// applied once, to what comes from the instrument; what is stored is in the
/// channel's unit already.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct InputSetup {
    /// The range of an instrument on a 4–20 mA loop: then the number that comes
    /// in is the current in mA, and what follows applies to what it stands for.
    pub current_loop: Option<LoopRange>,
    /// How the instrument is calibrated.
    pub calibration: Calibration,
    /// Place of the channel whose temperature the calibration needs.
    pub temperature: Option<u16>,
}

/// How an instrument is calibrated.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Calibration {
    /// It reports in the channel's unit.
    #[default]
    InUnit,
    /// It reports the potential of a pH electrode, in mV.
    Electrode {
        /// The electrode as it was found.
        electrode: Electrode,
        /// The temperature at which it was found so.
        calibrated_at: Temperature,
    },
    /// It reports conductivity or conductance.
    Probe(ConductivityProbe),
    /// It reports what a refractometer shows, in °Bx.
    Refractometer(Refractometer),
}

/// Whether a reading is of about now, as the temperature is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum When {
    /// It is.
    Now,
    /// It is older; what the temperature was then is not known.
    Before,
}

impl SumpWatch {
    /// The reading's value in the channel's unit, and what was found on the way.
    #[inline]
    pub(super) fn settle(&self, reading: &Reading, when: When) -> (f64, Quality) {
        match reading.form {
            Form::Settled => (reading.value, Quality::GOOD),
            Form::Reported => self.calibrate(usize::from(reading.channel), reading.value, when),
        }
    }

    /// What the instrument's number stands for.
    ///
    /// Where the temperature is doubted, silent, of another time or outside of
    /// what the compensation holds for, the last known one is taken, or the
    /// nearest that it holds for, and the value is unsure: a jump to another
    /// temperature would be worse. Where none was ever heard, pH is taken at
    /// the temperature of the calibration and conductivity is left as it is,
    /// both unsure; a refractometer's reading may then be wrong by as much as a
    /// dose, and so is bad.
    #[inline]
    pub(super) fn calibrate(&self, channel: usize, reported: f64, when: When) -> (f64, Quality) {
        let input = &self.setup.channels[channel].input;
        if matches!(input.calibration, Calibration::InUnit) {
            return (reported, Quality::GOOD);
        }
        let worked_out = if reported.abs() <= LARGEST {
            self.work_out(input, reported, when)
        } else {
            None
        };
        worked_out.unwrap_or((reported, Quality::FAULT))
    }

    fn work_out(&self, input: &InputSetup, given: f64, when: When) -> Option<(f64, Quality)> {
        let known = |holds| self.temperature(input, holds, when);
        match input.calibration {
            Calibration::InUnit => Some((given, Quality::GOOD)),
            Calibration::Electrode {
                electrode,
                calibrated_at,
            } => {
                let known = known(electrode.holds_c());
                let (temperature, marks) = known.unwrap_or((calibrated_at, Quality::UNSURE));
                let ph = electrode.ph(Potential::from_millivolts(given), temperature);
                Some((ph.ok().map(Ph::units)?, marks))
            }
            Calibration::Probe(probe) => {
                let needed = probe.compensation();
                let (temperature, marks) = match needed.map(|needed| known(needed.holds_c())) {
                    None => (CONDUCTIVITY_REFERENCE, Quality::GOOD),
                    Some(None) => (CONDUCTIVITY_REFERENCE, Quality::UNSURE),
                    Some(Some(known)) => known,
                };
                let at_25 = probe.at_25(given, temperature).ok();
                Some((at_25.map(Conductivity::microsiemens_per_cm)?, marks))
            }
            Calibration::Refractometer(instrument) => {
                let compensation = instrument.compensation();
                let (temperature, marks) = if compensation.needs_temperature() {
                    let (temperature, marks) = known(compensation.holds_c())?;
                    (Some(temperature), marks)
                } else {
                    (None, Quality::GOOD)
                };
                let shown = ShownBrix(Brix::from_degrees(given));
                let at_20 = instrument.corrected(shown, temperature).ok()?;
                Some((at_20.degrees(), marks))
            }
        }
    }

    /// The temperature that a calibration needs, brought into the range that it
    /// holds for, and whether it is sure. None when it was never heard.
    fn temperature(
        &self,
        input: &InputSetup,
        holds_c: RangeInclusive<f64>,
        when: When,
    ) -> Option<(Temperature, Quality)> {
        let channel = usize::from(input.temperature?);
        let celsius = self.value_of(channel)?;
        let fresh = when == When::Now && self.usable(channel).is_some();
        let marks = if fresh && holds_c.contains(&celsius) {
            Quality::GOOD
        } else {
            Quality::UNSURE
        };
        let held = celsius.clamp(*holds_c.start(), *holds_c.end());
        Some((Temperature::from_celsius(held), marks))
    }
}

//! From the number that an instrument reports to a value in its channel's unit.

use super::event::{Form, Quality, Reading};
use super::watch::SumpWatch;

/// What lies between the instrument's number and the channel's unit. It is
/// applied once, to what comes from the instrument; what is stored is in the
/// channel's unit already.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct InputSetup {
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
}

impl SumpWatch {
    /// The reading's value in the channel's unit, and what was found on the way.
    #[inline]
    pub(super) fn settle(&self, reading: &Reading) -> (f64, Quality) {
        match reading.form {
            Form::Settled => (reading.value, Quality::GOOD),
            Form::Reported => self.calibrate(usize::from(reading.channel), reading.value),
        }
    }

    /// What the instrument's number stands for.
    #[inline]
    pub(super) fn calibrate(&self, channel: usize, reported: f64) -> (f64, Quality) {
        match &self.setup.channels[channel].input.calibration {
            Calibration::InUnit => (reported, Quality::GOOD),
        }
    }
}

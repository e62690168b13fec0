//! How an instrument is calibrated: from what people noted when they held it
//! into buffers, standards or water.
//!
//! Promises: whatever is compensated for is compensated once, by the instrument
//! or here; what is usable and not good is remarked upon, not refused. Refuses:
//! a second compensation, and calibrations that no working instrument gives.

mod conductivity;
mod ph;
mod refractometer;

use jiff::civil::Date;

use crate::engine::{FluidSetup, InputSetup};
use crate::units::{Conductance, Linear, Parse, Potential, Quantity, QuantityError, Temperature};

use super::key_path::KeyPath;
use super::measure;
use super::problem::Problem;
use super::raw::{RawCalibration, RawChannel};
use super::review::Review;

/// What a calibration can refer to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Around<'a> {
    /// The fluid in the sump, where it is known.
    pub(super) fluid: Option<&'a FluidSetup>,
    /// The sump's channels of temperature: name and place.
    pub(super) thermometers: &'a [(String, u16)],
}

/// What the number of an instrument is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reports {
    /// A value of the channel's quantity.
    Quantity,
    /// The potential of a pH electrode.
    Potential,
    /// The conductance of a cell.
    Conductance,
}

impl Reports {
    /// What the channel's instrument reports.
    pub(super) fn of(raw: &RawChannel, quantity: Quantity) -> Self {
        let Some(calibration) = &raw.calibration else {
            return Reports::Quantity;
        };
        let unit = raw.unit.as_deref().unwrap_or_default();
        let in_siemens = Conductance::unit_conversion(unit).is_ok();
        match quantity {
            Quantity::Ph => Reports::Potential,
            Quantity::Conductivity if in_siemens || calibration.cell_constant.is_some() => {
                Reports::Conductance
            }
            _ => Reports::Quantity,
        }
    }

    /// The way from a number in `unit` to the unit that a calibration of
    /// `quantity` takes.
    pub(super) fn unit_conversion(
        self,
        quantity: Quantity,
        unit: &str,
    ) -> Result<Linear, QuantityError> {
        match self {
            Reports::Quantity => quantity.unit_conversion(unit),
            Reports::Potential => Potential::unit_conversion(unit),
            Reports::Conductance => Conductance::unit_conversion(unit),
        }
    }
}

/// Who takes the temperature out of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Compensated {
    ByInstrument,
    Here,
}

/// What is written for an instrument that compensates itself.
const BY_INSTRUMENT: &str = "by_instrument";

impl Compensated {
    fn of(raw: &RawCalibration) -> Self {
        if raw.compensation.as_deref() == Some(BY_INSTRUMENT) {
            Compensated::ByInstrument
        } else {
            Compensated::Here
        }
    }
}

/// What lies between the number of the channel's instrument and its unit.
pub(super) fn input(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    quantity: Quantity,
    around: Around<'_>,
) -> Option<InputSetup> {
    let Some(raw_calibration) = &raw.calibration else {
        return Some(InputSetup::default());
    };
    let at = at.key("calibration");
    let date = date(review, &at, raw_calibration);
    let desk = Desk {
        at: &at,
        raw: raw_calibration,
        date: date.flatten(),
        compensated: Compensated::of(raw_calibration),
    };
    let fits = desk.refuse_keys_of_others(review, quantity);
    let calibration = match quantity {
        Quantity::Ph => desk.electrode(review),
        Quantity::Conductivity => desk.probe(review, Reports::of(raw, quantity)),
        Quantity::Brix => desk.refractometer(review, around.fluid),
        _ => {
            let wanted = "quantity = \"ph\", \"conductivity\" or \"brix\"";
            review.tell(&at, Problem::OnlyFor(wanted));
            return None;
        }
    };
    let temperature = desk.thermometer(review, around.thermometers);
    date?;
    fits?;
    Some(InputSetup {
        calibration: calibration?,
        temperature: temperature?,
        ..InputSetup::default()
    })
}

fn date(review: &mut Review, at: &KeyPath, raw: &RawCalibration) -> Option<Option<Date>> {
    let Some(text) = &raw.date else {
        return Some(None);
    };
    review.good(&at.key("date"), measure::date(text)).map(Some)
}

/// One calibration while its values are being read.
struct Desk<'a> {
    at: &'a KeyPath,
    raw: &'a RawCalibration,
    date: Option<Date>,
    compensated: Compensated,
}

impl Desk<'_> {
    fn path(&self, key: &str) -> KeyPath {
        self.at.key(key)
    }

    /// The temperature of the buffers, the standard or the water.
    fn temperature(&self, review: &mut Review, example: &'static str) -> Option<Temperature> {
        let written = self.raw.temperature.as_ref();
        let path = self.path("temperature");
        let temperature = review.needed(&path, written, Temperature::parse, example)?;
        let shown = |celsius| format!("{celsius} °C");
        review.within(&path, temperature.celsius(), (0.0, 100.0), shown)?;
        Some(temperature)
    }

    /// Place of the channel whose temperature is taken.
    fn thermometer(
        &self,
        review: &mut Review,
        thermometers: &[(String, u16)],
    ) -> Option<Option<u16>> {
        let path = self.path("temperature_channel");
        match (self.compensated, self.raw.temperature_channel.as_deref()) {
            (Compensated::ByInstrument, None) => Some(None),
            (Compensated::ByInstrument, Some(_)) => {
                review.tell(&path, Problem::CompensatedTwice);
                None
            }
            (Compensated::Here, None) => match thermometers.first() {
                Some((_, place)) => Some(Some(*place)),
                None => {
                    review.tell(self.at, Problem::NoThermometer);
                    None
                }
            },
            (Compensated::Here, Some(name)) => {
                let named = thermometers.iter().find(|(known, _)| known == name);
                if named.is_none() {
                    let known = thermometers.iter().map(|(known, _)| known.as_str());
                    review.unknown_name(&path, "channel of temperature", name, known);
                }
                named.map(|(_, place)| Some(*place))
            }
        }
    }

    /// Tells every key that has no meaning for this quantity.
    fn refuse_keys_of_others(&self, review: &mut Review, quantity: Quantity) -> Option<()> {
        const PH: &str = "quantity = \"ph\"";
        const CONDUCTIVITY: &str = "quantity = \"conductivity\"";
        const BRIX: &str = "quantity = \"brix\"";
        const COEFFICIENT: &str =
            "quantity = \"conductivity\"; a mix's stands in the data sheet of its fluid";
        const COMPENSATION: &str = "quantity = \"conductivity\" or \"brix\"";
        let (ph, conductivity, brix) = (
            quantity == Quantity::Ph,
            quantity == Quantity::Conductivity,
            quantity == Quantity::Brix,
        );
        let raw = self.raw;
        let keys = [
            ("points", raw.points.is_some(), ph, PH),
            ("buffers", raw.buffers.is_some(), ph, PH),
            ("offset", raw.offset.is_some(), ph, PH),
            ("slope", raw.slope.is_some(), ph, PH),
            (
                "standard",
                raw.standard.is_some(),
                conductivity,
                CONDUCTIVITY,
            ),
            ("shown", raw.shown.is_some(), conductivity, CONDUCTIVITY),
            (
                "cell_constant",
                raw.cell_constant.is_some(),
                conductivity,
                CONDUCTIVITY,
            ),
            (
                "coefficient",
                raw.coefficient.is_some(),
                conductivity,
                COEFFICIENT,
            ),
            ("zero", raw.zero.is_some(), brix, BRIX),
            ("span", raw.span.is_some(), brix, BRIX),
            (
                "compensation",
                raw.compensation.is_some(),
                conductivity || brix,
                COMPENSATION,
            ),
        ];
        // A table that is for no such quantity at all is told as a whole.
        let known = ph || conductivity || brix;
        let wrong = keys
            .iter()
            .filter(|(_, given, fits, _)| known && *given && !fits);
        let told = wrong
            .map(|(key, _, _, whose)| review.tell(&self.path(key), Problem::OnlyFor(whose)))
            .count();
        (told == 0).then_some(())
    }

    /// Nothing, after having told that `key` is only for what `whose` says,
    /// where it is given.
    fn refuse(
        &self,
        review: &mut Review,
        key: &str,
        given: bool,
        whose: &'static str,
    ) -> Option<()> {
        if given {
            review.tell(&self.path(key), Problem::OnlyFor(whose));
        }
        (!given).then_some(())
    }

    /// Nothing, after having told it, where `key` asks for what the instrument
    /// does itself.
    fn refuse_twice(&self, review: &mut Review, key: &str, given: bool) -> Option<()> {
        if given {
            review.tell(&self.path(key), Problem::CompensatedTwice);
        }
        (!given).then_some(())
    }
}

//! The values that a rule can ask for, and what the engine fills in for them.

use std::sync::Arc;

use crate::units::Quantity;

use super::kind::{Kind, OwnValue};
use Whence::{Beside, Fluid, Signal};

/// The days of a week as rules write them, Monday first; the words of shifts.
pub const WEEKDAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

/// A value with a name.
#[derive(Debug, Clone)]
pub struct OwnName {
    /// How it is written.
    pub name: &'static str,
    /// Its unit; empty where it has none.
    pub unit: &'static str,
    /// What it is, in words.
    pub what: &'static str,
    pub(super) whence: Whence,
    pub(super) read: Asked,
}

/// Where a value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Whence {
    /// An instrument of one of these quantities, and nothing else.
    Signal(&'static [Quantity]),
    /// The fluid otherwise: read by hand, found by a laboratory, followed by the
    /// model.
    Fluid,
    /// The settings, the pumps, entries or the clock.
    Beside,
}

impl OwnName {
    /// Every name, in the order in which they are listed to people.
    pub const ALL: &'static [OwnName] = NAMES;

    /// Its kind.
    pub fn kind(&self) -> Kind {
        self.read.kind()
    }

    pub(super) fn find(name: &str) -> Option<&'static OwnName> {
        NAMES.iter().find(|known| known.name == name)
    }
}

/// Declares every value once: its field in the inputs, its name, its words.
macro_rules! names {
    (@read Number $name:ident) => {
        Asked::Number(NumberSource::Value(|inputs| inputs.$name))
    };
    (@read Truth $name:ident) => {
        Asked::Truth(TruthSource::Value(|inputs| inputs.$name))
    };
    (@read $kind:ident $name:ident) => {
        Asked::$kind(|inputs| inputs.$name)
    };
    ($($name:ident: $kind:ident($type:ty), $whence:expr, $unit:literal, $what:literal;)*) => {
        /// What rules can ask for at one time of a sump; `None` is a value that
        /// is not there.
        #[derive(Debug, Clone, Default, PartialEq)]
        pub struct OwnInputs {
            $(
                #[doc = concat!($what, " (", $unit, ").")]
                pub $name: Option<$type>,
            )*
            /// Names of the conditions that hold.
            pub active: Vec<Arc<str>>,
            /// Minutes since the newest usable reading, by place of the
            /// quantity; see [`OwnInputs::set_since_reading`].
            pub since_reading: [Option<f64>; Quantity::ALL.len()],
            /// Minutes since the newest entry, by place of its kind; see
            /// [`OwnInputs::set_since_entry`].
            pub since_entry: [Option<f64>; OwnEntry::ALL.len()],
        }

        const NAMES: &[OwnName] = &[$(OwnName {
            name: stringify!($name),
            unit: $unit,
            what: $what,
            whence: $whence,
            read: names!(@read $kind $name),
        },)*];
    };
}

/// Signals that more than one quantity gives: what is measured, or what stands in
/// its place.
pub(super) const CONCENTRATION: Whence = Signal(&[Quantity::Brix, Quantity::Concentration]);
pub(super) const VOLUME: Whence = Signal(&[Quantity::Level, Quantity::Volume]);

names! {
    concentration: Number(f64), CONCENTRATION, "%", "concentration by volume, as the sump's page tells it";
    target: Number(f64), Beside, "%", "concentration that is wanted";
    window_low: Number(f64), Beside, "%", "lowest concentration of the window";
    window_high: Number(f64), Beside, "%", "highest concentration of the window";
    brix: Number(f64), Signal(&[Quantity::Brix]), "°Bx", "refractometer reading";
    ph: Number(f64), Signal(&[Quantity::Ph]), "pH", "acidity";
    conductivity: Number(f64), Signal(&[Quantity::Conductivity]), "µS/cm", "conductivity at 25 °C";
    temperature: Number(f64), Signal(&[Quantity::Temperature]), "°C", "temperature of the fluid";
    level: Number(f64), Signal(&[Quantity::Level]), "m", "level above the lowest inside point of the vessel";
    volume: Number(f64), VOLUME, "L", "volume of fluid in the sump";
    working_volume: Number(f64), Beside, "L", "volume that the sump is to be kept at";
    filled: Number(f64), VOLUME, "%", "volume as a share of the working volume";
    flow: Number(f64), Signal(&[Quantity::Flow]), "L/min", "flow";
    pressure: Number(f64), Signal(&[Quantity::Pressure]), "bar", "pressure";
    dissolved_oxygen: Number(f64), Signal(&[Quantity::DissolvedOxygen]), "mg/L", "dissolved oxygen";
    redox: Number(f64), Signal(&[Quantity::Redox]), "mV", "redox potential";
    hardness: Number(f64), Fluid, "mg/L CaCO3", "total hardness";
    chloride: Number(f64), Fluid, "mg/L", "chloride";
    nitrite: Number(f64), Fluid, "mg/L", "nitrite";
    bacteria: Number(f64), Fluid, "CFU/mL", "bacteria by dip slide";
    fungi: Number(f64), Fluid, "CFU/mL", "yeasts and moulds by dip slide";
    tramp_oil: Number(f64), Fluid, "%", "oil that is not part of the mix";
    evaporation: Number(f64), Fluid, "L/d", "water that evaporates";
    carry_off: Number(f64), Fluid, "L/d", "mix that leaves with parts and chips";
    beyond_usual: Number(f64), Fluid, "L/h", "loss beyond what is usual; below 0 a gain";
    holding_strength: Number(f64), Fluid, "%", "strength of make-up that holds the concentration";
    ph_per_week: Number(f64), Fluid, "pH/week", "change of pH by its course of two weeks";
    days_to_low_volume: Number(f64), Fluid, "d", "time until the volume reaches its lower limit";
    days_to_high_concentration: Number(f64), Fluid, "d", "time until the concentration reaches its upper limit";
    days_to_low_ph: Number(f64), Fluid, "d", "time until pH reaches its lower limit";
    charge_age: Number(f64), Beside, "d", "time since the charge began";
    concentrate_used: Number(f64), Beside, "L", "concentrate that went in since the charge began";
    water_used: Number(f64), Beside, "L", "water that went in since the charge began";
    pumps_run: Truth(bool), Beside, "", "whether the circulation pumps run";
    pumps_minutes: Number(f64), Beside, "min", "time since the pumps last started or stopped";
    mixing: Truth(bool), Beside, "", "whether an addition is being mixed in";
    in_shift: Truth(bool), Beside, "", "whether a shift of the sump is on";
    hour: Whole(i64), Beside, "h", "hour of the day in the plant's zone, 0 to 23";
    minute: Whole(i64), Beside, "min", "minute of that hour, 0 to 59";
    weekday: Weekday(&'static str), Beside, "", "day of the week in the plant's zone, mon to sun";
}

impl OwnInputs {
    /// Tells how many minutes ago the newest usable reading of a quantity was.
    pub fn set_since_reading(&mut self, quantity: Quantity, minutes: f64) {
        self.since_reading[quantity as usize] = Some(minutes);
    }

    /// Tells how many minutes ago the newest entry of a kind was.
    pub fn set_since_entry(&mut self, entry: OwnEntry, minutes: f64) {
        self.since_entry[entry as usize] = Some(minutes);
    }
}

/// Kinds of entry that a rule can ask for, by the words of entries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OwnEntry {
    /// A value taken by hand.
    HandReading,
    /// What nose and eyes say.
    Impression,
    /// Water, concentrate or premix put in.
    Addition,
    /// Mix let out.
    Drained,
    /// The sump cleaned out.
    Cleaned,
    /// The sump filled anew.
    Recharged,
    /// Tramp oil skimmed off.
    Skimmed,
    /// A probe cleaned.
    ProbeCleaned,
    /// A probe calibrated.
    ProbeCalibrated,
    /// Free words.
    Note,
}

impl OwnEntry {
    /// Every kind.
    pub const ALL: [OwnEntry; 10] = [
        OwnEntry::HandReading,
        OwnEntry::Impression,
        OwnEntry::Addition,
        OwnEntry::Drained,
        OwnEntry::Cleaned,
        OwnEntry::Recharged,
        OwnEntry::Skimmed,
        OwnEntry::ProbeCleaned,
        OwnEntry::ProbeCalibrated,
        OwnEntry::Note,
    ];

    /// Its word.
    pub const fn name(self) -> &'static str {
        match self {
            OwnEntry::HandReading => "hand_reading",
            OwnEntry::Impression => "impression",
            OwnEntry::Addition => "addition",
            OwnEntry::Drained => "drained",
            OwnEntry::Cleaned => "cleaned",
            OwnEntry::Recharged => "recharged",
            OwnEntry::Skimmed => "skimmed",
            OwnEntry::ProbeCleaned => "probe_cleaned",
            OwnEntry::ProbeCalibrated => "probe_calibrated",
            OwnEntry::Note => "note",
        }
    }
}

/// Something that a rule asks for, by its kind, and where it comes from.
#[derive(Debug, Clone)]
pub(super) enum Asked {
    Number(NumberSource),
    Whole(fn(&OwnInputs) -> Option<i64>),
    Truth(TruthSource),
    Weekday(fn(&OwnInputs) -> Option<&'static str>),
}

impl Asked {
    pub(super) fn kind(&self) -> Kind {
        match self {
            Asked::Number(_) => Kind::Number,
            Asked::Whole(_) => Kind::Whole,
            Asked::Truth(_) => Kind::Truth,
            Asked::Weekday(_) => Kind::Word,
        }
    }

    pub(super) fn read(&self, inputs: &OwnInputs) -> Option<OwnValue> {
        match self {
            Asked::Number(source) => source.read(inputs).map(OwnValue::Number),
            Asked::Whole(read) => read(inputs).map(OwnValue::Whole),
            Asked::Truth(source) => source.read(inputs).map(OwnValue::Truth),
            Asked::Weekday(read) => read(inputs).map(OwnValue::Word),
        }
    }
}

/// Where a number comes from.
#[derive(Debug, Clone, Copy)]
pub(super) enum NumberSource {
    Value(fn(&OwnInputs) -> Option<f64>),
    SinceReading(Quantity),
    SinceEntry(OwnEntry),
}

impl NumberSource {
    /// The number; one that is not finite is not there.
    pub(super) fn read(self, inputs: &OwnInputs) -> Option<f64> {
        let number = match self {
            NumberSource::Value(read) => read(inputs),
            NumberSource::SinceReading(quantity) => inputs.since_reading[quantity as usize],
            NumberSource::SinceEntry(entry) => inputs.since_entry[entry as usize],
        };
        number.filter(|number| number.is_finite())
    }
}

/// Where a truth comes from.
#[derive(Debug, Clone)]
pub(super) enum TruthSource {
    Value(fn(&OwnInputs) -> Option<bool>),
    Active(Arc<str>),
}

impl TruthSource {
    pub(super) fn read(&self, inputs: &OwnInputs) -> Option<bool> {
        match self {
            TruthSource::Value(read) => read(inputs),
            TruthSource::Active(condition) => Some(inputs.active.contains(condition)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_told_apart_and_fit_the_quantities() {
        for (place, name) in NAMES.iter().enumerate() {
            assert!(NAMES[..place].iter().all(|other| other.name != name.name));
        }
        for quantity in Quantity::ALL {
            if let Some(name) = OwnName::find(quantity.name()) {
                assert_eq!(name.unit, quantity.unit(), "{}", name.name);
            }
        }
    }

    #[test]
    fn places_of_readings_and_entries_are_their_own() {
        let mut inputs = OwnInputs::default();
        for (place, quantity) in Quantity::ALL.into_iter().enumerate() {
            inputs.set_since_reading(quantity, place as f64);
        }
        for (place, entry) in OwnEntry::ALL.into_iter().enumerate() {
            inputs.set_since_entry(entry, place as f64);
        }
        for (place, quantity) in Quantity::ALL.into_iter().enumerate() {
            let read = NumberSource::SinceReading(quantity).read(&inputs);
            assert_eq!(read, Some(place as f64));
        }
        for (place, entry) in OwnEntry::ALL.into_iter().enumerate() {
            let read = NumberSource::SinceEntry(entry).read(&inputs);
            assert_eq!(read, Some(place as f64));
        }
    }
}

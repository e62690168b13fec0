//! The quantities of the trade as types. Each holds one finite number in one
//! unit, named in its constructor and its getter.

use std::fmt;

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $from:ident, $to:ident, $unit:literal, $decimals:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("From a finite number in ", $unit, ".")]
            pub const fn $from(value: f64) -> Self {
                debug_assert!(value.is_finite());
                $name(value)
            }
            #[doc = concat!("The number in ", $unit, ".")]
            pub const fn $to(self) -> f64 {
                self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                let decimals = f.precision().unwrap_or($decimals);
                write!(f, "{:.*} {}", decimals, self.0, $unit)
            }
        }
    };
}

quantity!(
    /// A volume of fluid.
    Volume, from_litres, litres, "L", 1
);
quantity!(
    /// The share of concentrate in a mix, in per cent by volume.
    Concentration, from_percent, percent, "%", 2
);
quantity!(
    /// A refractometer reading on the Brix scale (ICUMSA 1974, 20 °C, 589 nm).
    Brix, from_degrees, degrees, "°Bx", 2
);
quantity!(
    /// A temperature.
    Temperature, from_celsius, celsius, "°C", 1
);
quantity!(
    /// A length or a level.
    Length, from_metres, metres, "m", 3
);
quantity!(
    /// A flow of fluid.
    Flow, from_litres_per_minute, litres_per_minute, "L/min", 1
);
quantity!(
    /// Fluid that a sump loses, or is given, over days.
    LossRate, from_litres_per_day, litres_per_day, "L/d", 1
);
quantity!(
    /// Electrical conductivity referred to 25 °C.
    Conductivity, from_microsiemens_per_cm, microsiemens_per_cm, "µS/cm", 0
);
quantity!(
    /// Electrical conductivity at the temperature that the fluid has.
    ConductivityAsIs, from_microsiemens_per_cm, microsiemens_per_cm, "µS/cm", 0
);
quantity!(
    /// The conductance between the electrodes of a cell.
    Conductance, from_microsiemens, microsiemens, "µS", 1
);
quantity!(
    /// What turns the conductance of a cell into conductivity.
    CellConstant, from_per_cm, per_cm, "1/cm", 4
);
quantity!(
    /// A change with temperature, in per cent of the value at the reference
    /// temperature.
    RelativeCoefficient, from_percent_per_kelvin, percent_per_kelvin, "%/K", 2
);
quantity!(
    /// A change of a refractometer's reading with temperature.
    BrixCoefficient, from_degrees_per_kelvin, degrees_per_kelvin, "°Bx/K", 3
);
quantity!(
    /// Calcium and magnesium in water, as calcium carbonate.
    Hardness, from_mg_per_l, mg_per_l, "mg/L CaCO3", 0
);
quantity!(
    /// A substance dissolved in water.
    Content, from_mg_per_l, mg_per_l, "mg/L", 1
);
quantity!(
    /// The potential of an electrode against its reference.
    Potential, from_millivolts, millivolts, "mV", 1
);
quantity!(
    /// An acidity on the pH scale.
    Ph, from_units, units, "pH", 2
);
quantity!(
    /// The current of an instrument's loop.
    Current, from_milliamperes, milliamperes, "mA", 2
);

impl Concentration {
    /// As a share between 0 and 1.
    pub const fn fraction(self) -> f64 {
        self.0 / 100.0
    }
    /// From a share between 0 and 1.
    pub const fn from_fraction(share: f64) -> Self {
        Self::from_percent(share * 100.0)
    }
}

/// What a channel or a person measures. Each has one unit in which its values
/// are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Refractometer reading, °Bx.
    Brix,
    /// Concentration by volume, %.
    Concentration,
    /// Acidity, pH.
    Ph,
    /// Conductivity at 25 °C, µS/cm.
    Conductivity,
    /// Temperature, °C.
    Temperature,
    /// Level above the lowest inside point of the vessel, m.
    Level,
    /// Volume of fluid in the sump, L.
    Volume,
    /// Total hardness, as mg/L of calcium carbonate.
    Hardness,
    /// Chloride, mg/L.
    Chloride,
    /// Nitrite, mg/L.
    Nitrite,
    /// Bacteria by dip slide, colony-forming units a millilitre.
    Bacteria,
    /// Yeasts and moulds by dip slide, colony-forming units a millilitre.
    Fungi,
    /// Oil that is not part of the mix, % by volume.
    TrampOil,
    /// Dissolved oxygen, mg/L.
    DissolvedOxygen,
    /// Redox potential, mV.
    Redox,
    /// Flow, L/min.
    Flow,
    /// Pressure, or pressure across a filter, bar.
    Pressure,
    /// What has run through a meter since it began to count, L.
    Metered,
    /// On (1) or off (0): a pump, a valve, a door.
    State,
}

impl Quantity {
    /// Every quantity, in the order in which they are listed to people.
    pub const ALL: [Quantity; 19] = [
        Quantity::Brix,
        Quantity::Concentration,
        Quantity::Ph,
        Quantity::Conductivity,
        Quantity::Temperature,
        Quantity::Level,
        Quantity::Volume,
        Quantity::Hardness,
        Quantity::Chloride,
        Quantity::Nitrite,
        Quantity::Bacteria,
        Quantity::Fungi,
        Quantity::TrampOil,
        Quantity::DissolvedOxygen,
        Quantity::Redox,
        Quantity::Flow,
        Quantity::Pressure,
        Quantity::Metered,
        Quantity::State,
    ];

    /// The unit in which values of this quantity are kept; empty for a state.
    pub const fn unit(self) -> &'static str {
        match self {
            Quantity::Brix => "°Bx",
            Quantity::Concentration | Quantity::TrampOil => "%",
            Quantity::Ph => "pH",
            Quantity::Conductivity => "µS/cm",
            Quantity::Temperature => "°C",
            Quantity::Level => "m",
            Quantity::Volume | Quantity::Metered => "L",
            Quantity::Hardness => "mg/L CaCO3",
            Quantity::Chloride | Quantity::Nitrite | Quantity::DissolvedOxygen => "mg/L",
            Quantity::Bacteria | Quantity::Fungi => "CFU/mL",
            Quantity::Redox => "mV",
            Quantity::Flow => "L/min",
            Quantity::Pressure => "bar",
            Quantity::State => "",
        }
    }

    /// The name used in settings, topics and series.
    pub const fn name(self) -> &'static str {
        match self {
            Quantity::Brix => "brix",
            Quantity::Concentration => "concentration",
            Quantity::Ph => "ph",
            Quantity::Conductivity => "conductivity",
            Quantity::Temperature => "temperature",
            Quantity::Level => "level",
            Quantity::Volume => "volume",
            Quantity::Hardness => "hardness",
            Quantity::Chloride => "chloride",
            Quantity::Nitrite => "nitrite",
            Quantity::Bacteria => "bacteria",
            Quantity::Fungi => "fungi",
            Quantity::TrampOil => "tramp_oil",
            Quantity::DissolvedOxygen => "dissolved_oxygen",
            Quantity::Redox => "redox",
            Quantity::Flow => "flow",
            Quantity::Pressure => "pressure",
            Quantity::Metered => "metered",
            Quantity::State => "state",
        }
    }

    /// The quantity of this name.
    pub fn named(name: &str) -> Option<Quantity> {
        Quantity::ALL.into_iter().find(|one| one.name() == name)
    }

    /// Decimals worth showing to a person.
    pub const fn decimals(self) -> usize {
        match self {
            Quantity::Brix | Quantity::Concentration | Quantity::Ph | Quantity::Pressure => 2,
            Quantity::Temperature
            | Quantity::TrampOil
            | Quantity::DissolvedOxygen
            | Quantity::Flow => 1,
            Quantity::Level => 3,
            Quantity::Conductivity
            | Quantity::Volume
            | Quantity::Hardness
            | Quantity::Chloride
            | Quantity::Nitrite
            | Quantity::Bacteria
            | Quantity::Fungi
            | Quantity::Redox
            | Quantity::Metered
            | Quantity::State => 0,
        }
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

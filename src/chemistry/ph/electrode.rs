//! What an electrode's potential stands for, at any temperature.

use std::ops::RangeInclusive;

use crate::chemistry::liquid::{self, NotLiquid};
use crate::units::{Ph, Potential, Temperature};

/// Molar gas constant in J/(mol·K), exact (CODATA 2018).
const GAS_CONSTANT: f64 = 8.314_462_618;

/// Faraday constant in C/mol (CODATA 2018).
const FARADAY: f64 = 96_485.332_12;

/// 0 °C in kelvin, by definition.
const ZERO_CELSIUS_K: f64 = 273.15;

/// Where the potential of an electrode does not change with temperature. pH 7
/// is what electrodes with an inner buffer of pH 7 are built for (common
/// practice, no source).
pub(super) const ISOPOTENTIAL_PH: f64 = 7.0;

/// Shares of the Nernst slope that an electrode can have. Choice: a worn one
/// has some 85 %, and none can have more than 100; below and above this range
/// the buffers were not what they were said to be, or the electrode is broken.
const SLOPES: RangeInclusive<f64> = 0.5..=1.15;

/// The fall of an ideal electrode's potential for each pH, in mV: ln(10)·R·T/F.
///
/// # Errors
/// When water is not liquid at the temperature.
pub fn nernst_slope(temperature: Temperature) -> Result<f64, NotLiquid> {
    liquid::celsius(temperature).map(slope_at)
}

fn slope_at(celsius: f64) -> f64 {
    let millivolts_per_volt = 1000.0;
    let kelvin = celsius + ZERO_CELSIUS_K;
    millivolts_per_volt * std::f64::consts::LN_10 * GAS_CONSTANT * kelvin / FARADAY
}

/// A pH electrode as a calibration found it: pH = 7 + (E₇ − E)/(s·N(T)), with
/// the offset E₇, the slope s as a share of Nernst's and [`nernst_slope`] N at
/// the fluid's temperature.
///
/// The temperature corrects the electrode's slope only. The pH that comes out
/// is that of the fluid at the temperature it has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Electrode {
    offset: Potential,
    slope_share: f64,
}

/// A slope that no electrode has.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "a slope of {:.1} % of Nernst's is no electrode's, 50 to 115 % can be; check that each \
     buffer is the one it is said to be, their temperature and the cable",
    slope_share * 100.0
)]
pub struct ElectrodeError {
    /// What was given, as a share of the Nernst slope.
    pub slope_share: f64,
}

impl Electrode {
    /// From its potential at pH 7 and its slope as a share of Nernst's (0.98
    /// for 98 %).
    ///
    /// # Errors
    /// When the slope is not 0.5 to 1.15 of Nernst's.
    pub fn new(offset: Potential, slope_share: f64) -> Result<Self, ElectrodeError> {
        if SLOPES.contains(&slope_share) {
            Ok(Electrode {
                offset,
                slope_share,
            })
        } else {
            Err(ElectrodeError { slope_share })
        }
    }

    /// The temperatures at which it can be read, in °C.
    pub const fn holds_c(self) -> RangeInclusive<f64> {
        liquid::RANGE_C
    }

    /// Its potential at pH 7.
    pub const fn offset(self) -> Potential {
        self.offset
    }

    /// Its slope as a share of Nernst's.
    pub const fn slope_share(self) -> f64 {
        self.slope_share
    }

    /// pH of a fluid of this temperature.
    ///
    /// # Errors
    /// When water is not liquid at the temperature.
    pub fn ph(self, potential: Potential, temperature: Temperature) -> Result<Ph, NotLiquid> {
        let slope = self.slope(temperature)?;
        let fall = self.offset.millivolts() - potential.millivolts();
        Ok(Ph::from_units(ISOPOTENTIAL_PH + fall / slope))
    }

    /// The potential in a fluid of this pH and temperature.
    ///
    /// # Errors
    /// When water is not liquid at the temperature.
    pub fn potential(self, ph: Ph, temperature: Temperature) -> Result<Potential, NotLiquid> {
        let fall = (ph.units() - ISOPOTENTIAL_PH) * self.slope(temperature)?;
        Ok(Potential::from_millivolts(self.offset.millivolts() - fall))
    }

    /// Its own fall for each pH, in mV.
    fn slope(self, temperature: Temperature) -> Result<f64, NotLiquid> {
        Ok(self.slope_share * nernst_slope(temperature)?)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::chemistry::table::tests::{numbers, rows};

    fn mv(millivolts: f64) -> Potential {
        Potential::from_millivolts(millivolts)
    }

    fn degc(celsius: f64) -> Temperature {
        Temperature::from_celsius(celsius)
    }

    #[test]
    fn agrees_with_nernst() {
        let table = rows(include_str!("../../../tests/reference/nernst_slope.csv"));
        assert_eq!(table.len(), 11);
        for row in table {
            let [celsius, want] = numbers(&row);
            let got = nernst_slope(degc(celsius)).unwrap();
            assert!((got - want).abs() <= 0.00005, "{row:?} gave {got}");
        }
    }

    #[test]
    fn warmth_brings_readings_nearer_to_the_isopotential_point() {
        let electrode = Electrode::new(mv(-10.0), 0.97).unwrap();
        let at = |celsius| electrode.ph(mv(-130.0), degc(celsius)).unwrap().units();
        assert!(at(10.0) > at(25.0) && at(25.0) > at(40.0) && at(40.0) > 7.0);
        for celsius in [0.0, 25.0, 60.0] {
            let seven = electrode.ph(mv(-10.0), degc(celsius)).unwrap();
            assert_eq!(seven.units(), 7.0);
        }
    }

    #[test]
    fn refuses_ice_steam_and_slopes_of_no_electrode() {
        let electrode = Electrode::new(mv(0.0), 1.0).unwrap();
        for celsius in [-0.1, 100.1, -273.15] {
            let told = electrode.ph(mv(0.0), degc(celsius)).unwrap_err();
            assert!(told.to_string().contains("give 0 to 100 °C"), "{told}");
        }
        for share in [0.49, 1.16, -1.0, f64::NAN] {
            assert!(Electrode::new(mv(0.0), share).is_err());
        }
    }

    proptest! {
        #[test]
        fn potential_is_the_inverse(
            offset in -60.0f64..60.0, share in 0.5f64..1.15, ph in 0.0f64..14.0, celsius in 0.0f64..100.0,
        ) {
            let electrode = Electrode::new(mv(offset), share).unwrap();
            let potential = electrode.potential(Ph::from_units(ph), degc(celsius)).unwrap();
            let back = electrode.ph(potential, degc(celsius)).unwrap().units();
            prop_assert!((back - ph).abs() < 1e-9);
        }

        #[test]
        fn a_higher_potential_is_a_lower_ph(
            a in -600.0f64..600.0, b in -600.0f64..600.0, celsius in 0.0f64..100.0,
        ) {
            let electrode = Electrode::new(mv(5.0), 0.95).unwrap();
            let at = |e: f64| electrode.ph(mv(e), degc(celsius)).unwrap();
            prop_assert!(at(a.min(b)) >= at(a.max(b)));
        }
    }
}

//! From what a refractometer shows to the reading at 20 °C: zero, span and
//! temperature.

use std::ops::RangeInclusive;

use crate::units::{Brix, BrixCoefficient, Temperature};

use super::water::{self, OutsideWater, water_shift};

/// What readings are referred to, in °C.
const REFERENCE_C: f64 = 20.0;

/// Coefficients that a mix can have, in °Bx/K. The index of a mix falls by 0.0001
/// to 0.0004 for each kelvin (common practice, no source), which is 0.07 to
/// 0.28 °Bx.
const COEFFICIENTS: RangeInclusive<f64> = -0.5..=-0.01;

/// Zeros of instruments that work, in °Bx. Choice: beyond them the prism is
/// coated, or it was no pure water.
const ZEROS: RangeInclusive<f64> = -3.0..=3.0;

/// Spans of instruments that work. Choice: beyond them it was not the reference
/// that it is said to be.
const SPANS: RangeInclusive<f64> = 0.8..=1.25;

/// What an instrument shows, before any correction. Only this can be corrected,
/// so nothing is corrected twice.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct ShownBrix(pub Brix);

/// Where the temperature of the mix is taken out of the reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BrixCompensation {
    /// In the instrument, which shows the reading at 20 °C.
    ByInstrument,
    /// Here, by the fluid's own coefficient: B₂₀ = B − k·(T − 20 °C) (common
    /// practice, no source).
    PerKelvin(MixCoefficient),
    /// Here, as if the mix were pure water: B₂₀ = B − ΔB(T), with
    /// [`water_shift`]. What the concentrate adds to the coefficient is left
    /// out, so for a fluid whose coefficient is not known.
    AsWater,
}

/// A mix's own coefficient.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MixCoefficient(BrixCoefficient);

impl MixCoefficient {
    /// By how much the reading of the mix changes for each kelvin.
    ///
    /// # Errors
    /// When it is not −0.5 to −0.01 °Bx/K; readings fall as the mix warms.
    pub fn new(coefficient: BrixCoefficient) -> Result<Self, RefractometerError> {
        if COEFFICIENTS.contains(&coefficient.degrees_per_kelvin()) {
            Ok(MixCoefficient(coefficient))
        } else {
            Err(RefractometerError::Coefficient { found: coefficient })
        }
    }
}

impl BrixCompensation {
    /// Whether the temperature of the mix must be known.
    pub const fn needs_temperature(self) -> bool {
        !matches!(self, BrixCompensation::ByInstrument)
    }

    /// The temperatures at which it holds, in °C.
    pub const fn holds_c(self) -> RangeInclusive<f64> {
        water::ROWS_C
    }

    /// By how much a mix of this temperature reads other than at 20 °C, in °Bx.
    fn shift(self, temperature: Option<Temperature>) -> Result<f64, RefractometerError> {
        let known = || temperature.ok_or(RefractometerError::TemperatureMissing);
        match self {
            BrixCompensation::ByInstrument => Ok(0.0),
            BrixCompensation::PerKelvin(MixCoefficient(coefficient)) => {
                let temperature = water::within_rows(known()?)?;
                let above = temperature.celsius() - REFERENCE_C;
                Ok(coefficient.degrees_per_kelvin() * above)
            }
            BrixCompensation::AsWater => Ok(water_shift(known()?)?.degrees()),
        }
    }
}

/// A refractometer as it was found with pure water and a reference solution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Refractometer {
    zero: f64,
    span: f64,
    compensation: BrixCompensation,
}

/// Why a reading cannot be corrected.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RefractometerError {
    /// A coefficient that no mix has.
    #[error(
        "{found} is no coefficient of a mix; readings fall as it warms, so give -0.5 to \
         -0.01 °Bx/K"
    )]
    Coefficient {
        /// What was given.
        found: BrixCoefficient,
    },
    /// The instrument is too far off in pure water.
    #[error(
        "the instrument is {zero} off in pure water, and 3 °Bx is the most that can be taken \
         away; clean the prism and zero the instrument itself"
    )]
    Zero {
        /// How far.
        zero: Brix,
    },
    /// The instrument is too far off in the reference.
    #[error(
        "the instrument shows {shown} for a reference of {reference}; that is more than can be \
         taken away, so check the reference and clean the prism"
    )]
    Span {
        /// What it showed, less its zero.
        shown: Brix,
        /// What the reference has.
        reference: Brix,
    },
    /// The instrument does not compensate, and nobody said at what temperature.
    #[error(
        "the temperature is missing, and the instrument does not compensate for it; give the \
         temperature of what it reads"
    )]
    TemperatureMissing,
    /// There are no rows of water for the temperature.
    #[error(transparent)]
    Temperature(#[from] OutsideWater),
}

impl Refractometer {
    /// An instrument whose scale is right.
    pub const fn right(compensation: BrixCompensation) -> Self {
        Refractometer {
            zero: 0.0,
            span: 1.0,
            compensation,
        }
    }

    /// From what the instrument showed in pure water. The temperature of the
    /// water is needed only of an instrument that does not compensate itself:
    /// then water is to show [`water_shift`].
    ///
    /// # Errors
    /// When it is more than 3 °Bx off, or when the temperature is missing or
    /// outside the table.
    pub fn with_zero(
        self,
        shown: ShownBrix,
        water: Option<Temperature>,
    ) -> Result<Self, RefractometerError> {
        let right = match self.compensation {
            BrixCompensation::ByInstrument => 0.0,
            BrixCompensation::PerKelvin(_) | BrixCompensation::AsWater => {
                let known = water.ok_or(RefractometerError::TemperatureMissing)?;
                water_shift(known)?.degrees()
            }
        };
        let zero = shown.0.degrees() - right;
        if ZEROS.contains(&zero) {
            Ok(Refractometer { zero, ..self })
        } else {
            let zero = Brix::from_degrees(zero);
            Err(RefractometerError::Zero { zero })
        }
    }

    /// From what the instrument showed, at 20 °C or compensating itself, in a
    /// solution of `reference`. Its zero must have been told before.
    ///
    /// # Errors
    /// When it shows less than 0.8 or more than 1.25 of the reference.
    pub fn with_span(self, shown: ShownBrix, reference: Brix) -> Result<Self, RefractometerError> {
        let net = shown.0.degrees() - self.zero;
        let span = reference.degrees() / net;
        if net > 0.0 && SPANS.contains(&span) {
            Ok(Refractometer { span, ..self })
        } else {
            Err(RefractometerError::Span {
                shown: Brix::from_degrees(net),
                reference,
            })
        }
    }

    /// Where the temperature is taken out.
    pub const fn compensation(&self) -> BrixCompensation {
        self.compensation
    }

    /// The reading at 20 °C: (shown − zero)·span, less the temperature's part
    /// where the instrument leaves it in.
    ///
    /// # Errors
    /// When the instrument does not compensate and the temperature is missing
    /// or outside 0.01 to 60 °C.
    pub fn corrected(
        &self,
        shown: ShownBrix,
        temperature: Option<Temperature>,
    ) -> Result<Brix, RefractometerError> {
        let shift = self.compensation.shift(temperature)?;
        let scaled = (shown.0.degrees() - self.zero) * self.span;
        Ok(Brix::from_degrees(scaled - shift))
    }

    /// What the instrument shows in a mix that reads `at_20` at 20 °C.
    ///
    /// # Errors
    /// As [`Self::corrected`].
    pub fn shown(
        &self,
        at_20: Brix,
        temperature: Option<Temperature>,
    ) -> Result<ShownBrix, RefractometerError> {
        let shift = self.compensation.shift(temperature)?;
        let scaled = at_20.degrees() + shift;
        Ok(ShownBrix(Brix::from_degrees(
            scaled / self.span + self.zero,
        )))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn bx(degrees: f64) -> Brix {
        Brix::from_degrees(degrees)
    }

    fn shown(degrees: f64) -> ShownBrix {
        ShownBrix(bx(degrees))
    }

    fn degc(celsius: f64) -> Option<Temperature> {
        Some(Temperature::from_celsius(celsius))
    }

    fn per_kelvin(degrees: f64) -> BrixCompensation {
        let coefficient = BrixCoefficient::from_degrees_per_kelvin(degrees);
        BrixCompensation::PerKelvin(MixCoefficient::new(coefficient).unwrap())
    }

    #[test]
    fn zero_span_and_temperature_are_taken_out_in_turn() {
        let instrument = Refractometer::right(per_kelvin(-0.08))
            .with_zero(shown(0.3), degc(20.0))
            .and_then(|zeroed| zeroed.with_span(shown(10.1), bx(10.0)))
            .unwrap();
        // By hand: (5.2 − 0.3)·10/9.8 = 5, and 0.08·10 for the 10 K.
        let got = instrument.corrected(shown(5.2), degc(30.0)).unwrap();
        assert!((got.degrees() - 5.8).abs() < 1e-9, "{got}");
    }

    #[test]
    fn water_of_any_temperature_zeroes_an_instrument() {
        let right = Refractometer::right(BrixCompensation::AsWater);
        // At 30 °C right water shows −0.74 °Bx.
        let zeroed = right.with_zero(shown(-0.54), degc(30.0)).unwrap();
        let water = zeroed.corrected(shown(-0.54), degc(30.0)).unwrap();
        assert!(water.degrees().abs() < 1e-12);
        let cool = zeroed.corrected(shown(0.2), degc(20.0)).unwrap();
        assert!(cool.degrees().abs() < 0.002, "{cool}");
    }

    #[test]
    fn an_instrument_that_compensates_is_left_alone() {
        let instrument = Refractometer::right(BrixCompensation::ByInstrument);
        for temperature in [None, degc(5.0), degc(400.0)] {
            let got = instrument.corrected(shown(4.3), temperature).unwrap();
            assert_eq!(got, bx(4.3));
        }
        assert!(!instrument.compensation().needs_temperature());
    }

    #[test]
    fn tells_what_cannot_be_corrected() {
        let told = |error: RefractometerError| error.to_string();
        let missing = Refractometer::right(per_kelvin(-0.1)).corrected(shown(5.0), None);
        assert!(told(missing.unwrap_err()).contains("the temperature is missing"));
        for rule in [per_kelvin(-0.1), BrixCompensation::AsWater] {
            let hot = Refractometer::right(rule).corrected(shown(5.0), degc(61.0));
            assert!(told(hot.unwrap_err()).contains("0.01 to 60 °C"));
        }
        for degrees in [0.08, 0.0, -0.6] {
            let coefficient = BrixCoefficient::from_degrees_per_kelvin(degrees);
            let wrong = MixCoefficient::new(coefficient).unwrap_err();
            assert!(told(wrong).contains("readings fall as it warms"));
        }
        let right = Refractometer::right(BrixCompensation::ByInstrument);
        let zero = right.with_zero(shown(3.5), None).unwrap_err();
        assert!(told(zero).contains("3.50 °Bx off in pure water"));
        for (read, reference) in [(5.0, 10.0), (0.0, 0.0), (-1.0, -1.0)] {
            let span = right.with_span(shown(read), bx(reference)).unwrap_err();
            assert!(told(span).contains("check the reference"));
        }
    }

    proptest! {
        #[test]
        fn shown_is_the_inverse(
            zero in -2.0f64..2.0, span in 0.8f64..1.25, at_20 in 0.0f64..20.0, celsius in 0.1f64..60.0, k in -0.5f64..-0.01,
        ) {
            for rule in [per_kelvin(k), BrixCompensation::AsWater, BrixCompensation::ByInstrument] {
                let instrument = Refractometer { zero, span, compensation: rule };
                let read = instrument.shown(bx(at_20), degc(celsius)).unwrap();
                let back = instrument.corrected(read, degc(celsius)).unwrap();
                prop_assert!((back.degrees() - at_20).abs() < 1e-9);
            }
        }

        #[test]
        fn the_warmer_the_more_is_added(a in 5.0f64..60.0, b in 5.0f64..60.0, k in -0.5f64..-0.01) {
            for rule in [per_kelvin(k), BrixCompensation::AsWater] {
                let instrument = Refractometer::right(rule);
                let at = |celsius| instrument.corrected(shown(5.0), degc(celsius)).unwrap();
                prop_assert!(at(a.min(b)) <= at(a.max(b)));
            }
        }
    }
}

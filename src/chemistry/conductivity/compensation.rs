//! Conductivity at the fluid's temperature, referred to 25 °C.

use std::ops::RangeInclusive;

use crate::chemistry::liquid::{self, NotLiquid};
use crate::units::{Conductivity, ConductivityAsIs, RelativeCoefficient, Temperature};

use super::iso7888::{NATURAL_WATER_RANGE_C, OutsideIso7888, natural_water_factor};

/// What conductivity is referred to, in °C.
const REFERENCE_C: f64 = 25.0;

/// Coefficients that a solution can have, in %/K of the value at 25 °C. Choice:
/// salts have 1.5 to 3; above 3.9 ice-cold fluid would conduct nothing.
const COEFFICIENTS: RangeInclusive<f64> = 0.5..=3.5;

/// The linear coefficient of a fluid: how much more it conducts for each kelvin,
/// in per cent of its conductivity at 25 °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinearCoefficient(RelativeCoefficient);

impl LinearCoefficient {
    /// A fluid's coefficient.
    ///
    /// # Errors
    /// When it is not 0.5 to 3.5 %/K.
    pub fn new(coefficient: RelativeCoefficient) -> Result<Self, CompensationError> {
        if COEFFICIENTS.contains(&coefficient.percent_per_kelvin()) {
            Ok(LinearCoefficient(coefficient))
        } else {
            Err(CompensationError::Coefficient { found: coefficient })
        }
    }

    /// How much more the fluid conducts at a temperature than at 25 °C; above 0.
    fn ratio(self, temperature: Temperature) -> Result<f64, NotLiquid> {
        let above = liquid::celsius(temperature)? - REFERENCE_C;
        Ok(1.0 + self.0.percent_per_kelvin() / 100.0 * above)
    }
}

/// How conductivity at the fluid's temperature is referred to 25 °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ConductivityCompensation {
    /// κ₂₅ = κ/(1 + α·(T − 25 °C)) (common practice, no source).
    Linear(LinearCoefficient),
    /// κ₂₅ = f₂₅(T)·κ, after ISO 7888 for natural water, 0 to 35.3 °C.
    NaturalWater,
}

/// Why a conductivity cannot be referred to 25 °C.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CompensationError {
    /// A coefficient that no fluid has.
    #[error(
        "{found} is no coefficient of a fluid; give 0.5 to 3.5 %/K, and 2 %/K when it is not known"
    )]
    Coefficient {
        /// What was given.
        found: RelativeCoefficient,
    },
    /// There is no fluid at this temperature.
    #[error(transparent)]
    Temperature(#[from] NotLiquid),
    /// The table does not go so far.
    #[error(transparent)]
    Table(#[from] OutsideIso7888),
}

impl ConductivityCompensation {
    /// The temperatures at which it holds, in °C.
    pub const fn holds_c(self) -> RangeInclusive<f64> {
        match self {
            ConductivityCompensation::Linear(_) => liquid::RANGE_C,
            ConductivityCompensation::NaturalWater => NATURAL_WATER_RANGE_C,
        }
    }

    /// Conductivity at 25 °C of a fluid that conducts this much at its own
    /// temperature.
    ///
    /// # Errors
    /// When the temperature is not 0 to 100 °C, or outside the table.
    pub fn at_25(
        self,
        conductivity: ConductivityAsIs,
        temperature: Temperature,
    ) -> Result<Conductivity, CompensationError> {
        let ratio = self.ratio(temperature)?;
        let at_25 = conductivity.microsiemens_per_cm() / ratio;
        Ok(Conductivity::from_microsiemens_per_cm(at_25))
    }

    /// What a fluid of this conductivity at 25 °C conducts at its own
    /// temperature.
    ///
    /// # Errors
    /// As [`Self::at_25`].
    pub fn as_is(
        self,
        conductivity: Conductivity,
        temperature: Temperature,
    ) -> Result<ConductivityAsIs, CompensationError> {
        let ratio = self.ratio(temperature)?;
        let as_is = conductivity.microsiemens_per_cm() * ratio;
        Ok(ConductivityAsIs::from_microsiemens_per_cm(as_is))
    }

    /// How much more the fluid conducts at a temperature than at 25 °C.
    fn ratio(self, temperature: Temperature) -> Result<f64, CompensationError> {
        match self {
            ConductivityCompensation::Linear(coefficient) => Ok(coefficient.ratio(temperature)?),
            ConductivityCompensation::NaturalWater => {
                Ok(natural_water_factor(temperature)?.recip())
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::chemistry::table::tests::{numbers, rows};

    fn linear(percent: f64) -> ConductivityCompensation {
        let coefficient = RelativeCoefficient::from_percent_per_kelvin(percent);
        ConductivityCompensation::Linear(LinearCoefficient::new(coefficient).unwrap())
    }

    fn at_25(
        rule: ConductivityCompensation,
        kappa: f64,
        celsius: f64,
    ) -> Result<f64, CompensationError> {
        let temperature = Temperature::from_celsius(celsius);
        rule.at_25(
            ConductivityAsIs::from_microsiemens_per_cm(kappa),
            temperature,
        )
        .map(Conductivity::microsiemens_per_cm)
    }

    #[test]
    fn agrees_with_worked_linear_cases() {
        let table = rows(include_str!(
            "../../../tests/reference/conductivity_linear_cases.csv"
        ));
        assert_eq!(table.len(), 5);
        for row in table {
            let [kappa, celsius, alpha, want] = numbers(&row);
            let got = at_25(linear(alpha * 100.0), kappa, celsius).unwrap();
            assert!((got - want).abs() <= 0.00005, "{row:?} gave {got}");
        }
    }

    #[test]
    fn natural_water_is_multiplied_with_the_factor() {
        // ISO 7888: f₂₅(15.0 °C) = 1.256.
        let got = at_25(ConductivityCompensation::NaturalWater, 500.0, 15.0).unwrap();
        assert!((got - 628.0).abs() < 1e-9, "{got}");
    }

    #[test]
    fn refuses_what_no_rule_stands_for() {
        for percent in [0.4, 3.6, -2.0, f64::NAN] {
            let coefficient = RelativeCoefficient::from_percent_per_kelvin(percent);
            assert!(LinearCoefficient::new(coefficient).is_err());
        }
        let cold = at_25(linear(2.0), 500.0, -1.0).unwrap_err();
        assert!(matches!(cold, CompensationError::Temperature(_)));
        let warm = at_25(ConductivityCompensation::NaturalWater, 500.0, 40.0).unwrap_err();
        assert!(warm.to_string().contains("in %/K there"), "{warm}");
    }

    proptest! {
        #[test]
        fn as_is_is_the_inverse(kappa in 0.0f64..2e4, celsius in 0.0f64..35.3, percent in 0.5f64..3.5) {
            let temperature = Temperature::from_celsius(celsius);
            for rule in [linear(percent), ConductivityCompensation::NaturalWater] {
                let at_25 = Conductivity::from_microsiemens_per_cm(kappa);
                let as_is = rule.as_is(at_25, temperature).unwrap();
                let back = rule.at_25(as_is, temperature).unwrap();
                prop_assert!((back.microsiemens_per_cm() - kappa).abs() <= 1e-9 * (1.0 + kappa));
            }
        }

        #[test]
        fn the_warmer_the_less_at_25(a in 0.0f64..35.3, b in 0.0f64..35.3, percent in 0.5f64..3.5) {
            for rule in [linear(percent), ConductivityCompensation::NaturalWater] {
                let at = |celsius| at_25(rule, 3000.0, celsius).unwrap();
                prop_assert!(at(a.min(b)) >= at(a.max(b)));
                prop_assert!(at(a).is_finite() && at(a) > 0.0);
            }
        }
    }
}

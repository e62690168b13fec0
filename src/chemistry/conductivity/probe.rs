//! A whole conductivity instrument: what it gives, and how that becomes
//! conductivity at 25 °C.

use crate::units::{Conductance, Conductivity, ConductivityAsIs, Temperature};

use super::cell::{Cell, ProbeFactor};
use super::compensation::{CompensationError, ConductivityCompensation};

/// What an instrument gives, with the corrections that are left to us. One that
/// compensates itself has no place for a second compensation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ConductivityProbe {
    /// Conductivity at 25 °C, in µS/cm: the instrument compensates itself.
    Compensated(ProbeFactor),
    /// Conductivity at the fluid's own temperature, in µS/cm.
    AsIs(ProbeFactor, ConductivityCompensation),
    /// The conductance of its cell, in µS.
    Conductance(Cell, ConductivityCompensation),
}

impl ConductivityProbe {
    /// What is left to us to compensate by; none of an instrument that does so
    /// itself.
    pub const fn compensation(self) -> Option<ConductivityCompensation> {
        match self {
            ConductivityProbe::Compensated(_) => None,
            ConductivityProbe::AsIs(_, compensation)
            | ConductivityProbe::Conductance(_, compensation) => Some(compensation),
        }
    }

    /// Conductivity at 25 °C of a fluid of this temperature in which the
    /// instrument gives `given`, in its own unit. One that compensates itself
    /// has no use for the temperature.
    ///
    /// # Errors
    /// When the compensation does not hold at the temperature.
    pub fn at_25(
        self,
        given: f64,
        temperature: Temperature,
    ) -> Result<Conductivity, CompensationError> {
        match self {
            ConductivityProbe::Compensated(factor) => {
                Ok(Conductivity::from_microsiemens_per_cm(given * factor.get()))
            }
            ConductivityProbe::AsIs(factor, compensation) => {
                let as_is = ConductivityAsIs::from_microsiemens_per_cm(given * factor.get());
                compensation.at_25(as_is, temperature)
            }
            ConductivityProbe::Conductance(cell, compensation) => {
                let as_is = cell.conductivity(Conductance::from_microsiemens(given));
                compensation.at_25(as_is, temperature)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::LinearCoefficient;
    use crate::units::{CellConstant, RelativeCoefficient};

    #[test]
    fn each_instrument_comes_to_25_degrees_once() {
        let coefficient = RelativeCoefficient::from_percent_per_kelvin(2.0);
        let linear = ConductivityCompensation::Linear(LinearCoefficient::new(coefficient).unwrap());
        let factor = ProbeFactor::from_standard(1000.0, 1100.0).unwrap();
        let cell = Cell::new(CellConstant::from_per_cm(0.5)).unwrap();
        let at = |probe: ConductivityProbe, given| {
            let at_25 = probe.at_25(given, Temperature::from_celsius(35.0));
            at_25.unwrap().microsiemens_per_cm()
        };
        // By hand: 3000·1.1; that over 1.2; 0.5·6000 over 1.2.
        let compensated = ConductivityProbe::Compensated(factor);
        assert!((at(compensated, 3000.0) - 3300.0).abs() < 1e-9);
        let as_is = ConductivityProbe::AsIs(factor, linear);
        assert!((at(as_is, 3000.0) - 2750.0).abs() < 1e-9);
        let conductance = ConductivityProbe::Conductance(cell, linear);
        assert!((at(conductance, 6000.0) - 2500.0).abs() < 1e-9);
        assert_eq!(compensated.compensation(), None);
        assert_eq!(conductance.compensation(), Some(linear));
    }
}
